package calib

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"github.com/catchline/catchline/model/fault"
)

// Leave-one-out in closed form is leave-one-out by fitting again, at the same variances: exactly so for normal errors.
func TestLeaveOneOutIsFittingWithout(t *testing.T) {
	prior := DefaultPrior()
	prior.DF = []float64{math.Inf(1)}
	tiles := someTiles(40, 5, 21)
	for i := range tiles {
		tiles[i].Reading = Read(tiles[i].LnPhysics+0.3*math.Sin(float64(i)), 0.05, 10)
	}
	c, err := Fit(tiles, prior)
	if err != nil {
		t.Fatal(err)
	}
	d := c.Diagnose()
	for i := range tiles {
		without := append(append([]Tile(nil), tiles[:i]...), tiles[i+1:]...)
		sorted, err := inOrder(without)
		if err != nil {
			t.Fatal(err)
		}
		less := &Calibration{prior: prior, components: c.components}
		if err := less.learn(sorted); err != nil {
			t.Fatal(err)
		}
		want, err := less.Judge(&tiles[i])
		if err != nil {
			t.Fatal(err)
		}
		if got := &d.Tiles[i]; math.Abs(got.Mean-want.Mean) > 1e-9 || math.Abs(got.Scale-want.Scale) > 1e-9 {
			t.Errorf("tile %d: left out %v ± %v, fitted without %v ± %v", i, got.Mean, got.Scale, want.Mean, want.Scale)
		}
	}
}

