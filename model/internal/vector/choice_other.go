//go:build !amd64

package vector

func exp(dst, x []float64)                     { expPlain(dst, x) }
func log(dst, x []float64)                     { logPlain(dst, x) }
func dot(x, y []float64) float64               { return dotPlain(x, y) }
func mix(dst, x, y []float64, a, b float64)    { mixPlain(dst, x, y, a, b) }
func fluidities(dst, kelvin []float64, k *VFT) { fluiditiesPlain(dst, kelvin, k) }
func dense(y, w, b, x []float64)               { densePlain(y, w, b, x) }
func denseUnit(y, w, b, x []float64)           { denseUnitPlain(y, w, b, x) }
