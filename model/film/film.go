// Package film turns coats of glaze into a run: fired thickness, the flow of a layered film
// down a wall during a firing, and how far a band of it moves on a tile or along the wall of
// a piece.
//
// It assumes a Newtonian film that is thin against the wall's curvature and slow (lubrication theory, no inertia).
// Surface tension enters only in the bead that gathers at a dry edge and in the spacing of drips. What keeps a real
// glaze from running as far as its melt would (Practice: bubbles, undissolved grains, crystals, a stiff layer at the
// body, the edge, a glaze that is no melt before it nears its own cone) is as common practice has it, no source. Left
// out: matting in cooling, and bodies that bloat or bend.
//
// Everything is in SI units: metres, kilograms, seconds, kelvin, pascal seconds.
package film

// Gravity is the standard acceleration of free fall in m/s² (ISO 80000-3, exact).
const Gravity = 9.80665
