package main

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/melt"
)

// table is the table of common practice.
type table struct {
	rows    map[string]*row
	order   []string
	firings map[string]*firing.HeatHistory
}

// row is one layering and how far it runs in practice, in mm.
type row struct {
	layers        []layer
	cone          string
	p10, p50, p90 float64
}

// layer is a glaze of a row: its melt, where its own cone goes down (K), and so many coats, or a thickness in m.
type layer struct {
	melt             chem.Melt
	own              float64
	crystals         float64
	coats, thickness float64
}

// coat is the median of the fired thickness of a brushed coat in practice, m.
const coat = 0.12e-3

func readTable(dir string) (*table, error) {
	t := &table{rows: map[string]*row{}, firings: map[string]*firing.HeatHistory{}}
	compositions, err := read(dir + "practice_compositions.csv")
	if err != nil {
		return nil, err
	}
	for _, c := range compositions {
		id := c["id"]
		if t.rows[id] == nil {
			t.rows[id] = &row{cone: c["fired_to_cone"]}
			t.order = append(t.order, id)
		}
		r := t.rows[id]
		l, err := readLayer(c)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", id, err)
		}
		r.layers = append(r.layers, l)
		atmosphere := firing.Oxidation
		if strings.Contains(c["atmosphere"], "reduction") {
			atmosphere = firing.MediumReduction
		}
		if err := t.fire(r.cone, r.cone, 0, atmosphere); err != nil {
			return nil, err
		}
	}
	runs, err := read(dir + "practice_runs.csv")
	if err != nil {
		return nil, err
	}
	for _, c := range runs {
		r := t.rows[c["id"]]
		for column, to := range map[string]*float64{"run_p10_mm": &r.p10, "run_p50_mm": &r.p50, "run_p90_mm": &r.p90} {
			if *to, err = strconv.ParseFloat(c[column], 64); err != nil {
				return nil, err
			}
		}
	}
	if err := t.fire("7", "7", 0, firing.Oxidation); err != nil {
		return nil, err
	}
	return t, t.fire("6 held", "6", 15, firing.Oxidation)
}

// read gives the rows of a file by the names of their columns; of a name, what comes before a bracket.
func read(path string) ([]map[string]string, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, err
	}
	var out []map[string]string
	for _, line := range lines[1:] {
		m := map[string]string{}
		for i, name := range lines[0] {
			name, _, _ = strings.Cut(name, " (")
			m[name] = line[i]
		}
		out = append(out, m)
	}
	return out, nil
}

func readLayer(c map[string]string) (l layer, err error) {
	var parts []chem.Part
	for name, text := range c {
		if oxide, ok := strings.CutSuffix(name, "_mol"); ok && text != "0" {
			v, err := strconv.ParseFloat(text, 64)
			if err != nil {
				return l, err
			}
			parts = append(parts, chem.Part{Name: oxide, Amount: v})
		}
	}
	composition, err := chem.FromSeger(parts)
	if err != nil {
		return l, err
	}
	l.melt = composition.Melt
	number, err := firing.ParseConeNumber(c["own_cone"])
	if err != nil {
		return l, err
	}
	if l.own, err = firing.ConeKelvin(number); err != nil {
		return l, err
	}
	if c["surface"] == "satin" {
		l.crystals, _ = melt.CrystalsOf(melt.Satin)
	}
	amount, unit, _ := strings.Cut(c["amount"], " ")
	v, err := strconv.ParseFloat(amount, 64)
	if err != nil {
		return l, err
	}
	if strings.HasPrefix(unit, "um") {
		l.thickness = v * 1e-6
	} else {
		l.coats = v
	}
	return l, nil
}

func (t *table) fire(name, cone string, hold float64, atmosphere firing.AtmosphereKind) error {
	f := firing.ConeFiring{Cone: cone, ConeType: firing.SelfSupporting, FinalRampCPerH: 60, HoldMinutes: hold, CoolingCPerHour: firing.DefaultCoolingCPerHour}
	curve, err := f.Curve()
	if err != nil {
		return err
	}
	t.firings[name], err = firing.NewHeatHistory(curve, firing.Atmosphere{Kind: atmosphere}, nil)
	return err
}

