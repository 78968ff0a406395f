package main

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/melt"
)

// compare scores a sheet of all ordered pairs here and by the script, which is what a technical user would write with
// NumPy and SciPy, and says by how much they differ and which took how much longer on one core. Without SciPy it says
// so and does nothing.
func compare(s *studio, script string) error {
	python, err := scipy()
	if err != nil {
		fmt.Println("no comparison with NumPy:", err)
		return nil
	}
	n := len(s.firings) * len(s.glazes) * len(s.glazes)
	var theirs, ours, ratio []float64
	worst := 0.0
	for range 3 {
		scores, seconds, err := s.byScript(python, script)
		if err != nil {
			return err
		}
		run := sheet(s)
		start := processorTime()
		run(n)
		own := (processorTime() - start).Seconds()
		if worst, err = difference(s, scores); err != nil {
			return err
		}
		theirs, ours, ratio = append(theirs, seconds), append(ours, own), append(ratio, seconds/own)
	}
	fmt.Printf("a sheet of %d scores: NumPy %.2f s, here %.3f s, %.1f times as fast (target >= 8); scores agree to %.1e (target <= %.0e)\n\n",
		n, median(theirs), median(ours), median(ratio), worst, agree)
	if worst > agree {
		return fmt.Errorf("the scores differ from NumPy's by %g", worst)
	}
	return nil
}

// agree is how far the script's scores may be from ours.
const agree = 1e-3

// byScript has the script score the sheet: its answer as it writes it, and the seconds of processor time that it took.
func (s *studio) byScript(python, script string) (scores []byte, seconds float64, err error) {
	dir, err := os.MkdirTemp("", "bench")
	if err != nil {
		return nil, 0, err
	}
	defer os.RemoveAll(dir)
	in, out := filepath.Join(dir, "sheet.json"), filepath.Join(dir, "scores")
	data, err := json.Marshal(exported(s))
	if err != nil {
		return nil, 0, err
	}
	if err := os.WriteFile(in, data, 0o644); err != nil {
		return nil, 0, err
	}
	answer, err := exec.Command(python, script, in, out).Output()
	if err != nil {
		return nil, 0, fmt.Errorf("%s: %w", script, err)
	}
	if seconds, err = strconv.ParseFloat(strings.TrimSpace(string(answer)), 64); err != nil {
		return nil, 0, err
	}
	scores, err = os.ReadFile(out)
	return scores, seconds, err
}

// scipy finds a Python that has it: Debian's, or the first on the path.
func scipy() (string, error) {
	var err error
	for _, python := range []string{"/usr/bin/python3", "python3"} {
		if err = exec.Command(python, "-c", "import numpy, scipy").Run(); err == nil {
			return python, nil
		}
	}
	return "", fmt.Errorf("no Python with scipy: %w", err)
}

// difference is the greatest relative difference of runs, and of probabilities to one in a thousand.
func difference(s *studio, bytes []byte) (float64, error) {
	sheet := s.sheet()
	all := make([]model.Estimate, sheet.Len())
	if _, err := sheet.Scorer().Estimates(all, 0); err != nil {
		return 0, err
	}
	worst := 0.0
	for at, e := range all {
		for i, v := range []float64{e.Median, e.P10, e.P90, e.Exceedance, e.ClearanceNeeded} {
			from := 8 * (5*at + i)
			w := math.Float64frombits(binary.LittleEndian.Uint64(bytes[from : from+8]))
			least := 1e-6 // m
			if i == 3 {
				least = 1e-3
			}
			if d := math.Abs(v-w) / math.Max(math.Abs(w), least); !(d <= worst) {
				worst = d
			}
		}
	}
	return worst, nil
}

type exportedFiring struct {
	Kelvin         []float64    `json:"kelvin"`
	Seconds        []float64    `json:"seconds"`
	Curves         [][3]float64 `json:"curves"`
	Blends         [][3]float64 `json:"blends"`
	Thickness      []float64    `json:"thickness"`
	Density        []float64    `json:"density"`
	Crystals       []float64    `json:"crystals"`
	Boron          []float64    `json:"boron"`
	Peak           float64      `json:"peak"`
	ReferenceLog10 []float64    `json:"reference_log10"`
	ViscositySD    []float64    `json:"viscosity_sd"`
	Matte          []float64    `json:"matte"`
	ConeExcess     float64      `json:"cone_excess"`
	LnCooling      float64      `json:"ln_cooling"`
}

