// Package model says how far one glaze over another will run, by calling the rooms of the science in the order in which
// a glaze melts: chem, melt, firing, film; then calib, which corrects the physics by a studio's own tiles; then risk.
//
// Everything is in SI units. Nothing here knows of a server, a store, a clock or a file.
package model
