package firing

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// NumNodes is the number of nodes of a heat history.
const NumNodes = 16

// Node is a temperature and the time that it stands for. A node of no time adds nothing.
type Node struct {
	Kelvin  float64
	Seconds float64
}

// weighting is the e-fold (K) of the weight exp(T/weighting) under which the Gauss rule is built. Near the peak
// fluidities of glazes grow e-fold in 20 to 180 K, cones in 10 to 40 K; 40 is in the middle on a logarithmic scale, so
// that what is left for the rule is flat.
const weighting = 40

// dwell lists the temperatures of a stretch of a curve above floor (K) with the time spent at each, finely enough to
// replace integrals over time by sums: four Gauss-Legendre points for every 8 K.
func dwell(points []Point, floor float64) []Node {
	var out []Node
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		seconds := b.Seconds - a.Seconds
		low, high := math.Min(a.Kelvin, b.Kelvin), math.Max(a.Kelvin, b.Kelvin)
		if high <= floor {
			continue
		}
		if low < floor {
			seconds *= (high - floor) / (high - low)
			low = floor
		}
		const panel = 8
		if high-low < 0.01 {
			out = append(out, Node{(low + high) / 2, seconds})
			continue
		}
		n := math.Ceil((high - low) / panel)
		half := (high - low) / n / 2
		for k := 0.0; k < n; k++ {
			middle := low + (2*k+1)*half
			for j, x := range legendreNodes {
				out = append(out,
					Node{middle - half*x, seconds / n / 2 * legendreWeights[j]},
					Node{middle + half*x, seconds / n / 2 * legendreWeights[j]})
			}
		}
	}
	return out
}

// Positive nodes and their weights of the four-point Gauss-Legendre rule on -1 to 1: Abramowitz & Stegun 1964, table
// 25.4.
var (
	legendreNodes   = [2]float64{0.339981043584856, 0.861136311594053}
	legendreWeights = [2]float64{0.652145154862546, 0.347854845137454}
)

// gaussRule reduces fine to a Gauss rule of NumNodes nodes under the weight exp(T/weighting). Sums over it of that
// exponential times a polynomial in T of degree up to 31 equal the sums over fine. Over 300 K, fluidities are so close
// to such a product that their sums agree too, whatever the shape of the firing, since the rule is built for its own
// distribution of time. Times are positive and temperatures lie within those of fine. If fine has fewer different
// temperatures than NumNodes, the nodes left over have no time.
//
// By the discretised Stieltjes procedure and the eigenvalues of the Jacobi matrix: Gautschi 2004, Orthogonal
// Polynomials, sections 2.2.3 and 3.1.1; Golub & Welsch 1969, Math. Comp. 23, 221.
func gaussRule(fine []Node) [NumNodes]Node {
	var out [NumNodes]Node
	low, high := math.Inf(1), math.Inf(-1)
	for _, f := range fine {
		low, high = math.Min(low, f.Kelvin), math.Max(high, f.Kelvin)
	}
	if len(fine) == 0 {
		return out
	}
	for i := range out {
		out[i].Kelvin = high
	}
	middle, half := (low+high)/2, (high-low)/2
	if half == 0 {
		for _, f := range fine {
			out[0].Seconds += f.Seconds
		}
		return out
	}

	n := len(fine)
	x := make([]float64, n) // temperature scaled to -1..1
	w := make([]float64, n) // its weight
	for i, f := range fine {
		x[i] = (f.Kelvin - middle) / half
		w[i] = f.Seconds * math.Exp((f.Kelvin-high)/weighting)
	}
	var alpha, beta [NumNodes]float64
	before, now := make([]float64, n), make([]float64, n)
	for i := range now {
		now[i] = 1
	}
	degree := 0
	norm := 1.0
	for k := range NumNodes {
		square, first := 0.0, 0.0
		for i, p := range now {
			square += w[i] * p * p
			first += w[i] * p * p * x[i]
		}
		// Monic polynomials on -1..1 shrink by about a quarter in square per degree; far less means that the points are
		// used up.
		if k > 0 && !(square > 1e-12*norm) {
			break
		}
		alpha[k] = first / square
		beta[k] = square / norm
		norm = square
		degree = k + 1
		for i := range now {
			b := 0.0
			if k > 0 {
				b = beta[k]
			}
			before[i], now[i] = now[i], (x[i]-alpha[k])*now[i]-b*before[i]
		}
	}

	jacobi := mat.NewSymDense(degree, nil)
	for k := range degree {
		jacobi.SetSym(k, k, alpha[k])
		if k > 0 {
			jacobi.SetSym(k-1, k, math.Sqrt(beta[k]))
		}
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(jacobi, true) {
		panic("firing: the eigenvalues of a Jacobi matrix did not converge")
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	for k, value := range eigen.Values(nil) {
		v := vectors.At(0, k)
		kelvin := math.Min(math.Max(middle+half*value, low), high)
		out[k] = Node{kelvin, beta[0] * v * v * math.Exp((high-kelvin)/weighting)}
	}
	return out
}
