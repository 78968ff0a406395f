// Command prior fits what keeps a real glaze from running as far as its melt would (film.Practice) on the table of
// common practice, and writes model/film/practice_values.go. Of that table nothing has a source: it is what testers
// remember (testdata/published/practice_*.csv). So it moves only what it tells.
//
// Every parameter has a centre and a width, on its logarithm, from what practice says of it by itself, or ours. The
// table's rows and ratios are the data: medians of runs with an error of a third, and rules of thumb. At each step of
// Gauss and Newton the data's derivatives, in units of the widths, are split by their singular values s: a direction
// with s > 1 is known better from the data than from the centres, and moves, drawn to the centre by 1/(1+s²); the
// rest stays.
//
// How many pieces run how far in practice (practice_shares.csv) is kept for a test of the whole model, see
// model/practice_shares_test.go.
//
// The same table gives the same numbers, in seconds:
//
//	go run ./model/film/prior
package main

import (
	"fmt"
	"go/format"
	"log"
	"math"
	"os"

	"gonum.org/v1/gonum/mat"

	"github.com/catchline/catchline/model/film"
)

// parameter is a number of film.Practice, with what is believed of it before the table is read.
type parameter struct {
	name   string
	centre float64
	sd     float64 // of its logarithm
	set    func(p *film.Practice, v float64)
	why    string
}

var parameters = []parameter{
	{"stiffening", 5, 0.5, func(p *film.Practice, v float64) { p.Stiffening = v }, "bubbles, quartz, opacifier 1.5 to 3 times, more for mattes; some 5 in all"},
	{"fining, K", 300, 0.3, func(p *film.Practice, v float64) { p.Fining = v }, "ours"},
	{"body layer, m", 50e-6, 0.4, func(p *film.Practice, v float64) { p.BodyLayer = v }, "50 to 100 µm; 44 by a rough fit"},
	{"bead, m²", 1.7e-6, 0.45, func(p *film.Practice, v float64) { p.Wetting.Section = v }, "0.7 to 4 mm²: its middle; 1.3 by a rough fit"},
	{"spreading above cone 6, K", 50, 0.3, func(p *film.Practice, v float64) { p.Wetting.Range = v }, "ours"},
	{"wetted part of the edge", 0.15, 0.7, func(p *film.Practice, v float64) { p.Wetted = v }, "ours"},
	{"fusion below own cone, K", 52, 0.15, func(p *film.Practice, v float64) { p.Fusion.Below = v }, "40 to 60 K"},
	{"width of fusion, K", 30, 0.3, func(p *film.Practice, v float64) { p.Fusion.Width = v }, "ours"},
	{"longest drip over mean front", 2.1, 0.2, func(p *film.Practice, v float64) { p.Drip = v }, "1.3 / 2.1 / 4.5"},
	{"stirring", 25, 0.8, func(p *film.Practice, v float64) { p.Stirring = v }, "ours: the order of two glazes is hardly seen"},
}

// at gives the practice for a place in units of the widths from the centres.
func at(x []float64) *film.Practice {
	p := new(film.Practice)
	for i, q := range parameters {
		q.set(p, q.centre*math.Exp(q.sd*x[i]))
	}
	return p
}

func main() {
	t, err := readTable("testdata/published/")
	if err != nil {
		log.Fatal(err)
	}
	x, values := fit(t)
	report(t, x, values)
	if err := write("model/film/practice_values.go", at(x)); err != nil {
		log.Fatal(err)
	}
}

