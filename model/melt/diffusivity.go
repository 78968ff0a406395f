package melt

// Diffusivity gives the diffusivity (m²/s) of the network in a melt of viscosity eta (Pa·s, more than 0) at
// T (K), D = kT/(ηλ) with λ = 0.28 nm, the diameter of O²⁻: Eyring 1936, J. Chem. Phys. 4, 283. It holds within about a
// factor of 3 for oxygen and the network formers (Oishi, Terai & Ueda 1975; Dingwell 1990); alkalis are much
// faster, and gas that stirs the melt is not in it.
func Diffusivity(T, eta float64) float64 {
	const (
		boltzmann = 1.380649e-23 // J/K, exact (SI 2019)
		lambda    = 0.28e-9      // m
	)
	return boltzmann * T / (eta * lambda)
}
