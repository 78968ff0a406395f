package model

import (
	"cmp"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
)

var record = flag.Bool("record", false, "write testdata/golden.json anew instead of comparing with it")

// goldenFile is a record of scores. It was taken from this model before its formulas were rewritten, to show that the
// rewriting moved none of them. It is no check of the physics: nothing in it comes from outside.
const goldenFile = "testdata/golden.json"

// goldenPrecision is how far a number may be from its record, as a part of it or of 1: lengths are recorded in µm, the
// degrees of freedom by their inverse.
const goldenPrecision = 1e-9

// Scores of one, two and more layers, on wares and tiles, in cones and atmospheres, with and without a calibration,
// explained, and in a sheet, are those of the record. Numbers that a new physics moves on purpose are recorded anew
// with -record.
func TestScoresAreThoseOfTheRecord(t *testing.T) {
	got := goldenScores(t)
	if *record {
		text, err := json.MarshalIndent(got, "", " ")
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(goldenFile, append(text, '\n'), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	text, err := os.ReadFile(goldenFile)
	if err != nil {
		t.Fatal(err)
	}
	var want []goldenScore
	if err := json.Unmarshal(text, &want); err != nil {
		t.Fatal(err)
	}
	if len(got) != len(want) {
		t.Fatalf("%d scores, recorded were %d", len(got), len(want))
	}
	worst := 0.0
	for i, w := range want {
		g := got[i]
		if g.Name != w.Name || g.Words != w.Words || len(g.Numbers) != len(w.Numbers) {
			t.Fatalf("%s, %q, %d numbers; recorded was %s, %q, %d", g.Name, g.Words, len(g.Numbers), w.Name, w.Words, len(w.Numbers))
		}
		for k, v := range g.Numbers {
			off := math.Abs(v-w.Numbers[k]) / math.Max(math.Abs(w.Numbers[k]), 1)
			if worst = math.Max(worst, off); !(off <= goldenPrecision) {
				t.Errorf("%s: number %d is %.15g, recorded was %.15g", g.Name, k, v, w.Numbers[k])
			}
		}
	}
	t.Logf("%d scores, within %.1e", len(got), worst)
}

// goldenScore is the numbers of a score, in the order in which they were put in, and its words.
type goldenScore struct {
	Name, Words string
	Numbers     []float64
}

func (g *goldenScore) add(v ...float64) { g.Numbers = append(g.Numbers, v...) }

func (g *goldenScore) lengths(v ...float64) {
	for _, metres := range v {
		g.add(1e6 * metres)
	}
}

func (g *goldenScore) estimate(e *Estimate) {
	g.lengths(e.Median, e.P10, e.P90, e.ClearanceNeeded)
	g.add(e.Exceedance)
}

func (g *goldenScore) physics(p *Physics) {
	f := &p.Flow
	g.lengths(f.Drive, f.Thickness, p.Drive)
	g.lengths(p.ZoneWidth[:]...)
	g.add(f.Mobility, f.Mobile, f.Stirring, p.LnDrive, p.LnDriveSD, p.Course.Edge.Bead)
	g.add(f.LayerShare[:]...)
	g.add(f.ZoneShare[:]...)
}

func (g *goldenScore) score(s *Score) {
	g.estimate(&s.Estimate)
	g.physics(&s.Physics)
	p := &s.Prediction
	g.lengths(s.PhysicsRun)
	g.add(s.Tension, s.Density, p.LnPhysics, p.Mean, p.Scale, 1/p.DF, p.KnownSD, p.EffectiveTiles)
	var words []string
	byKind := slices.SortedFunc(slices.Values(s.Drivers), func(a, b Driver) int { // those of equal size may come in any order
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Glaze, b.Glaze))
	})
	for _, d := range byKind {
		words = append(words, fmt.Sprint(d.Kind, d.Glaze))
		g.lengths(d.Run)
	}
	for _, o := range s.Solo {
		words = append(words, o.Glaze)
		g.lengths(o.Median, o.P10, o.P90)
	}
	for _, i := range s.Evidence {
		words = append(words, i.Tile)
		g.add(i.Moved, i.Share)
	}
	for _, f := range s.Flags {
		words = append(words, f.Code)
	}
	g.Words = strings.Join(words, " ")
}

