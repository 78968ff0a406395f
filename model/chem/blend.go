package chem

// Blend writes to dst the melt that comes of mixing a and b, where massOfB in 0 to 1 is the mass
// fraction that b brings:
//
//	x_i = ((1-w) a_i/M_a + w b_i/M_b) / ((1-w)/M_a + w/M_b)
//
// with the molar masses M of the two melts. For parts by volume see MassFraction. Nothing is
// allocated; dst may be a or b.
func Blend(dst, a, b *Melt, massOfB float64) {
	na := (1 - massOfB) / a.MolarMass()
	nb := massOfB / b.MolarMass()
	BlendMoles(dst, a, b, nb/(na+nb))
}

// BlendMoles is Blend by the mole fraction that b brings.
func BlendMoles(dst, a, b *Melt, molesOfB float64) {
	for o := range dst {
		dst[o] = (1-molesOfB)*a[o] + molesOfB*b[o]
	}
}

// MassFraction turns the volume fraction of b in a mixture, 0 to 1, into its mass fraction, given
// the two densities in kg/m³: w = φ ρ_b / (φ ρ_b + (1-φ) ρ_a).
func MassFraction(volumeOfB, densityA, densityB float64) float64 {
	b := volumeOfB * densityB
	return b / (b + (1-volumeOfB)*densityA)
}