// fit finds the place, and gives the singular values of the data there.
func fit(t *table) (x, values []float64) {
	n := len(parameters)
	x = make([]float64, n)
	for range 30 {
		j, r := jacobian(t, x)
		var svd mat.SVD
		if !svd.Factorize(j, mat.SVDThin) {
			log.Fatal("prior: the singular values did not converge")
		}
		var u, v mat.Dense
		svd.UTo(&u)
		svd.VTo(&v)
		values = svd.Values(nil)
		// The data says J (x + d) = J x - r.
		var data mat.VecDense
		data.MulVec(j, mat.NewVecDense(n, x))
		data.SubVec(&data, r)
		next := make([]float64, n)
		for k, s := range values {
			if s <= identified {
				break
			}
			c := s / (1 + s*s) * mat.Dot(u.ColView(k), &data)
			for i := range next {
				next[i] += c * v.At(i, k)
			}
		}
		moved := 0.0
		for i := range x {
			step := (next[i] - x[i]) / 2
			moved += step * step
			x[i] += step
		}
		if moved < 1e-12 {
			break
		}
	}
	return x, values
}

// identified is the singular value from which on a direction moves.
const identified = 1.0

// jacobian is that of the residuals, by differences.
func jacobian(t *table, x []float64) (*mat.Dense, *mat.VecDense) {
	const step = 1e-3
	r := t.residuals(at(x))
	j := mat.NewDense(len(r), len(x), nil)
	for i := range x {
		was := x[i]
		x[i] = was + step
		more := t.residuals(at(x))
		x[i] = was - step
		less := t.residuals(at(x))
		x[i] = was
		for k := range r {
			j.Set(k, i, (more[k]-less[k])/(2*step))
		}
	}
	return j, mat.NewVecDense(len(r), r)
}

func report(t *table, x, values []float64) {
	fmt.Println("singular values, in units of the centres' widths:")
	rank := 0
	for _, s := range values {
		fmt.Printf(" %.2f", s)
		if s > identified {
			rank++
		}
	}
	fmt.Printf("\nidentified directions (more than %.0f): %d of %d\n\n", identified, rank, len(x))
	covariance := posterior(t, x)
	fmt.Printf("%-30s %10s %10s %8s %8s\n", "", "centre", "fitted", "width", "left")
	for i, q := range parameters {
		fmt.Printf("%-30s %10.4g %10.4g %8.2f %8.2f   %s\n", q.name, q.centre, q.centre*math.Exp(q.sd*x[i]), q.sd, q.sd*math.Sqrt(covariance.At(i, i)), q.why)
	}
	fmt.Println("\ncorrelations that are left:")
	for i := range parameters {
		for k := range parameters {
			fmt.Printf(" %5.2f", covariance.At(i, k)/math.Sqrt(covariance.At(i, i)*covariance.At(k, k)))
		}
		fmt.Println()
	}
	fmt.Println()
	t.print(at(x))
}

// posterior is the covariance that the data leaves, in units of the widths: (1 + JᵀJ)⁻¹.
func posterior(t *table, x []float64) *mat.SymDense {
	j, _ := jacobian(t, x)
	n := len(x)
	information := mat.NewSymDense(n, nil)
	information.SymOuterK(1, j.T())
	for i := range n {
		information.SetSym(i, i, information.At(i, i)+1)
	}
	var c mat.Cholesky
	if !c.Factorize(information) {
		log.Fatal("prior: the information is not positive")
	}
	out := mat.NewSymDense(n, nil)
	if err := c.InverseTo(out); err != nil {
		log.Fatal(err)
	}
	return out
}

func write(path string, p *film.Practice) error {
	text := fmt.Sprintf(`// Code generated by go run ./model/film/prior; DO NOT EDIT.

package film

// Usual is Practice as the table of common practice has it (testdata/published/practice_*.csv: no source, memory).
var Usual = Practice{
	Stiffening: %.3g,
	Fining:     %.3g,
	BodyLayer:  %.3g,
	Wetting:    Wetting{Section: %.3g, Range: %.3g},
	Wetted:     %.3g,
	Fusion:     Fusion{Below: %.3g, Width: %.3g},
	Drip:       %.3g,
	Stirring:   %.3g,
}
`, p.Stiffening, p.Fining, p.BodyLayer, p.Wetting.Section, p.Wetting.Range, p.Wetted, p.Fusion.Below, p.Fusion.Width, p.Drip, p.Stirring)
	formatted, err := format.Source([]byte(text))
	if err != nil {
		return err
	}
	return os.WriteFile(path, formatted, 0o644)
}
