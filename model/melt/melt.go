// Package melt gives the properties of a melt of known oxides: viscosity, density, surface
// tension, the state of its iron and the diffusivity in it.
//
// All in SI. Compositions are anhydrous mole fractions; what boils off in the kiln (some alkali,
// boron, lead, all water and fluorine) is not followed.
package melt
