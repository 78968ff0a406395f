package calib

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// published reads a table of testdata/published as rows of name to text.
func published(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "published", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, r := range all[1:] {
		m := map[string]string{}
		for i, h := range all[0] {
			m[h] = r[i]
		}
		out = append(out, m)
	}
	return out
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// NIST Statistical Reference Datasets, linear least squares (testdata/published/nist_strd_*.csv, each row with its source),
// through the road that every calibration takes: blocks of rows into R, its mirrored rows into sajari/regression.
// Columns are scaled to unit length. The number
// of digits that must agree is what a float64 leaves at the condition of each set; Filip is known to defeat many programs.
func TestCertifiedLeastSquares(t *testing.T) {
	type set struct {
		name string
		y    []float64
		x    [][]float64
	}
	var sets []set
	longley := set{name: "longley"}
	for _, r := range published(t, "nist_strd_longley.csv") {
		x := []float64{1}
		for i := 1; i <= 6; i++ {
			x = append(x, number(t, r[fmt.Sprintf("x%d", i)]))
		}
		longley.x, longley.y = append(longley.x, x), append(longley.y, number(t, r["y"]))
	}
	sets = append(sets, longley)
	powers := func(x float64, degree int) []float64 {
		p := []float64{1}
		for range degree {
			p = append(p, p[len(p)-1]*x)
		}
		return p
	}
	filip := set{name: "filip"}
	for _, r := range published(t, "nist_strd_filip.csv") {
		filip.x, filip.y = append(filip.x, powers(number(t, r["x"]), 10)), append(filip.y, number(t, r["y"]))
	}
	sets = append(sets, filip)
	for k := 1; k <= 5; k++ {
		w := set{name: fmt.Sprintf("wampler%d", k)}
		for _, r := range published(t, "nist_strd_wampler.csv") {
			w.x, w.y = append(w.x, powers(number(t, r["x"]), 5)), append(w.y, number(t, r[fmt.Sprintf("y%d", k)]))
		}
		sets = append(sets, w)
	}
	certified := map[string][][2]float64{}
	for _, r := range published(t, "nist_strd_certified.csv") {
		certified[r["set"]] = append(certified[r["set"]], [2]float64{number(t, r["value"]), number(t, r["sd"])})
	}
	need := map[string]float64{"longley": 10, "filip": 6, "wampler1": 8, "wampler2": 11, "wampler3": 8, "wampler4": 7, "wampler5": 5}
	for _, s := range sets {
		n := len(s.x[0])
		norm := make([]float64, n)
		for j := range norm {
			for i := range s.x {
				norm[j] = math.Hypot(norm[j], s.x[i][j])
			}
		}
		tri := newRFactor(n)
		var block []float64
		plain := mat.NewDense(len(s.x), n, nil)
		for i := range s.x {
			for j := range norm {
				block = append(block, s.x[i][j]/norm[j])
				plain.Set(i, j, s.x[i][j]/norm[j])
			}
			block = append(block, s.y[i])
			if len(block) >= 7*(n+1) || i == len(s.x)-1 {
				tri.absorb(block, 0)
				block = block[:0]
			}
		}
		got, err := tri.solve()
		if err != nil {
			t.Errorf("%s: %v", s.name, err)
			continue
		}
		sigma := tri.row(n)[n] / math.Sqrt(float64(len(s.x)-n))
		var value, sd, wantValue, wantSD []float64
		for j, want := range certified[s.name] {
			e := make([]float64, n)
			e[j] = 1
			tri.halfSolve(e)
			value, sd = append(value, got[j]/norm[j]), append(sd, sigma*blas64.Nrm2(blas64.Vector{N: n, Inc: 1, Data: e})/norm[j])
			wantValue, wantSD = append(wantValue, want[0]), append(wantSD, want[1])
		}
		agree := func(got, want []float64) float64 { // relative to each, however small it is
			least := 17.0
			for i := range want {
				if d := math.Abs(got[i] - want[i]); d > 0 && want[i] != 0 {
					least = math.Min(least, -math.Log10(d/math.Abs(want[i])))
				}
			}
			return least
		}
		d := agree(value, wantValue)
		t.Logf("%s: condition %.1e, %.1f digits of the coefficients, %.1f of the standard errors", s.name, tri.condition(), d, agree(sd, wantSD))
		if d < need[s.name] {
			t.Errorf("%s: %.1f digits, want %.0f: %v", s.name, d, need[s.name], value)
		}
		if wantSD[0] > 0 && agree(sd, wantSD) < need[s.name] {
			t.Errorf("%s: standard errors %v, certified %v", s.name, sd, wantSD)
		}
		// gonum's QR of the very same matrix: neither may be the worse by more than two digits.
		var direct mat.VecDense
		var qr mat.QR
		qr.Factorize(plain)
		if err := qr.SolveVecTo(&direct, false, mat.NewVecDense(len(s.y), s.y)); err != nil {
			if _, ill := err.(mat.Condition); !ill {
				t.Fatal(err)
			}
		}
		by := append([]float64(nil), direct.RawVector().Data...)
		floats.Div(by, norm)
		if g := agree(by, wantValue); d < g-2 {
			t.Errorf("%s: gonum's QR has %.1f digits, ours %.1f", s.name, g, d)
		}
	}
}

// Rows that do not determine the coefficients are refused, not solved to nonsense.
func TestRankIsChecked(t *testing.T) {
	tri := newRFactor(3)
	tri.absorb([]float64{1, 2, 3, 1, 2, 4, 6, 2, 1, 0, 1, 5, 0, 1, 1, 7}, 0) // third column is the sum of the others
	if θ, err := tri.solve(); err == nil {
		t.Errorf("solved to %v", θ)
	}
}