// exported is what the script is given: all that does not depend on the pair, and the viscosity curves of the pairs'
// blends.
func exported(s *studio) map[string]any {
	c := s.calibration
	mean, covariance := c.Linear()
	columns := map[string]int{}
	for i, k := range c.Coefficients() {
		columns[k.Name] = i
	}
	at := func(factor calib.Factor, name string) int {
		if i, ok := columns[factor.String()+" "+name]; ok {
			return i
		}
		return -1
	}
	var glazes []string
	var column, pair []int
	for _, a := range s.glazes {
		glazes = append(glazes, a.Name)
		column = append(column, at(calib.Glaze, a.Name))
		for _, b := range s.glazes {
			pair = append(pair, at(calib.Pair, calib.PairName(a.Name, b.Name)))
		}
	}
	var flat []float64
	for i := range mean {
		for k := range mean {
			flat = append(flat, covariance.At(i, k))
		}
	}
	const knots = 33
	var inverse, scale2 []float64
	noise2 := c.VarianceComponents().Noise * c.VarianceComponents().Noise
	for k := range knots {
		if k == knots-1 {
			inverse, scale2 = append(inverse, 0), append(scale2, 1)
			break
		}
		u := float64(k) / (knots - 1)
		variance := noise2 * u / (1 - u)
		scale, df := c.Tail(variance, 0)
		inverse, scale2 = append(inverse, 1/df), append(scale2, scale*scale/(variance+noise2))
	}
	q := s.question()
	var firings []exportedFiring
	for _, f := range s.firings {
		firings = append(firings, exportFiring(s, f))
	}
	spread := c.VarianceComponents().Spread
	return map[string]any{
		"glazes": glazes, "firings": firings, "practice": film.Usual, "own_kelvin": must(firing.ConeKelvin(6)), "thickness_sd": must(film.Coats(film.Brush, 2, 1)).RelativeSD,
		"band": s.wall.Band(), "drip": s.wall.Drip(), "clearance": s.wall.Clearance(), "tolerated": q.Tolerated,
		"mean": mean, "covariance": flat, "column": column, "pair": pair,
		"kiln": at(calib.Kiln, where.Kiln), "tester": at(calib.Tester, where.Tester), "bead": at(calib.Bead, "of no name"),
		"noise": c.VarianceComponents().Noise, "physics": c.VarianceComponents().Physics, "spread": map[string]float64{"glaze": spread[calib.Glaze], "pair": spread[calib.Pair], "bead": spread[calib.Bead]},
		"inverse_df": inverse, "scale2": scale2,
	}
}

func exportFiring(s *studio, f *firing.HeatHistory) exportedFiring {
	e := exportedFiring{Peak: f.PeakKelvin, ConeExcess: f.EquivalentCone - 6, LnCooling: math.Log(f.CoolingKPerHour / 150)}
	for _, n := range f.Nodes {
		e.Kelvin, e.Seconds = append(e.Kelvin, n.Kelvin), append(e.Seconds, n.Seconds)
	}
	layers := s.layers(f)
	for _, a := range layers {
		e.Curves = append(e.Curves, [3]float64{a.Curve.A, a.Curve.B, a.Curve.C})
		e.Thickness, e.Density = append(e.Thickness, a.Thickness.Metres), append(e.Density, a.Density)
		crystals, _ := melt.CrystalsOf(a.Glaze.Surface)
		e.Crystals, e.Boron = append(e.Crystals, crystals), append(e.Boron, a.Melt[chem.B2O3])
		e.ReferenceLog10, e.ViscositySD = append(e.ReferenceLog10, a.ReferenceLog10), append(e.ViscositySD, a.ViscositySD)
		e.Matte = append(e.Matte, map[melt.Surface]float64{melt.Satin: 0.5, melt.Matte: 1}[a.Glaze.Surface])
		for _, b := range layers {
			e.Blends = append(e.Blends, blended(a, b))
		}
	}
	return e
}

// blended is the curve of two glazes mixed half and half by volume, which is that of their melts with all iron as
// Fe2O3 at 1500 K.
func blended(a, b model.Layer) [3]float64 {
	moles := func(l *model.Layer) float64 { // of the melt as it is, per volume
		oxidised := melt.Oxidised(l.Glaze.Melt)
		density, _ := melt.Density(&oxidised, 1500)
		return density / oxidised.MolarMass() / (1 - l.Melt[chem.FeO]/2)
	}
	var x chem.Melt
	chem.Blend(&x, &a.Melt, &b.Melt, moles(&a), moles(&b))
	curve := melt.Viscosity(&x)
	return [3]float64{curve.A, curve.B, curve.C}
}
