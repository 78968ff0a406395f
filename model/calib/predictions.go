package calib

import (
	"sync"

	"github.com/catchline/catchline/model/internal/vector"
)

// varied are the fixed effects in which layerings of one Setting differ.
var varied = [...]Effect{ConeExcess, Thickness, Order, Contrast, Stirring, Matte, Described}

const numVaried = len(varied)

// stacked is a vector over what all layerings of a Setting have in common, taken as one, and the varied effects.
type stacked [1 + numVaried]float64

// Circumstances are what layerings have in common: where they are fired and by whom, how, and whether there are layers.
type Circumstances struct {
	// Reduction, LnCooling and Layered are those of Features.
	Reduction, LnCooling, Layered float64
	Kiln, Body, Tester            Group // 0: not known
}

// Setting is circumstances as a calibration sees them. It does not change.
type Setting struct {
	Circumstances

	calibration *Calibration
	fixed       [NumEffects]float64 // of the fixed effects that do not vary, standardised
	groups      [3]entry            // those that the calibration knows
	known       int
	mean        float64
	slope       [numVaried]float64
	missing     float64                // variance of what is not named
	covariance  [1 + numVaried]stacked // with that
}

// Calibration is the one that it is of.
func (s *Setting) Calibration() *Calibration { return s.calibration }

// mostSettings bounds how many settings a calibration remembers.
const mostSettings = 1000

// Setting makes circumstances ready. It is the same for the same ones, as long as they are not too many.
func (c *Calibration) Setting(of Circumstances) *Setting {
	k := c.ready()
	if s, ok := k.settings.Load(of); ok {
		return s.(*Setting)
	}
	s := newSetting(c, of)
	if k.numSettings.Add(1) <= mostSettings {
		known, _ := k.settings.LoadOrStore(of, s)
		return known.(*Setting)
	}
	return s
}

func newSetting(c *Calibration, of Circumstances) *Setting {
	k := c.ready()
	s := &Setting{Circumstances: of, calibration: c}
	s.fixed[Common], s.fixed[Reduction], s.fixed[Layered], s.fixed[Cooling] = 1, s.Reduction, s.Layered, s.LnCooling
	for e := range s.fixed {
		s.fixed[e] *= k.scale[e]
		s.mean += s.fixed[e] * k.slope[e]
	}
	for i, g := range [...]Group{s.Kiln, s.Body, s.Tester} {
		if g == 0 {
			s.missing += k.missing[[...]Factor{Kiln, Body, Tester}[i]]
			continue
		}
		x := k.scale[g]
		s.groups[s.known] = entry{int32(g), x}
		s.known++
		s.mean += x * k.θ[g]
	}
	var base combination
	copy(base.fixed[:], s.fixed[:])
	base.groups = s.groups[:s.known]
	var room bench
	s.covariance[0][0] = c.variance(k, &base, &room) + s.missing
	for i, e := range varied {
		s.slope[i] = k.scale[e] * k.slope[e]
		with := k.scale[e] * c.covariance(k, &base, int32(e))
		s.covariance[0][1+i], s.covariance[1+i][0] = with, with
		for j, f := range varied {
			s.covariance[1+i][1+j] = k.scale[e] * k.scale[f] * k.fixed[e][f]
		}
	}
	return s
}

// with gives the covariances of something with the stack, from its standardised ones with the fixed effects and with the groups of the setting.
func (s *Setting) with(k *compiled, row *vector.Row, groups *[3]float64) (out stacked) {
	out[0] = s.fixed[Common]*row[Common] + s.fixed[Reduction]*row[Reduction] + s.fixed[Layered]*row[Layered] + s.fixed[Cooling]*row[Cooling]
	for i := range s.known {
		out[0] += s.groups[i].x * groups[i]
	}
	for i, e := range varied {
		out[1+i] = k.scale[e] * row[e]
	}
	return out
}

// Coat is a glaze, and its lot where that is known, as one calibration knows them. Weights are for both together.
type Coat struct {
	entries    [2]entry // standardised groups that the calibration knows
	known      int
	group      Group // of the glaze
	mean       float64
	own        float64 // variance
	priorSD    float64
	missing    [2]float64 // variance of the glaze's effect and of the lot's where they have no group
	glaze, lot string
	row        vector.Row // covariance with the fixed effects
}

