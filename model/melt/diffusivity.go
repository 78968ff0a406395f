package melt

// Diffusivity gives the diffusivity (m²/s) of oxygen and the network formers in a melt of viscosity eta (Pa·s, more
// than 0) at T (K):
//
//	D = kT/(ηλ),  λ = 0.28 nm, the diameter of O²⁻   (Eyring 1936, J. Chem. Phys. 4, 283)
//
// It holds within about a factor of 3 (Oishi, Terai & Ueda 1975; Dingwell 1990). Alkalis diffuse much faster. Stirring
// by gas is left out.
func Diffusivity(T, eta float64) float64 {
	const (
		boltzmann = 1.380649e-23 // J/K, exact (SI 2019)
		lambda    = 0.28e-9      // m
	)
	return boltzmann * T / (eta * lambda)
}
