package firing

import "math"

// Flow gives ∫dt/η in 1/Pa over the firing for a melt whose viscosity in Pa·s is log10 η = A + B/(T - C), with B > 0 and 0 <= C < 0.8 of the
// peak's temperature: what the sum over the nodes gives, within a relative error of 1e-5, in the time of two exponentials. ok is
// false where only the sum will do: for a steepness outside the table, and for a firing that was Shifted.
//
// With S = ln10 B Tp/(Tp - C)², the slope d ln η/d ln T at the peak's temperature Tp, and v = C/Tp, the integral is
//
//	10^-(A + B/(Tp - C)) exp g(ln S, v)
//
// where g depends on the firing alone and is smooth; it is tabulated once and interpolated by cubics.
func (p *Prepared) Flow(a, b, c float64) (flow float64, ok bool) {
	if p.flows == nil {
		return 0, false
	}
	room := 1 / (p.PeakKelvin - c)
	u := b * room
	s, v := math.Ln10*u*p.PeakKelvin*room, c/p.PeakKelvin
	if !(s >= leastSteep && s <= mostSteep && v >= 0 && v <= mostC) {
		return 0, false
	}
	g := p.flows.at((math.Log(s)-lnLeastSteep)*(1/steepStep), v*(1/cStep))
	return math.Exp(g - math.Ln10*(a+u)), true
}

// The table covers steepnesses from that of a melt far more fluid than any glaze to one that hardly moves.
const (
	leastSteep, mostSteep = 4.0, 160.0
	steepKnots            = 33
	mostC                 = 0.8
	cKnots                = 33
	cStep                 = mostC / (cKnots - 1)
)

var (
	lnLeastSteep = math.Log(leastSteep)
	steepStep    = math.Log(mostSteep/leastSteep) / (steepKnots - 1)
)

// flows holds g by ln S and C/Tp.
type flows [steepKnots][cKnots]float64

func (p *Prepared) tabulateFlows() *flows {
	var f flows
	for i := range f {
		s := leastSteep * math.Exp(float64(i)*steepStep)
		for k := range f[i] {
			v := float64(k) * cStep
			sum := 0.0
			for _, n := range p.Nodes {
				if x := n.Kelvin/p.PeakKelvin - v; x > 0 { // below C nothing flows
					sum += n.Seconds * math.Exp(-s*(1-v)*((1-v)/x-1))
				}
			}
			f[i][k] = math.Log(sum)
		}
	}
	return &f
}

// at interpolates by the cubics through four by four knots (Lagrange's form); x and y count knots.
func (f *flows) at(x, y float64) float64 {
	i, a := cubic(x, steepKnots)
	k, b := cubic(y, cKnots)
	sum := 0.0
	for j, w := range a {
		row := f[i+j][k : k+4 : k+4]
		sum += w * (b[0]*row[0] + b[1]*row[1] + b[2]*row[2] + b[3]*row[3])
	}
	return sum
}

// cubic gives the first of the four knots around a place among n and their weights.
func cubic(at float64, n int) (first int, w [4]float64) {
	first = min(max(int(at)-1, 0), n-4)
	a := at - float64(first)
	b, c, d := a-1, a-2, a-3
	return first, [4]float64{b * c * d * (-1. / 6), a * c * d * 0.5, a * b * d * -0.5, a * b * c * (1. / 6)}
}