// NewCoat finds a glaze, and its lot unless it is empty. priorSD is that of a Share.
func (c *Calibration) NewCoat(glaze, lot string, priorSD float64) *Coat {
	k := c.ready()
	t := &Coat{glaze: glaze, lot: lot, priorSD: priorSD, group: c.Group(Glaze, glaze)}
	know := func(g Group) {
		t.entries[t.known] = entry{int32(g), k.scale[g]}
		t.known++
		t.mean += k.scale[g] * k.θ[g]
		for e, v := range rowOf(c.column(k, int32(g))) {
			t.row[e] += k.scale[g] * v
		}
	}
	if t.group != 0 {
		know(t.group)
	} else {
		t.missing[0] = k.missing[Glaze]
	}
	if g := c.Group(Lot, lot); lot != "" && g != 0 {
		know(g)
	} else {
		t.missing[1] = k.missing[Lot]
	}
	t.own = c.among(k, t, t)
	return t
}

// among is the covariance of two coats of weight 1. It reads the columns of the second: of many with one and the same coat, that had better be it. A glaze that has no group is as unknown in both, and so is a lot: coats of one glaze are taken to
// be of one lot unless that is known.
func (c *Calibration) among(k *compiled, a, b *Coat) float64 {
	sum := 0.0
	for _, f := range b.entries[:b.known] {
		column := c.column(k, f.id)
		for _, e := range a.entries[:a.known] {
			sum += e.x * f.x * column[e.id]
		}
	}
	return sum + k.unknown(a, b)
}

// unknown is the part of it that no tile can have changed: what the calibration does not know of them.
func (k *compiled) unknown(a, b *Coat) float64 {
	sum := 0.0
	if a == b || a.Alike(b) {
		if a.group == 0 {
			sum += a.missing[0] + a.priorSD*b.priorSD
		}
		if a.lot == b.lot {
			sum += a.missing[1]
		} else {
			sum += k.missing[Lot]
		}
	}
	return sum
}

// Alike says that two coats are of one glaze.
func (t *Coat) Alike(other *Coat) bool {
	return t.group == other.group && (t.group != 0 || t.glaze == other.glaze)
}

// CoatIn is a coat in a setting: what a prediction is told of a layer.
type CoatIn struct {
	Coat
	setting *Setting
	with    stacked
}

// In says whether it is of a setting.
func (t *CoatIn) In(s *Setting) bool { return t.setting == s }

// Coat puts a coat in the setting.
func (s *Setting) Coat(t *Coat) *CoatIn {
	c, k := s.calibration, s.calibration.compiled
	var groups [3]float64
	for i := range s.known {
		column := c.column(k, s.groups[i].id)
		for _, e := range t.entries[:t.known] {
			groups[i] += e.x * column[e.id]
		}
	}
	return &CoatIn{*t, s, s.with(k, &t.row, &groups)}
}

// Predictions are many predictions of layerings of so many glazes each, a lane each, by one calibration in one Setting. It does without names and
// without the EffectiveTiles.
//
// Use: Set what they have in common, fill the rows, Run, read the answers. Nothing is checked but the answers, see Fault.
type Predictions struct {
	// LnPhysics and PhysicsSD are those of Conditions. Thickness, Order and Contrast are those of WriteThickness and WriteContrast.
	LnPhysics, PhysicsSD                                               []float64
	ConeExcess, Thickness, Order, Contrast, Stirring, Matte, Described []float64
	Coats                                                              []CoatRows
	among                                                              [][]float64 // of coats i and j < i, row by row
	pairMean, pairVariance                                             []float64
	Median, LnLow, LnHigh, LnNeeded, Exceeding, Mean, Known2, Scale    []float64

	features  [numVaried][]float64 // those from ConeExcess on, as varied
	inverseDF []float64
	with      []float64 // room for what Explain needs
	setting   *Setting
	program   *predictionsProgram
	frame     *vector.Frame
}

