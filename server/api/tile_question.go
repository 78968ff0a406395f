package api

import (
	"context"
	"fmt"
	"sync"

	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/film"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// tileLog reads tiles as the regression sees them: with the glazes and the firing of their day.
type tileLog struct {
	studio      *prepared
	calibration *activeCalibration // whose drip ratio turns a drip into a mean front
	ofTheDay    func(*pb.GlazeOfTheDay) (*studioGlaze, error)
}

// days keeps glazes and firings of past days, by all that was recorded of them. Tiles of one day share them.
type days struct {
	glazes  kept[*studioGlaze]
	firings kept[*studioFiring]
}

// firing works out a plan with a tile's own witness cone, which goes before the plan's; nil: there is none.
func (d *days) firing(plan *pb.FiringPlan, witness *pb.WitnessCone) (*studioFiring, error) {
	if witness != nil {
		plan = proto.CloneOf(plan)
		plan.WitnessCone = witness
	}
	return d.firings.get(plan, func() *studioFiring { return prepareFiring("", "", plan) })
}

// glaze is a glaze as it was when its tile was logged.
func (d *days) glaze(of *pb.GlazeOfTheDay) (*studioGlaze, error) {
	return d.glazes.get(of, func() *studioGlaze {
		m, fault := modelOfTheDay(of)
		return &studioGlaze{name: of.GetGlaze(), displayName: of.GetDisplayName(), model: m, fault: fault}
	})
}

// kept is a bounded set of things that are costly to make, by all that they are made of.
type kept[T any] struct {
	mu  sync.Mutex
	all map[string]T
}

// maxKept bounds a set: more than a studio's glazes and firings of many years. It is emptied when it is full.
const maxKept = 4096

func (k *kept[T]) get(of proto.Message, make func() T) (T, error) {
	key, err := encode(of)
	if err != nil {
		var none T
		return none, err
	}
	k.mu.Lock()
	one, ok := k.all[string(key)]
	k.mu.Unlock()
	if ok {
		return one, nil
	}
	one = make()
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.all == nil || len(k.all) >= maxKept {
		k.all = map[string]T{}
	}
	k.all[string(key)] = one
	return one, nil
}

// question puts to the model what a tile was made of.
func (l *tileLog) question(t *pb.Tile) (*question, error) {
	f, err := l.firing(t)
	if err != nil {
		return nil, err
	}
	q := &question{
		Question: model.Question{Calibration: l.calibration.Calibration, Tolerated: defaultTolerated},
		studio:   l.studio, firing: f, calibration: l.calibration,
	}
	q.find = func(layer *pb.Layer) (*studioGlaze, error) { return l.glaze(t, layer) }
	if q.Layering, err = l.studio.layering("tile.layering", t.GetLayering(), f, q.find); err != nil {
		return nil, err
	}
	q.Where = model.Where{Kiln: t.GetKiln(), Body: t.GetLayering().GetBody(), Tester: t.GetTester()}
	if stored := l.studio.firings[t.GetFiring()]; q.Where.Kiln == "" && stored != nil {
		q.Where.Kiln = stored.kiln
	}
	return q, q.place("tile.placement", t.GetPlacement())
}

// firing is the tile's firing of the day, with its own witness cone.
func (l *tileLog) firing(t *pb.Tile) (*studioFiring, error) {
	plan := t.GetFiringOfTheDay()
	if plan == nil {
		plan = t.GetFiringPlan()
	}
	if plan == nil {
		f, err := l.studio.firing("tile.", t.GetFiring(), nil)
		if err != nil {
			return nil, err
		}
		plan = f.plan
	}
	f, err := l.studio.days.firing(plan, t.GetWitnessCone())
	if err != nil {
		return nil, err
	}
	return f, under("tile.firing", f.fault)
}

// glaze is a layer's glaze of the day, or today's where the tile holds none.
func (l *tileLog) glaze(t *pb.Tile, layer *pb.Layer) (*studioGlaze, error) {
	for _, day := range t.GetGlazesOfTheDay() {
		if day.GetGlaze() == layer.GetGlaze() && day.GetLot() == layer.GetLot() {
			return l.ofTheDay(day)
		}
	}
	return l.studio.glaze(layer)
}

// outcome is what came out, in m.
func outcome(t *pb.Tile) model.Outcome {
	const mm = 1e-3
	o := model.Outcome{ReadingError: model.UsualReadingError}
	if t.ReadingErrorMm != nil {
		o.ReadingError = t.GetReadingErrorMm() * mm
	}
	switch v := t.GetOutcome().(type) {
	case *pb.Tile_RunMm:
		o.Kind, o.Run = calib.Measured, v.RunMm*mm
	case *pb.Tile_RunInterval:
		o.Kind, o.From, o.To = calib.Between, v.RunInterval.GetFromMm()*mm, v.RunInterval.GetToMm()*mm
	case *pb.Tile_RanOff:
		o.Kind = calib.RanOff
	default:
		o.Kind = calib.DidNotMove
	}
	return o
}

// loggedTile is what the regression sees of a tile of the log, and no more than that is needed of it to tell of it: a
// log is long.
type loggedTile struct {
	name     string
	fireDate string
	glazes   []string // resource names, first applied first
	course   model.Course
	calib    calib.Tile
}

// runMM is the run in millimetres that ln drive makes on the tile.
func (t *loggedTile) runMM(lnDrive float64) float64 { return runMM(&t.course, lnDrive) }

// skippedTile is one that cannot be learnt from, and why.
type skippedTile struct {
	name string
	err  error
}

// read turns a stored tile into one for the regression.
func (l *tileLog) read(key store.Key, sequence int64, t *pb.Tile) (*loggedTile, error) {
	q, err := l.question(t)
	if err != nil {
		return nil, err
	}
	name := nameOf(key)
	ct, course, err := q.Tile(name, sequence, outcome(t))
	if err != nil {
		return nil, err
	}
	one := &loggedTile{name: name, fireDate: t.GetFireDate(), course: course, calib: ct}
	for _, l := range t.GetLayering().GetLayers() {
		one.glazes = append(one.glazes, l.GetGlaze())
	}
	return one, nil
}

// readTiles reads all tiles of a studio that are not set aside, oldest first. What cannot be learnt from comes back
// apart.
func (s *studioCache) readTiles(ctx context.Context, p *prepared, c *activeCalibration) ([]*loggedTile, []skippedTile, error) {
	log := &tileLog{p, c, p.days.glaze}
	var tiles []*loggedTile
	var skipped []skippedTile
	err := s.api.store.Scan(ctx, p.studio, store.KindTile, func(r store.Record) error {
		t := &pb.Tile{}
		if err := proto.Unmarshal(r.Body, t); err != nil {
			return err
		}
		if t.GetSetAside() {
			return nil
		}
		one, err := log.read(r.Key, r.Sequence, t)
		if err != nil {
			skipped = append(skipped, skippedTile{nameOf(r.Key), err})
			return nil
		}
		tiles = append(tiles, one)
		return ctx.Err()
	})
	damaged, err := withoutDamaged(err)
	for _, d := range damaged {
		skipped = append(skipped, skippedTile{nameOf(d.Key), d.Cause})
	}
	return tiles, skipped, err
}

// dripRatio is how many times further the longest drip gets than the mean front, by the tiles that were read both ways.
func (s *studioCache) dripRatio(ctx context.Context, studio string) (film.DripRatio, error) {
	var readings []film.DripReading
	err := scan(ctx, s.api.store, studio, store.KindTile, func(_ store.Key, t *pb.Tile) {
		longest, ok := t.GetOutcome().(*pb.Tile_RunMm)
		if !ok || t.GetSetAside() || t.GetMeanFrontMm() <= 0 || longest.RunMm < t.GetMeanFrontMm() {
			return
		}
		readings = append(readings, film.DripReading{Longest: longest.RunMm * 1e-3, MeanFront: t.GetMeanFrontMm() * 1e-3})
	})
	if _, err := withoutDamaged(err); err != nil {
		return film.DripRatio{}, err
	}
	ratio, err := film.CalibrateDrips(readings)
	if err != nil {
		return ratio, fmt.Errorf("drip ratio: %w", err)
	}
	return ratio, nil
}
