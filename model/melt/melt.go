// Package melt gives the properties of a melt from its oxides: viscosity, density, surface tension, the redox state of
// its iron, diffusivity, and the effect of crystals.
//
// Everything is in SI units. Compositions are anhydrous mole fractions (chem.Melt). What evaporates in the kiln is not
// followed: some alkali, boron and lead, all water and fluorine.
//
//	viscosity.go       viscosity from composition; coefficients.go: the fitted network; mixture.go: a mixture of two melts
//	curve.go           the viscosity curve; domain.go: how far a melt lies from the data; lump.go: oxides that the data lacks
//	described.go       a prior for a glaze of unknown chemistry
//	density.go, surfacetension.go, iron.go, diffusivity.go, suspension.go  one property each
//	internal/form      the form of the viscosity model, for this package and for the program fit
//	internal/reference published viscosity formulas to compare with
//
// # Viscosity
//
// One form, that of Vogel, Fulcher and Tammann: log10 η = A + B/(T - C). Its parameters are A, the temperature T3 at
// which log10 η is 3, and C/T3 held between 0 and 0.8; so B is positive and viscosity falls with temperature for every
// melt. Beyond log10 η = 12 the curve follows its tangent.
//
// A small network gives the three parameters from the mole fractions of 18 oxides and twelve numbers of structure
// (form.Structure): alkali and aluminium that are left over from charging each other, boron by its coordination,
// non-bridging oxygen, mixed alkali and the like. All of it is smooth in composition. The network takes all iron as in
// a melt made in air; how much of it is FeO shifts the curve by a rule of its own (form.FerrousEffect), since the data
// cannot tell.
//
// The program fit fitted the network on open data (testdata/published/melt_viscosity.csv) and, lightly, on a published
// formula in its own field where the data has gaps. It explains how, and prints how well the network does on melts that
// it has not seen. The standard deviation of a prediction depends on how far the fits that taught the network differ on
// the melt (the network's fourth output: small among the data, large away from it) and on the kind of melt, such that
// 80 % of held-out measurements lie within 1.28 of it.
package melt