// run is how far the longest drip of layers gets in a firing, in mm, on an upright tile with a band of 60 mm.
func run(p *film.Practice, layers []layer, h *firing.HeatHistory) float64 {
	const band = 60e-3
	s := film.Stack{BodyLayer: p.BodyLayer}
	maturity := make([]film.Maturity, len(layers))
	melts := make([]chem.Melt, len(layers))
	curves := make([]melt.Curve, len(layers))
	for i, l := range layers {
		melts[i] = melt.SplitIron(&l.melt, h.ReferenceKelvin, h.Atmosphere.Log10FO2(h.ReferenceKelvin))
		curves[i] = melt.Viscosity(&melts[i])
		maturity[i] = film.Maturity{Own: l.own, Early: film.EarlyFusion(melts[i][chem.B2O3]), Crystals: l.crystals}
		density, _ := melt.Density(&melts[i], h.ReferenceKelvin)
		thickness := l.thickness
		if thickness == 0 {
			thickness = l.coats * coat
		}
		must(s.Push(film.Layer{Thickness: thickness, Density: density, Exposure: exposure(p, h, &curves[i].VFT, &maturity[i])}))
	}
	if s.Len() == 2 {
		check(s.Mix(p.Stirring))
		under := s.Zone(0).UnderFraction
		moles := func(x *chem.Melt) float64 {
			density, _ := melt.Density(x, 1500)
			return density / x.MolarMass()
		}
		k := melt.MixtureViscosity(melt.NewMixable(&melts[0]), melt.NewMixable(&melts[1]), under*moles(&melts[0]), (1-under)*moles(&melts[1]))
		log10 := under*curves[0].Log10(maturity[0].Own) + (1-under)*curves[1].Log10(maturity[1].Own)
		blend := film.Maturity{
			Own:      k.C + k.B/(log10-k.A),
			Early:    under*maturity[0].Early + (1-under)*maturity[1].Early,
			Crystals: under*maturity[0].Crystals + (1-under)*maturity[1].Crystals,
		}
		check(s.SetBlend(0, exposure(p, h, &k, &blend).Flow))
	}
	f, err := s.Flow(1)
	check(err)
	edge := film.NewEdge(p.Wetting.SectionAt(h.PeakKelvin), f.Mobile, 1, p.Wetted)
	return 1e3 * p.Drip * edge.Front(film.Run(f.Drive, band))
}

func exposure(p *film.Practice, h *firing.HeatHistory, k *melt.VFT, m *film.Maturity) (e film.Exposure) {
	fluidity := h.Fluidities(k)
	var flowing, melted [firing.NumNodes]float64
	p.Fluid(flowing[:], melted[:], h.Kelvins(), m)
	for i, n := range h.Nodes {
		e.Add(n.Kelvin, n.Seconds, flowing[i]*fluidity[i], melted[i]*fluidity[i])
	}
	return e
}

func must(_ int, err error) { check(err) }

// check is for what cannot fail: the table's own layers.
func check(err error) {
	if err != nil {
		panic(err)
	}
}

func (t *table) row(p *film.Practice, id string) float64 {
	r := t.rows[id]
	return run(p, r.layers, t.firings[r.cone])
}

// rule is a ratio of runs that testers go by, with the standard deviation of its logarithm.
type rule struct {
	name      string
	of        func(t *table, p *film.Practice) float64
	usual, sd float64
	low, high float64 // as they say it
}

func (t *table) in(p *film.Practice, id, firing string) float64 {
	return run(p, t.rows[id].layers, t.firings[firing])
}

var rules = []rule{
	{"four coats over two, A3/A1", func(t *table, p *film.Practice) float64 { return t.row(p, "A3") / t.row(p, "A1") }, 6.3, 0.25, 5, 8},
	{"a cone more, A2 at 7", func(t *table, p *film.Practice) float64 { return t.in(p, "A2", "7") / t.row(p, "A2") }, 2.45, 0.3, 2, 3},
	{"a cone more, A2/A5", func(t *table, p *film.Practice) float64 { return t.row(p, "A2") / t.row(p, "A5") }, 2.45, 0.25, 2, 3},
	{"15 min hold, A2", func(t *table, p *film.Practice) float64 { return t.in(p, "A2", "6 held") / t.row(p, "A2") }, 1.6, 0.25, 1.4, 1.8},
	{"order, E1 turned", func(t *table, p *film.Practice) float64 {
		r := t.rows["E1"]
		return run(p, []layer{r.layers[1], r.layers[0]}, t.firings[r.cone]) / t.row(p, "E1")
	}, 1, 0.3, 0.8, 1.25},
}

// Errors of the table. A run below noticed (mm) is none to a tester; three judgements of a median differ by a third.
// F3 was judged by its name more than by its formula, and its error counts as that of a glaze's name: a factor of
// two.
const (
	noticed  = 0.2
	medianSD = 0.33
	namedSD  = 0.5
)

// residuals are what the physics differs from the table by, in standard deviations.
func (t *table) residuals(p *film.Practice) (out []float64) {
	for _, id := range t.order {
		sd := medianSD
		if id == "F3" {
			sd = namedSD
		}
		out = append(out, math.Log((t.row(p, id)+noticed)/(t.rows[id].p50+noticed))/sd)
	}
	for _, r := range rules {
		out = append(out, math.Log(r.of(t, p)/r.usual)/r.sd)
	}
	return out
}

func (t *table) print(p *film.Practice) {
	sum := 0.0
	for _, id := range t.order {
		r := t.rows[id]
		ours := t.row(p, id)
		sum += math.Log((ours + 0.5) / (r.p50 + 0.5))
		fmt.Printf("%-3s ours %6.2f mm, practice %5.2f (%.2f to %.2f)\n", id, ours, r.p50, r.p10, r.p90)
	}
	fmt.Printf("mean of ln((ours + 0.5)/(practice + 0.5)): %.2f\n\n", sum/float64(len(t.order)))
	for _, r := range rules {
		fmt.Printf("%-30s %5.2f, practice %g to %g\n", r.name, r.of(t, p), r.low, r.high)
	}
}