// The trace of the hat matrix lies between 0 and the number of tiles, and R² is what its definition gives.
func TestDiagnosticsAddUp(t *testing.T) {
	tiles := someTiles(80, 6, 22)
	for i := range tiles {
		tiles[i].Cone = fmt.Sprint(5 + i%3)
		limit := -4.0
		tiles[i].Clearance = &limit
	}
	c, err := Fit(tiles, DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	d := c.Diagnose()
	trace, n := 0.0, 0
	for i := range d.Tiles {
		if l := d.Tiles[i].Leverage; !(l >= 0 && l < 1) {
			t.Errorf("leverage %v", l)
		}
		trace += d.Tiles[i].Leverage
	}
	if math.Abs(trace-d.EffectiveParameters) > 1e-9 || !(trace > 2 && trace < 60) {
		t.Errorf("%v effective parameters of 80 tiles", d.EffectiveParameters)
	}
	for _, s := range d.ByCone {
		n += s.Tiles
	}
	if len(d.ByCone) != 3 || n != 80 || len(d.ByGlaze) != 6 {
		t.Errorf("%d cones with %d tiles, %d glazes", len(d.ByCone), n, len(d.ByGlaze))
	}
	for _, s := range []Scores{d.LeaveOneOut, d.Prequential} {
		if s.Tiles != 80 || s.Decided == 0 || len(s.Reliability) == 0 {
			t.Errorf("%+v", s)
		}
		if !(s.Coverage[0] < s.Coverage[1] && s.Coverage[1] < s.Coverage[2] && s.Coverage[2] <= 1) {
			t.Errorf("coverage %v", s.Coverage)
		}
		if !(s.Brier > 0 && s.Brier < 0.25) {
			t.Errorf("Brier score %v: no better than a coin", s.Brier)
		}
	}
	if d.R2 == nil || d.R2LeaveOneOut == nil || d.R2Adjusted == nil || !(*d.R2LeaveOneOut < *d.R2 && *d.R2Adjusted < *d.R2 && *d.R2 < 1) {
		t.Errorf("R² %v, adjusted %v, left out %v", d.R2, d.R2Adjusted, d.R2LeaveOneOut)
	}
	if d.Prequential.RMSError < d.LeaveOneOut.RMSError {
		t.Errorf("prequential error %v below leave-one-out %v, though it had fewer tiles", d.Prequential.RMSError, d.LeaveOneOut.RMSError)
	}
}

// What a censored tile's interval holds of the central intervals, by hand: of (0.9, 1) the 80 % interval, which ends at 0.9,
// holds nothing and the 95 % interval three quarters.
func TestCoverageOfCensoredTiles(t *testing.T) {
	j := Judgement{Outcome: RanOff, Low: 0.9, High: 1}
	if c := j.covered(0.8); c != 0 {
		t.Errorf("80 %%: %v", c)
	}
	if c := j.covered(0.95); math.Abs(c-0.75) > 1e-12 {
		t.Errorf("95 %%: %v", c)
	}
	if j = (Judgement{Low: 0.05, High: 0.05}); j.covered(0.8) != 0 || j.covered(0.95) != 1 {
		t.Error("a measured tile at 5 %")
	}
}

// Layerings predicted together have the variances that they have alone, pairs and unknown groups included, and the same
// layering twice is one thing known twice.
func TestPosteriorAgreesWithPredict(t *testing.T) {
	tiles := someTiles(50, 4, 27)
	c, err := Fit(tiles, DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	qs := []Conditions{tiles[0].Conditions, tiles[1].Conditions, tiles[2].Conditions, tiles[2].Conditions,
		{LnPhysics: -4, Glazes: []Share{{Name: "new", Weight: 0.9, PriorSD: 0.5}, {Name: "g1", Weight: 0.1}}, Pair: Share{Name: "g1|new", Weight: 1}, Kiln: "k0"}}
	j, err := c.Posterior(qs)
	if err != nil {
		t.Fatal(err)
	}
	for i := range qs {
		p, err := predicted(c, &qs[i])
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(j.Mean[i]-p.Mean) > 1e-12 || math.Abs(j.Covariance.At(i, i)-p.KnownSD*p.KnownSD) > 1e-9 {
			t.Errorf("layering %d: %v, variance %v together; %v, %v alone", i, j.Mean[i], j.Covariance.At(i, i), p.Mean, p.KnownSD*p.KnownSD)
		}
	}
	if v, w := j.Covariance.At(2, 3), j.Covariance.At(2, 2); math.Abs(v-w) > 1e-12 {
		t.Errorf("a layering and itself: covariance %v, variance %v", v, w)
	}
}

// Where lots are recorded, a layering whose lot is not known is known less well.
func TestUnknownLotWidens(t *testing.T) {
	var tiles []Tile
	for i := range 12 {
		lot := Share{Name: fmt.Sprintf("a/%d", i%2), Weight: 1}
		tiles = append(tiles, Tile{Name: fmt.Sprint(i), Conditions: Conditions{LnPhysics: -4, Glazes: []Share{{Name: "a", Weight: 1}}, Lots: []Share{lot}}, Reading: Read(-4, 0.1, 6)})
	}
	c, err := Fit(tiles, DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	known := tiles[0].Conditions
	unnamed, fresh := known, known
	unnamed.Lots, fresh.Lots = nil, []Share{{Name: "a/9", Weight: 1}}
	a, _ := predicted(c, &known)
	b, _ := predicted(c, &unnamed)
	d, _ := predicted(c, &fresh)
	if !(b.KnownSD > a.KnownSD) || math.Abs(b.KnownSD-d.KnownSD) > 1e-12 {
		t.Errorf("known lot ± %v, unnamed ± %v, new ± %v", a.KnownSD, b.KnownSD, d.KnownSD)
	}
}

// R² as a hand calculation has it, and none where nothing varies.
func TestRSquared(t *testing.T) {
	// SSE 0.02+..: residuals 0.1, -0.1, 0.1, -0.1 -> 0.04; SST of 1,2,3,4 is 5.
	if r := rSquared([]float64{1, 2, 3, 4}, []float64{0.9, 2.1, 2.9, 4.1}); r == nil || math.Abs(*r-(1-0.04/5)) > 1e-12 {
		t.Errorf("R² %v", r)
	}
	if r := rSquared([]float64{2, 2, 2}, []float64{2, 2, 2}); r != nil {
		t.Errorf("R² %v where nothing varies", *r)
	}
}

// A tile with a miscounted coat is named and does not bend the rest.
func TestOneBadTileIsSuspectAndDoesLittle(t *testing.T) {
	tiles := someTiles(60, 4, 23)
	bad := -1
	for i := range tiles {
		if tiles[i].Reading.Outcome == Measured {
			bad = i
		}
	}
	honest, err := Fit(tiles, DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	tiles[bad].Reading = Read(tiles[bad].Reading.Low+2.5, 0.03, 31)
	c, err := Fit(tiles, DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	d := c.Diagnose()
	mm := func(x float64) float64 { return 1000 * math.Exp(x) / 3 }
	suspects := 0
	for i := range d.Tiles {
		s := d.Tiles[i].Sentence(mm)
		if (s != "") != d.Tiles[i].Suspect {
			t.Error("a sentence without a suspect, or the other way round")
		}
		if d.Tiles[i].Suspect {
			suspects++
		}
		if d.Tiles[i].Tile == tiles[bad].Name {
			if !strings.HasPrefix(s, "Ran 31 mm where ") || !strings.HasSuffix(s, "check lot, coats, cone.") || d.Tiles[i].StandardResidual < 3 {
				t.Errorf("%q, standard residual %v", s, d.Tiles[i].StandardResidual)
			}
		}
	}
	if suspects == 0 || suspects > 3 {
		t.Errorf("%d suspects", suspects)
	}
	q := &tiles[(bad+1)%len(tiles)].Conditions
	a, _ := predicted(honest, q)
	b, _ := predicted(c, q)
	if math.Abs(a.Mean-b.Mean) > 0.15 {
		t.Errorf("one bad tile moved a prediction from %v to %v", a.Mean, b.Mean)
	}
}

// The evidence adds up: what the tiles moved is how far the prediction is from the prior's.
func TestEvidenceAddsUp(t *testing.T) {
	tiles := someTiles(50, 5, 24)
	c, err := Fit(tiles, DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	for i := range tiles {
		s := byGroups(c, &tiles[i].Conditions)
		p, err := s.Predict()
		if err != nil {
			t.Fatal(err)
		}
		e := s.Evidence(len(tiles))
		moved, share := 0.0, 0.0
		for _, v := range e {
			moved += v.Moved
			share += v.Share
		}
		if math.Abs(moved-p.Mean) > 1e-9 || math.Abs(share-1) > 1e-9 { // prior means are zero
			t.Errorf("tile %d: tiles moved it by %v, it moved by %v; shares add up to %v", i, moved, p.Mean, share)
		}
		if !(p.EffectiveTiles > 0) {
			t.Errorf("tile %d: %v effective tiles", i, p.EffectiveTiles)
		}
	}
	e := byGroups(c, &tiles[0].Conditions).Evidence(3)
	if len(e) != 3 || math.Abs(e[0].Moved) < math.Abs(e[1].Moved) {
		t.Errorf("the first three: %+v", e)
	}
}

// EffectiveTiles is n for n equal tiles of one layering.
func TestEffectiveTilesCountsRepeats(t *testing.T) {
	prior := DefaultPrior()
	prior.DF = []float64{math.Inf(1)}
	var tiles []Tile
	for i := range 7 {
		tiles = append(tiles, Tile{Name: fmt.Sprint(i), Conditions: Conditions{Glazes: []Share{{Name: "a", Weight: 1}}}, Reading: Read(0.3, 0, 5)})
	}
	c, err := Fit(tiles, prior)
	if err != nil {
		t.Fatal(err)
	}
	if p, _ := predicted(c, &tiles[0].Conditions); math.Abs(p.EffectiveTiles-7) > 1e-6 {
		t.Errorf("7 repeats count as %v", p.EffectiveTiles)
	}
}

// A calibration with a worse prior loses to the active one and says so; one with the same loses nothing.
func TestCompareSaysWhichLoses(t *testing.T) {
	tiles := someTiles(60, 5, 25)
	active, err := Fit(tiles[:40], DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	same, err := Fit(tiles, DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	got, err := Compare(active, same, tiles)
	if err != nil {
		t.Fatal(err)
	}
	if got.Loses || got.Tiles != 60 {
		t.Errorf("the same settings: %+v", got)
	}
	bad := DefaultPrior()
	bad.Effects[Common] = Normal{4, 0.01}
	worse, err := Fit(tiles, bad)
	if err != nil {
		t.Fatal(err)
	}
	if got, err = Compare(active, worse, tiles); err != nil || !got.Loses || !strings.Contains(got.Sentence, "not made active") {
		t.Errorf("a worse one: %+v, %v", got, err)
	}
	if got, err = Compare(worse, same, tiles); err != nil || got.Loses || got.Gain <= 0 {
		t.Errorf("a better one: %+v, %v", got, err)
	}
	empty, err := Fit(nil, DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	if got, err = Compare(active, empty, nil); err != nil || got.Loses || got.Tiles != 0 {
		t.Errorf("nothing to compare by: %+v, %v", got, err)
	}
}

// A judgement in the record is the prediction of the tiles before, and no later tile changes it but through checkpoints.
func TestRecordNeverLooksAhead(t *testing.T) {
	tiles := someTiles(30, 4, 26)
	all, err := Fit(tiles, DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	spoilt := append([]Tile(nil), tiles...)
	spoilt[25].Reading = Read(0, 0.05, 300)
	other, err := Fit(spoilt, DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	if len(all.record) != 30 {
		t.Fatalf("%d judgements", len(all.record))
	}
	for i := range 25 {
		if !reflect.DeepEqual(all.record[i], other.record[i]) {
			t.Errorf("tile 25 changed the judgement of tile %d", i)
		}
	}
	if reflect.DeepEqual(all.record[25], other.record[25]) {
		t.Error("tile 25 is judged the same whatever it is")
	}
	first := tiles[0].Conditions
	none, _ := Fit(nil, DefaultPrior())
	if p, _ := predicted(none, &first); math.Abs(all.record[0].Mean-p.LnPhysics-p.Mean) > 1e-12 {
		t.Error("the first tile is not judged by the prior alone")
	}
	next, err := all.Add(&Tile{Name: "next", Order: 99, Conditions: first, Reading: Read(-4, 0.1, 6)})
	if err != nil || len(next.Record()) != 31 || len(all.Record()) != 30 {
		t.Error("Add does not add to the record", err)
	}
}

// A long run is a number, a short one an interval around it; both read back as they were.
func TestShortRunsAreIntervals(t *testing.T) {
	lnDrive := func(mm float64) float64 { return math.Log(3 * mm / 1000) }
	long := ReadRun(20, 1, lnDrive)
	// by hand: half of ln(21/19)
	if long.Outcome != Measured || math.Abs(long.SD-0.5*math.Log(21./19)) > 1e-12 || long.String() != "ran 20 mm" {
		t.Errorf("20 mm: %+v", long)
	}
	short := ReadRun(2, 1, lnDrive)
	if short.Outcome != Between || math.Abs(short.High-lnDrive(2+math.Sqrt(3))) > 1e-12 || short.SD != 0 || short.String() != "ran 2.0 mm" {
		t.Errorf("2 mm: %+v", short)
	}
	none := ReadRun(0, 1, lnDrive)
	if err := none.check(""); err != nil || !(none.Low < none.High) {
		t.Errorf("0 mm: %+v, %v", none, err)
	}
}

// Logs that are thin, one-sided, constant or repeated give sound answers.
func TestPoorLogs(t *testing.T) {
	base := func(i int) Tile {
		return Tile{Name: fmt.Sprint(i), Order: int64(i), Conditions: Conditions{LnPhysics: -4, Glazes: []Share{{Name: "a", Weight: 1}}}, Reading: Read(-4, 0.1, 6)}
	}
	log := func(n int, change func(int, *Tile)) []Tile {
		tiles := make([]Tile, n)
		for i := range tiles {
			tiles[i] = base(i)
			change(i, &tiles[i])
		}
		return tiles
	}
	for name, tiles := range map[string][]Tile{
		"one tile":         log(1, func(int, *Tile) {}),
		"one ran off":      log(1, func(_ int, x *Tile) { x.Reading = ReadAtLeast(-2.5, 0.1, 60) }),
		"all ran off":      log(40, func(_ int, x *Tile) { x.Reading = ReadAtLeast(-2.5, 0.1, 60) }),
		"none moved":       log(40, func(_ int, x *Tile) { x.Reading = ReadAtMost(-8, 0.1, 1) }),
		"far off physics":  log(40, func(_ int, x *Tile) { x.LnPhysics, x.Reading = -60, ReadAtLeast(-2.5, 0, 60) }),
		"both ways at one": log(40, func(i int, x *Tile) { x.Reading = []Reading{ReadAtLeast(-2.5, 0, 60), ReadAtMost(-7, 0, 1)}[i%2] }),
		"same 40 times":    log(40, func(int, *Tile) {}),
		"narrow intervals": log(40, func(_ int, x *Tile) { x.Reading = ReadBetween(-4, -4+1e-12, 0, 6, 6) }),
		"constant features": log(30, func(_ int, x *Tile) {
			x.Features = Features{Reduction: 1, Matte: 1, Described: 1, Layered: 1, LnCooling: 2, ConeExcess: 4, Stirring: 1, LnContrast: 60}
		}),
		"one glaze twice in a layering": log(10, func(_ int, x *Tile) { x.Glazes = []Share{{Name: "a", Weight: 0.5}, {Name: "a", Weight: 0.4}} }),
		"lots and kilns come and go": log(30, func(i int, x *Tile) {
			if i%2 == 0 {
				x.Kiln, x.Lots = "k", []Share{{Name: "a/1", Weight: 1}}
			}
		}),
		"a wild outlier": log(20, func(i int, x *Tile) {
			if i == 7 {
				x.Reading = Read(60, 0, 1e20)
			}
		}),
		"exact readings and a sure physics": log(20, func(i int, x *Tile) { x.Reading.SD = 0 }),
	} {
		c, err := Fit(tiles, DefaultPrior())
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if !c.search.Converged {
			t.Errorf("%s: %+v", name, c.search)
		}
		d := c.Diagnose()
		for i := range d.Tiles {
			x := &d.Tiles[i]
			for _, v := range []float64{x.Mean, x.Scale, x.DF, x.LnScore, x.Leverage, x.StandardResidual, x.ExpectedLow, d.LeaveOneOut.LnScore, d.Prequential.LnScore} {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("%s: tile %d: %+v", name, i, x)
				}
			}
		}
		for _, q := range []Conditions{base(0).Conditions, {LnPhysics: -4, Glazes: []Share{{Name: "new", Weight: 1, PriorSD: 1}}, Kiln: "other", Lots: []Share{{Name: "new/1", Weight: 1}}}} {
			p, err := predicted(c, &q)
			if err != nil || math.IsNaN(p.Mean) || !(p.Scale > 0) || !(p.DF > 2) || math.IsNaN(p.Quantile(0.1)) || math.IsNaN(p.Exceedance(-3)) {
				t.Errorf("%s: %+v, %v", name, p, err)
			}
		}
	}
	off, _ := Fit(log(40, func(_ int, x *Tile) { x.Reading = ReadAtLeast(-2.5, 0.1, 60) }), DefaultPrior())
	still, _ := Fit(log(40, func(_ int, x *Tile) { x.Reading = ReadAtMost(-8, 0.1, 1) }), DefaultPrior())
	q := base(0).Conditions
	a, _ := predicted(off, &q)
	b, _ := predicted(still, &q)
	if !(a.Mean > 0.5 && b.Mean < -0.5) {
		t.Errorf("all ran off corrects by %v, none moved by %v", a.Mean, b.Mean)
	}
}

// Bad input is refused by field.
func TestRefusesBadTiles(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for field, spoil := range map[string]func(*Tile){
		"tiles[1].name":               func(x *Tile) { x.Name = "" },
		"tiles[1].ln_physics":         func(x *Tile) { x.LnPhysics = nan },
		"tiles[1].physics_sd":         func(x *Tile) { x.PhysicsSD = -1 },
		"tiles[1].features.reduction": func(x *Tile) { x.Features.Reduction = 1.1 },
		"tiles[1].features.stirring":  func(x *Tile) { x.Features.Stirring = inf },
		"tiles[1].glazes":             func(x *Tile) { x.Glazes = nil },
		"tiles[1].glazes[0].weight":   func(x *Tile) { x.Glazes = []Share{{Name: "a"}} },
		"tiles[1].glazes[0].name":     func(x *Tile) { x.Glazes = []Share{{Weight: 1}} },
		"tiles[1].lots":               func(x *Tile) { x.Lots = []Share{{Name: "l", Weight: 0.7}, {Name: "m", Weight: 0.7}} },
		"tiles[1].pair.weight":        func(x *Tile) { x.Pair = Share{Name: "a|b", Weight: nan} },
		"tiles[1].reading.low":        func(x *Tile) { x.Reading.Low, x.Reading.High = inf, inf },
		"tiles[1].reading.high":       func(x *Tile) { x.Reading = ReadBetween(-3, -4, 0, 1, 2) },
		"tiles[1].reading.sd":         func(x *Tile) { x.Reading.SD = nan },
		"tiles[1].reading.outcome":    func(x *Tile) { x.Reading.Outcome = 9 },
		"tiles[1].clearance":          func(x *Tile) { x.Clearance = &nan },
	} {
		tiles := someTiles(3, 2, 30)
		spoil(&tiles[1])
		var e *fault.Error
		if _, err := Fit(tiles, DefaultPrior()); !errors.As(err, &e) || e.Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
	tiles := someTiles(3, 2, 30)
	tiles[2].Name = tiles[0].Name
	var e *fault.Error
	if _, err := Fit(tiles, DefaultPrior()); !errors.As(err, &e) || e.Field != "tiles[2].name" {
		t.Errorf("a name twice: %v", err)
	}
	for field, spoil := range map[string]func(*Prior){
		"prior.effects[common].sd":  func(p *Prior) { p.Effects[Common].SD = 0 },
		"prior.spread[kiln].median": func(p *Prior) { p.Spread[Kiln].Median = nan },
		"prior.noise.ln_sd":         func(p *Prior) { p.Noise.LnSD = 0 },
		"prior.df[1]":               func(p *Prior) { p.DF = []float64{4, 2} },
		"prior.df":                  func(p *Prior) { p.DF = nil },
	} {
		p := DefaultPrior()
		spoil(&p)
		if _, err := Fit(nil, p); !errors.As(err, &e) || e.Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
}

// The same tiles, in whatever order, give the same bits.
func TestSameTilesSameBits(t *testing.T) {
	tiles := someTiles(120, 8, 31)
	turned := make([]Tile, len(tiles))
	for i := range tiles {
		turned[len(tiles)-1-i] = tiles[i]
	}
	var stored [2][]byte
	for k, log := range [][]Tile{tiles, turned} {
		c, err := Fit(log, DefaultPrior())
		if err != nil {
			t.Fatal(err)
		}
		if stored[k], err = c.MarshalBinary(); err != nil {
			t.Fatal(err)
		}
	}
	if string(stored[0]) != string(stored[1]) {
		t.Error("two fits of the same tiles differ")
	}
}
