package film

import "github.com/catchline/catchline/model/melt"

// Exposure is what a firing does to one melt: how far it lets it flow and how far it lets it
// diffuse. Add it up over the nodes of the firing; it is then good for any thickness and any
// order of layers, since the equations of the film are linear in it.
type Exposure struct {
	Flow      float64 // ∫ dt/η in 1/Pa
	Diffusion float64 // ∫ D dt in m², with D of the melt without stirring
}

// Add counts some seconds at a temperature at which the melt has the fluidity melted, and the glaze, with what else
// is in it, the fluidity flowing, both 1/η in 1/(Pa·s).
func (e *Exposure) Add(kelvin, seconds, flowing, melted float64) {
	e.Flow += seconds * flowing
	e.Diffusion += seconds * melted * melt.Diffusivity(kelvin, 1)
}