func goldenScores(t *testing.T) (all []goldenScore) {
	s := newStudio(t, 13, 60)
	walls := goldenWalls(t)
	ask := func(name string, q *Question, median *Fired) {
		t.Helper()
		score, err := q.Score(median)
		if err != nil {
			t.Fatal(err)
		}
		g := goldenScore{Name: name}
		g.score(score)
		all = append(all, g)
		g = goldenScore{Name: name + ", in numbers"}
		var p Physics
		e, err := q.Estimate(&p)
		if err != nil {
			t.Fatal(err)
		}
		g.estimate(&e)
		c, err := q.Conditions(&p)
		if err != nil {
			t.Fatal(err)
		}
		g.physics(&p)
		g.add(c.LnPhysics, c.PhysicsSD, c.Features.Reduction, c.Features.ConeExcess, c.Features.LnThickness, c.Features.LnContrast, c.Features.Stirring,
			c.Features.Layered, c.Features.Matte, c.Features.LnCooling, c.Features.Described)
		for _, share := range append(append(c.Glazes, c.Lots...), c.Pair) {
			g.Words += share.Name + " "
			g.add(share.Weight, share.PriorSD)
		}
		all = append(all, g)
	}
	for fi, f := range goldenFirings(t) {
		layers := s.layers(t, f, 2)
		median := layers[4].Fired
		for _, of := range [][]int{{0}, {3}, {6}, {10}, {0, 1}, {1, 0}, {5, 5}, {2, 10}, {6, 3}, {12, 8}, {3, 7, 11}, {4, 4, 9}, {1, 6, 1}, {0, 2, 4, 6, 8, 10, 12, 1}} {
			for wi, wall := range walls {
				if (fi+wi+len(of)+of[0])%3 != 0 { // a third of them do
					continue
				}
				for _, blankly := range []bool{false, true} {
					var chosen []Layer
					for k, i := range of {
						l := layers[i]
						l.Thickness.Metres *= 1 + 0.2*float64(k)
						chosen = append(chosen, l)
					}
					q := s.question(chosen...)
					q.Wall = wall
					if blankly {
						q.Calibration, q.Where, q.Tolerated = blank(t), Where{Kiln: "another", Body: "a body"}, 0.01
					}
					ask(fmt.Sprintf("firing %d, wall %d, layers %v, without tiles %t", fi, wi, of, blankly), q, median)
				}
			}
		}
	}
	for positions := 1; positions <= 3; positions++ {
		sheet := s.sheet(t, positions)
		estimates := make([]Estimate, sheet.Len())
		if _, err := sheet.Scorer().Estimates(estimates, 0); err != nil {
			t.Fatal(err)
		}
		g := goldenScore{Name: fmt.Sprintf("sheet of %d positions", positions)}
		for i := 0; i < len(estimates); i += 1 + 7*(positions-1) {
			g.estimate(&estimates[i])
		}
		all = append(all, g)
	}
	return all
}

// goldenFirings are other cones, rates, holds and atmospheres.
func goldenFirings(t *testing.T) (all []*firing.HeatHistory) {
	for _, c := range []struct {
		cone       string
		ramp, hold float64
		atmosphere firing.Atmosphere
	}{
		{"6", 60, 15, firing.Atmosphere{}},
		{"7", 100, 0, firing.Atmosphere{Kind: firing.LightReduction}},
		{"10", 60, 30, firing.Atmosphere{Kind: firing.HeavyReduction}},
		{"04", 150, 10, firing.Atmosphere{Kind: firing.Neutral}},
	} {
		f := firing.ConeFiring{Cone: c.cone, ConeType: firing.SelfSupporting, FinalRampCPerH: c.ramp, HoldMinutes: c.hold, CoolingCPerHour: firing.DefaultCoolingCPerHour}
		curve, err := f.Curve()
		if err != nil {
			t.Fatal(err)
		}
		p, err := firing.NewHeatHistory(curve, c.atmosphere, nil)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
	return all
}

// goldenWalls are an upright and a leaning tile, and a bottle and a bowl.
func goldenWalls(t *testing.T) []Wall {
	leaning, err := NewStraightWall(math.Pi/6, 0.04, 0.05, 0.05, 1.3)
	if err != nil {
		t.Fatal(err)
	}
	bottle, err := film.Bottle(0.2, 0.08, 0.05, 0.06, 0.12, 0.03)
	if err != nil {
		t.Fatal(err)
	}
	bowl, err := film.Bowl(0.08, 0.06, 0.16)
	if err != nil {
		t.Fatal(err)
	}
	walls := []Wall{upright(t, 1.3), leaning}
	for _, p := range []*film.Profile{bottle, bowl} {
		w, err := NewWareWall(p, 0.04, 0.03, 1.3, 0.5e-3, nil)
		if err != nil {
			t.Fatal(err)
		}
		walls = append(walls, w)
	}
	return walls
}
