package calib

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// The reference of these tests is R (Debian packages r-base-core and r-recommended): lm, survival::survreg, nlme::lme, on
// data that the test writes. R runs in tests only. Where it is absent they are skipped; in CI they fail.

// runR writes the table as data.csv, runs the script beside it and returns the numbers that it prints, a line of
// them for every name.
func runR(t *testing.T, header []string, table [][]float64, script string) map[string][]float64 {
	t.Helper()
	program, err := exec.LookPath("Rscript")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("Rscript is not installed: in CI the comparison with R must run")
		}
		t.Skip("Rscript is not installed: no comparison with R")
	}
	dir := t.TempDir()
	var buf bytes.Buffer
	w := csv.NewWriter(&buf)
	_ = w.Write(header)
	for _, row := range table {
		record := make([]string, len(row))
		for i, v := range row {
			record[i] = strconv.FormatFloat(v, 'g', 17, 64)
			if math.IsInf(v, 0) {
				record[i] = "NA"
			}
		}
		_ = w.Write(record)
	}
	w.Flush()
	if err := os.WriteFile(filepath.Join(dir, "data.csv"), buf.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	full := "d <- read.csv('data.csv')\nshow <- function(name, v) cat(name, sprintf('%.17g', v), '\\n')\n" + script
	if err := os.WriteFile(filepath.Join(dir, "script.R"), []byte(full), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program, "--vanilla", "script.R")
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("R: %v\n%s", err, out)
	}
	numbers := map[string][]float64{}
	for _, line := range strings.Split(string(out), "\n") {
		words := strings.Fields(line)
		if len(words) < 2 {
			continue
		}
		for _, word := range words[1:] {
			v, err := strconv.ParseFloat(word, 64)
			if err != nil {
				t.Fatalf("R printed %q", line)
			}
			numbers[words[0]] = append(numbers[words[0]], v)
		}
	}
	return numbers
}

// digits is the least number of agreeing significant digits over the pairs.
func digits(got, want []float64) float64 {
	least := 17.0
	for i := range want {
		if d := math.Abs(got[i] - want[i]); d > 0 {
			least = math.Min(least, -math.Log10(d/math.Max(math.Abs(want[i]), 1e-3)))
		}
	}
	return least
}

func needDigits(t *testing.T, what string, got, want []float64, need float64) {
	t.Helper()
	if len(got) != len(want) || len(got) == 0 {
		t.Fatalf("%s: %d numbers, R has %d", what, len(got), len(want))
	}
	d := digits(got, want)
	t.Logf("%s: %.1f digits agree with R", what, d)
	if d < need {
		t.Errorf("%s: only %.1f digits agree, want %.0f\n  ours %v\n  R    %v", what, d, need, got, want)
	}
}