// CoatRows are the coats of a layer in each lane and their weights, which sum to 1 over the layers of a lane.
type CoatRows struct {
	Weight    []float64
	mean, own []float64
	with      [1 + numVaried][]float64
}

// predictionsProgram is for layerings of one number of glazes.
type predictionsProgram struct {
	*vector.Program
	lnPhysics, physicsSD   vector.Value
	features               []vector.Value // as varied
	coats                  []coatValues
	among                  []vector.Value
	pairMean, pairVariance vector.Value

	mean              vector.Value
	slope             []vector.Value
	own               vector.Value              // variance of what all have in common
	common            []vector.Value            // twice the covariance of that with a varied effect
	covariance        [numVaried][]vector.Value // of a varied effect with those before it, twice, and of itself
	noise2, physics   vector.Value
	blend             blendValues
	ninth, needed     levelValues
	lnLimit           vector.Value
	median, low, high vector.Value
	lnNeeded, exceeds vector.Value
	meanY, known2     vector.Value
	scale, df         vector.Value // df: 1 over it
}

type coatValues struct {
	weight, mean, own, common vector.Value
	with                      []vector.Value
}

const mostCoats = MaxShares

var predictionsPrograms = func() (out [mostCoats + 1]func() *predictionsProgram) {
	for n := range out {
		out[n] = sync.OnceValue(func() *predictionsProgram { return newPredictionsProgram(n) })
	}
	return out
}()

func newPredictionsProgram(n int) *predictionsProgram {
	w := vector.NewWriter()
	p := &predictionsProgram{lnPhysics: w.Input(), physicsSD: w.Input(), pairMean: w.Input(), pairVariance: w.Input()}
	p.features = w.Inputs(numVaried)
	p.coats = make([]coatValues, n)
	for i := range p.coats {
		c := &p.coats[i]
		c.weight, c.mean, c.own, c.common, c.with = w.Input(), w.Input(), w.Input(), w.Input(), w.Inputs(numVaried)
	}
	p.among = w.Inputs(n * (n - 1) / 2)
	p.mean, p.slope, p.noise2, p.physics, p.lnLimit = w.Parameter(), w.Parameters(numVaried), w.Parameter(), w.Parameter(), w.Parameter()
	p.own = w.Parameter()
	p.common = w.Parameters(numVaried)
	for i := range p.covariance {
		p.covariance[i] = w.Parameters(i + 1)
	}
	p.blend, p.ninth, p.needed = writeBlend(w), writeLevel(w), writeLevel(w)

	p.predict(w)
	scale, x := p.blend.of(w, p.known2, p.noise2.Plus(p.physics.Times(p.physicsSD, p.physics).Times(p.physicsSD)))
	p.scale, p.df, p.median = scale, x, p.lnPhysics.Plus(p.meanY)
	wide := scale.Times(writeQuantile(w, x, &p.ninth))
	p.low, p.high = p.median.Minus(wide), p.median.Plus(wide) // the distribution is even about its median
	p.lnNeeded = p.median.Plus(scale.Times(writeQuantile(w, x, &p.needed)))
	p.exceeds = writeTail(w, x, p.lnLimit.Minus(p.median).Over(scale))
	w.Output(p.median, p.low, p.high, p.lnNeeded, p.exceeds, p.meanY, p.known2, p.scale, p.df)
	p.Program = w.Program()
	return p
}

// predict writes the mean and the variance of the linear predictor, as products of the effects and groups with their means and
// covariances.
func (p *predictionsProgram) predict(w *vector.Writer) {
	mean := p.mean.Plus(p.pairMean, w.Inner(p.features, p.slope))
	variance := p.own.Plus(p.pairVariance, w.Inner(p.features, p.common))
	for i, x := range p.features {
		variance = variance.Plus(x.Times(w.Inner(p.features[:i+1], p.covariance[i])))
	}
	for i := range p.coats {
		c := &p.coats[i]
		mean = mean.Plus(c.weight.Times(c.mean))
		sum := c.common.Plus(w.Inner(p.features, c.with))
		for k := range i {
			sum = sum.Plus(p.amongst(i, k).Times(p.coats[k].weight))
		}
		variance = variance.Plus(c.weight.Times(c.weight.Times(c.own).Plus(sum, sum)))
	}
	p.meanY, p.known2 = mean, variance
}

