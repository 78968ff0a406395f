package reference

import "math"

// GiordanoVFT gives A, B and C of log10(η/(Pa·s)) = A + B/(T - C), T in kelvin, for an anhydrous melt in mol% of
// oxides (all iron as FeO; oxides that the formula does not know are left out and the rest is not rescaled).
//
// D. Giordano, J.K. Russell, D.B. Dingwell, Earth Planet. Sci. Lett. 271 (2008) 123-134, Table 1. The
// coefficients are from memory.
func GiordanoVFT(molPercent map[string]float64) (a, b, c float64) {
	x := func(o string) float64 { return molPercent[o] }
	si, ti, al := x("SiO2"), x("TiO2"), x("Al2O3")
	fe, mn, p := x("FeO")+2*x("Fe2O3"), x("MnO"), x("P2O5")
	mg, ca, na, k := x("MgO"), x("CaO"), x("Na2O"), x("K2O")
	v := 0.0 // water and fluorine
	b = 159.6*(si+ti) - 173.3*al + 72.1*(fe+mn+p) + 75.7*mg - 39.0*ca - 84.1*(na+v) + 141.5*(v+math.Log1p(v)) -
		2.43*(si+ti)*(fe+mn+mg) - 0.91*(si+ti+al+p)*(na+k+v) + 17.6*al*(na+k)
	c = 2.75*si + 15.7*(ti+al) + 8.3*(fe+mn+mg) + 10.2*ca - 12.3*(na+k) - 99.5*math.Log1p(v) +
		0.30*(al+fe+mn+ca-p)*(na+k+v)
	return -4.55, b, c
}
