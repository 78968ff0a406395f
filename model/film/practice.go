package film

// Practice is what keeps a real glaze from running as far as its melt would: common practice (no source), with the
// physics of this package around it. The program in model/film/prior finds its numbers, see Usual; a studio's tiles
// correct them.
type Practice struct {
	// Stiffening is how many times stiffer than its melt a glaze is at cone 6, with bubbles and undissolved grains in
	// it, and Fining the K in which what it is more than one falls by e, as gas leaves and grains dissolve.
	Stiffening, Fining float64
	// BodyLayer is the thickness in m of the stiff glaze at the body, see MobileThickness.
	BodyLayer float64
	// Wetting and Wetted are those of the Edge.
	Wetting Wetting
	Wetted  float64
	Fusion  Fusion
	// Drip is how much further the longest drip gets than the mean front, on a width of 50 mm.
	Drip float64
	// Stirring is how many times faster than molecular diffusion the gas that escapes through the film mixes two
	// layers. A studio's pairs move it.
	Stirring float64
}