// amongst is the covariance of coats i and k < i.
func (p *predictionsProgram) amongst(i, k int) vector.Value { return p.among[i*(i-1)/2+k] }

// WriteContrast gives the features that predictions see of a contrast (see Features) in a program: tanh of half of it, and how far that is from 0.
func WriteContrast(w *vector.Writer, lnContrast vector.Value) (order, contrast vector.Value) {
	e, one := lnContrast.Exp(), w.Number(1)
	order = e.Minus(one).Over(e.Plus(one))
	return order, order.AtLeast(w.Number(0).Minus(order))
}

// WriteThickness is the feature that predictions see of ln of a thickness in m.
func WriteThickness(w *vector.Writer, lnThickness vector.Value) vector.Value {
	return lnThickness.Minus(w.Number(lnReferenceThickness))
}

// NewPredictions makes room for so many lanes of so many glazes, 1 to MaxShares.
func NewPredictions(glazes, lanes int) *Predictions {
	p := predictionsPrograms[glazes]()
	f := p.Frame(lanes)
	out := &Predictions{
		program: p, frame: f, LnPhysics: f.Row(p.lnPhysics), PhysicsSD: f.Row(p.physicsSD),
		pairMean: f.Row(p.pairMean), pairVariance: f.Row(p.pairVariance),
		Median: f.Row(p.median), LnLow: f.Row(p.low), LnHigh: f.Row(p.high), LnNeeded: f.Row(p.lnNeeded), Exceeding: f.Row(p.exceeds),
		Mean: f.Row(p.meanY), Known2: f.Row(p.known2), Scale: f.Row(p.scale),
		inverseDF: f.Row(p.df),
	}
	for i, v := range p.features {
		out.features[i] = f.Row(v)
	}
	for i, row := range [...]*[]float64{&out.ConeExcess, &out.Thickness, &out.Order, &out.Contrast, &out.Stirring, &out.Matte, &out.Described} { // as varied
		*row = out.features[i]
	}
	for i := range p.coats {
		c := &p.coats[i]
		rows := CoatRows{Weight: f.Row(c.weight), mean: f.Row(c.mean), own: f.Row(c.own)}
		rows.with[0] = f.Row(c.common)
		for k, v := range c.with {
			rows.with[1+k] = f.Row(v)
		}
		out.Coats = append(out.Coats, rows)
	}
	for _, v := range p.among {
		out.among = append(out.among, f.Row(v))
	}
	p.ninth.set(f, NewLevel(0.9)) // the upper end of the 80 % interval
	return out
}

// Set says what all have in common: the setting, the level of LnNeeded, and the ln drive of which Exceeding is the probability.
func (r *Predictions) Set(s *Setting, needed *Level, lnLimit float64) {
	p, f, c := r.program, r.frame, s.calibration
	r.setting = s
	f.Set(p.mean, s.mean)
	setAll(f, p.slope, s.slope[:])
	f.Set(p.own, s.covariance[0][0])
	for i, of := range p.covariance {
		f.Set(p.common[i], 2*s.covariance[1+i][0])
		for k := range i {
			f.Set(of[k], 2*s.covariance[1+i][1+k])
		}
		f.Set(of[i], s.covariance[1+i][1+i])
	}
	f.Set(p.noise2, c.widths.piece2(0))
	f.Set(p.physics, c.widths.physics)
	f.Set(p.lnLimit, lnLimit)
	p.blend.set(f, c.blend)
	p.needed.set(f, needed)
}

// Put puts a coat into lanes of a layer.
func (r *CoatRows) Put(t *CoatIn, first, n int) {
	fill(r.mean[first:first+n], t.mean)
	fill(r.own[first:first+n], t.own)
	for i, row := range r.with {
		fill(row[first:first+n], t.with[i])
	}
}

