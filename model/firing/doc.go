// Package firing turns a firing, given by its cone, by the segments of its schedule or by the kiln's own log, into its
// heat history: a few temperatures with the time spent at each, the equivalent cone, and the oxygen fugacity of the
// atmosphere.
//
// Every input first becomes a Curve, temperature over time. NewHeatHistory reduces the curve, corrected by a witness
// cone if one was read.
//
//	cone.go        the published end points of cones, and between and beyond their rates
//	conenumber.go  cones as numbers, in the way that they are written
//	conescale.go   the scale of heat work that those end points span
//	heatwork.go    Arrhenius heat work, and the equivalent cone of a firing
//	schedule.go    firings by cone and by segments; log.go: by a kiln's log; curve.go: what they become
//	quadrature.go  a curve as 16 temperatures and times
//	atmosphere.go  oxygen fugacity
//
// Assumed: ware and glaze have the temperature of the curve (no lag); the atmosphere is the same from the moment the
// glaze melts; a cone is a thermally activated process with one activation energy, so that it measures heat work
// ∫exp(-E/RT)dt.
//
// Temperatures are in K and times in s, except where a name says otherwise. Errors name a field without a prefix
// (hold_min, segments[2].target_c); the caller adds its own.
package firing
