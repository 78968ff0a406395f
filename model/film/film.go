// Package film turns coats of glaze into a run: fired thickness, the flow of a layered film
// down a wall during a firing, and how far a band of it moves on a tile or along the wall of
// a piece.
//
// It assumes a fully molten, Newtonian film that is thin against the wall's curvature and slow
// (lubrication theory, no inertia). Surface tension enters only as retention at the lower edge
// and in the spacing of drips. Left out: crystals, bubbles (other than as stirring), matting,
// and the body dissolving into the glaze.
//
// Everything is in SI units: metres, kilograms, seconds, kelvin, pascal seconds.
package film

// Gravity is the standard acceleration of free fall in m/s² (ISO 80000-3, exact).
const Gravity = 9.80665