func fill(row []float64, v float64) {
	if len(row) == 1 {
		row[0] = v
		return
	}
	for i := range row {
		row[i] = v
	}
}

// CoatColumns are many coats of one setting, by column.
type CoatColumns struct {
	coats     []*CoatIn
	mean, own []float64
	with      [1 + numVaried][]float64
}

// NewCoatColumns lays coats out.
func NewCoatColumns(coats []*CoatIn) *CoatColumns {
	out := &CoatColumns{coats: coats}
	for _, t := range coats {
		out.mean, out.own = append(out.mean, t.mean), append(out.own, t.own)
		for i, v := range t.with {
			out.with[i] = append(out.with[i], v)
		}
	}
	return out
}

// PutRow puts n coats, from one on, into the lanes of a layer from first on.
func (r *CoatRows) PutRow(from *CoatColumns, coat, first, n int) {
	copy(r.mean[first:first+n], from.mean[coat:])
	copy(r.own[first:first+n], from.own[coat:])
	for i, row := range r.with {
		copy(row[first:first+n], from.with[i][coat:])
	}
}

// PutAmongRow puts what coats of layers i and k < i have in common into n lanes from first on: of layer i one after the other from a column, of
// layer k one and the same.
func (r *Predictions) PutAmongRow(i, k, first, n int, from *CoatColumns, coat int, b *CoatIn) {
	c := r.setting.calibration
	row := r.among[i*(i-1)/2+k][first : first+n]
	for at, a := range from.coats[coat : coat+n] {
		row[at] = c.among(c.compiled, &a.Coat, &b.Coat)
	}
}

// PutAmong puts what the coats of layers i and k < i have in common into a lane.
func (r *Predictions) PutAmong(i, k, lane int, a, b *CoatIn) {
	r.among[i*(i-1)/2+k][lane] = r.setting.calibration.among(r.setting.calibration.compiled, &a.Coat, &b.Coat)
}

// Run predicts the first n lanes.
func (r *Predictions) Run(n int) { r.frame.Run(n) }

// Check reports the first fault of what a lane was given, as a *fault.Error; lnContrast is that of Features.
func (r *Predictions) Check(lane int, lnContrast float64) error {
	s := r.setting
	return checkNumbers("conditions.", r.LnPhysics[lane], r.PhysicsSD[lane], &Features{
		Reduction: s.Reduction, ConeExcess: r.ConeExcess[lane], LnThickness: lnReferenceThickness + r.Thickness[lane], LnContrast: lnContrast, Stirring: r.Stirring[lane],
		Layered: s.Layered, Matte: r.Matte[lane], LnCooling: s.LnCooling, Described: r.Described[lane],
	})
}

// Fault says whether the answer of a lane is one.
func (r *Predictions) Fault(lane int) error { return checkFinite(r.Mean[lane], r.Scale[lane]) }

// Alone puts no pair into a lane.
func (r *Predictions) Alone(lane int) { r.pairMean[lane], r.pairVariance[lane] = 0, 0 }

// Pair puts the pair of the glazes of layers i and j into a lane, whose rows of features and coats are filled. As the pair's own coefficient is
// eliminated, it adds a mean and a variance, and takes something from the others.
func (r *Predictions) Pair(lane int, coats []*CoatIn, i, j int) {
	s := r.setting
	c, k := s.calibration, s.calibration.compiled
	pair, ok := c.index.pair(coats[i].group, coats[j].group)
	if !ok {
		r.pairMean[lane], r.pairVariance[lane] = 0, k.missing[Pair]
		return
	}
	t := c.top(k, pair)
	var groups [3]float64
	for i := range s.known {
		groups[i] = t.covariance(c, k, s.groups[i].id)
	}
	with := s.with(k, &t.row, &groups)
	sum := with[0]
	for i, row := range r.features {
		sum += with[1+i] * row[lane]
	}
	for i, coat := range coats {
		for _, e := range coat.entries[:coat.known] {
			sum += r.Coats[i].Weight[lane] * e.x * t.covariance(c, k, e.id)
		}
	}
	r.pairMean[lane], r.pairVariance[lane] = t.mean, t.part*t.part+t.variance-2*sum
}
