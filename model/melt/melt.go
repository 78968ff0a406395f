// Package melt gives the properties of a melt of known oxides: viscosity, density, surface
// tension, the state of its iron, the diffusivity in it, and what crystals do to it.
//
// All in SI. Compositions are anhydrous mole fractions; what boils off in the kiln (some alkali,
// boron, lead, all water and fluorine) is not followed.
//
// # Viscosity
//
// One form: log10 η = A + B/(T - C) (Vogel, Fulcher, Tammann). Its three parameters are written as A, the temperature
// T3 at which log10 η is 3, and C/T3 held between 0 and 0.8, so that B is positive and the curve falls with temperature
// whatever the melt. Beyond log10 η = 12 it goes on along its tangent. A small network (two hidden layers of smooth
// units) gives the three from the mole fractions of 18 oxides and twelve numbers of structure read off them: alkali
// left over from charging aluminium, aluminium left for the earths or for nothing, four-coordinated and other boron,
// non-bridging oxygen per tetrahedron, mixed alkali and the like. So it is smooth in composition too. Iron counts in
// total, as it is in a melt made in air; how much of it is FeO, when a redox calculation says so, shifts the curve by a
// rule of its own (form.FerrousEffect), since the data cannot tell.
//
// The network was fitted on open data (testdata/published/melt_viscosity.csv), and lightly on a published formula in
// its own field where that data has gaps, by the program in fit, which explains how and prints how well it does on
// melts that it has not seen. The deviation of a prediction comes from how far the fits that taught the network differ
// on the melt (a fourth output of the network, small among the data, large away from it) and from the kind of melt,
// chosen so that 80 % of held-out measurements lie within 1.28 deviations.
package melt
