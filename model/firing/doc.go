// Package firing turns how a kiln was fired (a cone, a schedule of segments, or the kiln's own log)
// into what the firing is to a film of glaze: a few temperatures with the time spent at
// each, the equivalent cone, and the oxygen fugacity of the atmosphere.
//
// Every input becomes a Curve, temperature over time. NewHeatHistory reduces a curve to a HeatHistory,
// corrected by a witness cone where one was read.
//
// Assumed: ware and glaze have the temperature of the curve (no lag), the atmosphere is the same from the
// moment the glaze melts, and a cone is a thermally activated process with one activation energy, so that it
// measures heat work ∫exp(-E/RT)dt.
//
// Temperatures are in K and times in s, except where a name says otherwise. Paths of fields in errors are
// plain (hold_min, segments[2].target_c); the caller puts its own prefix before them.
package firing