// The whole augmented system, tiles and prior rows, pairs and all, by lm.
func TestAgainstLM(t *testing.T) {
	c, err := Fit(someTiles(80, 6, 11), DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	levels, pairs := len(c.core.levels), len(c.pairs.levels)
	n := int(NumEffects) + levels + pairs
	header := []string{"y", "w"}
	for i := range n {
		header = append(header, fmt.Sprintf("x%d", i))
	}
	var table [][]float64
	for _, r := range c.rows { // in units of the coefficients themselves, not standardised
		line := make([]float64, n+2)
		line[0], line[1] = r.z, r.h
		for _, e := range r.entries {
			line[2+e.id] = e.x
		}
		if r.pair >= 0 {
			line[2+int(NumEffects)+levels+int(r.pair)] = r.pairWeight
		}
		table = append(table, line)
	}
	for i := range n {
		line := make([]float64, n+2)
		switch {
		case i < int(NumEffects):
			line[0], line[1] = c.prior.Effects[i].Mean, math.Pow(c.prior.Effects[i].SD, -2)
		case i < int(NumEffects)+levels:
			line[1] = math.Pow(c.core.levels[i-int(NumEffects)].scale(&c.components), -2)
		default:
			line[1] = math.Pow(c.pairs.levels[i-int(NumEffects)-levels].scale(&c.components), -2)
		}
		line[2+i] = 1
		table = append(table, line)
	}
	r := runR(t, header, table, `
		m <- lm(y ~ . - w - 1, data = d, weights = w)
		show("coef", coef(m))
		show("sd", sqrt(diag(summary(m)$cov.unscaled)))`)
	var mean, sd []float64
	for _, k := range c.Coefficients() {
		mean, sd = append(mean, k.Mean), append(sd, k.SD)
	}
	needDigits(t, "lm coefficients", mean, r["coef"], 9)
	needDigits(t, "lm standard errors", sd, r["sd"], 9)
}

// censoredTiles of one glaze with two fixed effects, a third of them censored one way or another.
func censoredTiles() []Tile {
	rng := rand.New(rand.NewPCG(4, 4))
	var tiles []Tile
	for i := range 60 {
		t := Tile{Name: fmt.Sprint(i), Order: int64(i)}
		t.Glazes = []Share{{Name: "only", Weight: 1}}
		t.Features.Reduction, t.Features.ConeExcess = float64(i%2), 2*rng.Float64()-1
		y := 0.2 + 0.5*t.Features.Reduction - 0.3*t.Features.ConeExcess + 0.3*rng.NormFloat64()
		switch {
		case y > 0.7:
			t.Reading = ReadAtLeast(0.7, 0, 60)
		case y < -0.2:
			t.Reading = ReadAtMost(-0.2, 0, 1)
		case i%5 == 0:
			t.Reading = ReadBetween(y-0.2, y+0.3, 0, 10, 15)
		default:
			t.Reading = Read(y, 0, 10)
		}
		tiles = append(tiles, t)
	}
	return tiles
}

// flat is a prior that says nothing of the effects named and forbids all else.
func flat(effects ...Effect) Prior {
	p := DefaultPrior()
	for e := range p.Effects {
		p.Effects[e] = Normal{0, 1e-6}
	}
	for _, e := range effects {
		p.Effects[e] = Normal{0, 1e4}
	}
	for f := range p.Spread {
		p.Spread[f] = LogNormal{1e-3, 1e-6}
	}
	p.Noise = LogNormal{0.3, math.Inf(1)}
	p.DF = []float64{math.Inf(1)}
	return p
}

// Censored regression, normal and Student-t, by survival::survreg at a given scale.
func TestAgainstSurvreg(t *testing.T) {
	const scale = 0.37
	tiles := censoredTiles()
	var table [][]float64
	for i := range tiles {
		table = append(table, []float64{tiles[i].Reading.Low, tiles[i].Reading.High, tiles[i].Features.Reduction, tiles[i].Features.ConeExcess})
	}
	for _, c := range []struct {
		name, dist string
		df         float64
	}{{"normal", "'gaussian'", math.Inf(1)}, {"t", "'t', parms = 4", 4}} {
		r := runR(t, []string{"low", "high", "reduction", "cone"}, table, fmt.Sprintf(`
			library(survival)
			m <- survreg(Surv(low, high, type = 'interval2') ~ reduction + cone, data = d, dist = %s, scale = %g,
			             control = survreg.control(rel.tolerance = 1e-15, maxiter = 200))
			show("coef", coef(m))
			show("sd", sqrt(diag(vcov(m))))
			show("loglik", m$loglik[2])`, c.dist, scale))
		sorted, err := inOrder(tiles)
		if err != nil {
			t.Fatal(err)
		}
		ours := &Calibration{prior: flat(Common, Reduction, ConeExcess)}
		ours.components = ours.prior.middle()
		ours.components.Noise, ours.components.DF = scale, c.df
		ours.components.Spread[Glaze] = 1e-6
		if err := ours.learn(sorted); err != nil {
			t.Fatal(err)
		}
		k := ours.Coefficients()
		got := []float64{k[Common].Mean, k[Reduction].Mean, k[ConeExcess].Mean}
		needDigits(t, c.name+": survreg coefficients", got, r["coef"], 6)
		needDigits(t, c.name+": survreg standard errors", []float64{k[Common].SD, k[Reduction].SD, k[ConeExcess].SD}, r["sd"], 6)
		s := newSystem(&ours.prior, &ours.core, &ours.pairs, ours.rows)
		m, err := s.find(&ours.components, nil, closely)
		if err != nil {
			t.Fatal(err)
		}
		lnLikelihood := 0.0
		for i := range m.support {
			lnLikelihood += m.support[i].lnLikelihood
		}
		needDigits(t, c.name+": survreg log likelihood", []float64{lnLikelihood}, r["loglik"], 9)
	}
}

// Variances of a hierarchy by nlme::lme (restricted maximum likelihood, which is the marginal likelihood under flat
// priors of the fixed effects): testers within kilns.
func TestAgainstLME(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	var tiles []Tile
	var table [][]float64
	for kiln := range 8 {
		kilnEffect := 0.5 * rng.NormFloat64()
		for tester := range 4 {
			testerEffect := 0.3 * rng.NormFloat64()
			for range 3 + rng.IntN(4) {
				t := Tile{Name: fmt.Sprint(len(tiles)), Order: int64(len(tiles))}
				t.Glazes = []Share{{Name: "only", Weight: 1}}
				t.Kiln, t.Tester = fmt.Sprint(kiln), fmt.Sprint(kiln, tester)
				t.Features.ConeExcess = 2*rng.Float64() - 1
				y := 0.2 + 0.5*t.Features.ConeExcess + kilnEffect + testerEffect + 0.4*rng.NormFloat64()
				t.Reading = Read(y, 0, 10)
				tiles = append(tiles, t)
				table = append(table, []float64{y, t.Features.ConeExcess, float64(kiln), float64(tester)})
			}
		}
	}
	r := runR(t, []string{"y", "cone", "kiln", "tester"}, table, `
		library(nlme)
		m <- lme(y ~ cone, random = ~ 1 | kiln/tester, data = d, method = "REML",
		         control = lmeControl(tolerance = 1e-12, msTol = 1e-14, maxIter = 500, msMaxIter = 500))
		v <- as.numeric(VarCorr(m)[, "StdDev"])
		show("sd", na.omit(v))
		show("coef", fixef(m))
		show("kilns", ranef(m, level = 1)[, 1])`)
	prior := flat(Common, ConeExcess)
	prior.Spread[Kiln], prior.Spread[Tester] = LogNormal{0.2, math.Inf(1)}, LogNormal{0.2, math.Inf(1)}
	sorted, err := inOrder(tiles)
	if err != nil {
		t.Fatal(err)
	}
	c, err := fit(sorted, prior, 1e-12)
	if err != nil {
		t.Fatal(err)
	}
	needDigits(t, "lme standard deviations", []float64{c.components.Spread[Kiln], c.components.Spread[Tester], c.components.Noise}, r["sd"], 4)
	k := c.Coefficients()
	needDigits(t, "lme fixed effects", []float64{k[Common].Mean, k[ConeExcess].Mean}, r["coef"], 5)
	var kilns []float64
	for _, e := range k {
		if strings.HasPrefix(e.Name, "kiln ") {
			kilns = append(kilns, e.Mean)
		}
	}
	needDigits(t, "lme kilns (shrunk)", kilns, r["kilns"], 4)
}
