package api

import (
	"context"
	"errors"
	"math"
	"slices"
	"sort"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// prepared is a studio made ready for scoring, as its records were at one moment. It does not change, but for what it
// works out on first use.
type prepared struct {
	studio   string // id
	versions map[store.Kind]int64

	settings    *pb.StudioSettings
	materials   *rawMaterials
	glazes      map[string]*studioGlaze // by resource name; lots by theirs
	glazeNames  []string                // of glazes, in order of id
	bodies      map[string]error        // by resource name: why one cannot be used; nil if it can
	firings     map[string]*studioFiring
	wares       map[string]*studioWare
	calibration *activeCalibration

	today atomic.Pointer[day] // see API.today

	earlier sync.Map // calibrations other than the active one, by resource name
	days    *days    // of tiles; they outlive this moment, as the past does not change
}

// studioGlaze is a glaze or a lot.
type studioGlaze struct {
	name        string
	displayName string
	model       *model.Glaze
	fault       error // why it cannot be scored, such as a recipe whose material is gone
}

// studioFiring is a firing with the glazes that have been fired in it.
type studioFiring struct {
	name  string
	kiln  string
	plan  *pb.FiringPlan
	heat  *firing.HeatHistory
	fault error

	fired  sync.Map // *studioGlaze -> *model.Fired
	median atomic.Pointer[model.Fired]
}

// studioWare is a ware with the courses of bands on it.
type studioWare struct {
	ware    *pb.Ware
	profile *film.Profile
	fault   error
	courses courses
}

// courseKey says where a band lies on a ware, in m, and how much further than the mean front its longest drip gets.
type courseKey struct{ band, clearance, drip float64 }

// courses keeps the courses of bands on one ware.
type courses struct {
	mu  sync.Mutex
	all map[courseKey]*model.WareWall
}

// maxCourses bounds them: as one drags a band up and down, each place is another course.
const maxCourses = 256

func (c *courses) get(k courseKey) *model.WareWall {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.all[k]
}

func (c *courses) put(k courseKey, w *model.WareWall) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.all == nil || len(c.all) >= maxCourses {
		c.all = map[courseKey]*model.WareWall{}
	}
	c.all[k] = w
}

type activeCalibration struct {
	name string // resource name; empty: the prior alone
	*calib.Calibration
	dripRatio float64
	// otherPhysics says that it was fitted with another than this server's, see model.PhysicsVersion.
	otherPhysics bool
	// damaged is why it cannot be read; then it is the prior alone, with which nothing is scored.
	damaged error

	words sync.Map // tile's resource name -> string, see tileWords
}

// fire gives a glaze as it is in this firing.
func (f *studioFiring) fire(g *studioGlaze) (*model.Fired, error) {
	if g.fault != nil {
		return nil, g.fault
	}
	if d, ok := f.fired.Load(g); ok {
		return d.(*model.Fired), nil
	}
	d, err := model.Fire(g.model, f.heat)
	if err != nil {
		return nil, err
	}
	first, _ := f.fired.LoadOrStore(g, d)
	return first.(*model.Fired), nil
}

// nameOfGlaze is what people call a glaze or lot of this studio, by its resource name.
func (p *prepared) nameOfGlaze(name string) string {
	if g := p.glazes[name]; g != nil {
		return g.displayName
	}
	return name
}

// resourceOf is the resource name of a glaze, or of the lot that it is.
func resourceOf(g *model.Glaze) string {
	if g.Lot != "" {
		return g.Lot
	}
	return g.Name
}

// maxForMedian is how many glazes of a studio are looked at for its median one.
const maxForMedian = 200

// medianGlaze is the studio's glaze of median flow in a firing; nil for a studio with fewer than three.
func (p *prepared) medianGlaze(f *studioFiring) *model.Fired {
	if m := f.median.Load(); m != nil {
		return m
	}
	var all []*model.Fired
	for _, name := range p.glazeNames {
		if d, err := f.fire(p.glazes[name]); err == nil {
			all = append(all, d)
		}
		if len(all) == maxForMedian {
			break
		}
	}
	if len(all) < 3 {
		return nil
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].Exposure.Flow < all[j].Exposure.Flow })
	m := all[len(all)/2]
	f.median.Store(m)
	return m
}

// scoringKinds are the kinds of record that a score depends on.
var scoringKinds = []store.Kind{
	store.KindMaterial, store.KindGlaze, store.KindLot, store.KindBody, store.KindFiring, store.KindWare, store.KindActive,
}

// trustFor is how long a prepared studio is believed without asking the storage whether another server changed
// something. Changes made by this server count at once.
const trustFor = 300 * time.Millisecond

// studioCache keeps prepared studios, the last used ones.
type studioCache struct {
	api *API

	mu     sync.Mutex
	byID   map[string]*studioEntry
	recent uint64
}

type studioEntry struct {
	mu      sync.Mutex // held while the studio is being prepared
	current atomic.Pointer[prepared]
	checked atomic.Int64 // UnixNano of the last check; 0: to be checked; below 0: being read
	used    atomic.Uint64
}

// maxPrepared bounds how many studios are kept ready.
const maxPrepared = 1000

func newStudioCache(a *API) *studioCache {
	return &studioCache{api: a, byID: map[string]*studioEntry{}}
}

func (s *studioCache) entry(id string) *studioEntry {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.recent++
	e := s.byID[id]
	if e == nil {
		if len(s.byID) >= maxPrepared {
			s.dropOldest()
		}
		e = &studioEntry{}
		s.byID[id] = e
	}
	e.used.Store(s.recent)
	return e
}

func (s *studioCache) dropOldest() {
	oldest, at := uint64(math.MaxUint64), ""
	for id, e := range s.byID {
		if u := e.used.Load(); u < oldest {
			oldest, at = u, id
		}
	}
	delete(s.byID, at)
}

// touch says that something in a studio was changed here, so that the next score sees it.
func (s *studioCache) touch(id string) {
	s.mu.Lock()
	e := s.byID[id]
	s.mu.Unlock()
	if e != nil {
		e.checked.Store(0)
	}
}

// touchAll says that anything may have changed.
func (s *studioCache) touchAll() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, e := range s.byID {
		e.checked.Store(0)
	}
}

// noting is a store that tells the cache of what is written through it.
type noting struct {
	store.Store
	cache *studioCache
}

// List implements store.Reader. Whoever runs the server learns of damaged records from its log, whoever asked from the answer.
func (n noting) List(ctx context.Context, q store.Query) (store.Page, error) {
	page, err := n.Store.List(ctx, q)
	if len(page.Damaged) > 0 {
		n.cache.api.log.ErrorContext(ctx, "a list had to leave out damaged records", "error", page.Damaged)
	}
	return page, err
}

// Write implements store.Writer. Whatever became of the write, the studio is looked at again.
func (n noting) Write(ctx context.Context, w store.Write) (store.Answer, error) {
	answer, err := n.Store.Write(ctx, w)
	for _, op := range w.Ops {
		switch k := op.Record.Key; {
		case k.Kind == store.KindStudio:
			n.cache.touch(k.ID)
		case affectsScores(k.Kind):
			n.cache.touch(k.Studio)
		}
	}
	return answer, err
}

func affectsScores(k store.Kind) bool { return slices.Contains(scoringKinds, k) }

// watch follows the storage's own news of changes by other servers until the context ends.
func (s *studioCache) watch(ctx context.Context) {
	for c := range s.api.store.Changes(ctx) {
		switch {
		case c.Studio == store.AnyStudio:
			s.touchAll()
		case c.Studio == store.System:
			s.touchAll()
		case c.Kind == "" || affectsScores(c.Kind):
			s.touch(c.Studio)
		}
	}
}

// get gives a studio as it is now, or *NotFoundError.
func (s *studioCache) get(ctx context.Context, id string) (*prepared, error) {
	e := s.entry(id)
	now := s.api.now().UnixNano()
	if p := e.current.Load(); p != nil && now-e.checked.Load() < int64(trustFor) {
		return p, nil
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	if p := e.current.Load(); p != nil && now-e.checked.Load() < int64(trustFor) {
		return p, nil
	}
	// Until it is read, nobody may believe what was there before; a change during the reading is seen by the next call.
	reading := -now
	e.checked.Store(reading)
	p, err := s.prepare(ctx, id, e.current.Load())
	if err != nil {
		e.checked.Store(0)
		if errors.Is(err, store.ErrNotFound) {
			s.mu.Lock()
			delete(s.byID, id)
			s.mu.Unlock()
			return nil, &NotFoundError{"studios/" + id}
		}
		return nil, err
	}
	e.current.Store(p)
	e.checked.CompareAndSwap(reading, now)
	return p, nil
}

// prepare reads what has changed since the studio was prepared last.
func (s *studioCache) prepare(ctx context.Context, id string, old *prepared) (*prepared, error) {
	versions, err := s.api.store.Versions(ctx, id)
	if err != nil {
		return nil, err
	}
	record, err := s.api.store.Get(ctx, store.Key{Studio: store.System, Kind: store.KindStudio, ID: id})
	if err != nil {
		return nil, err
	}
	var studio pb.Studio
	if err := proto.Unmarshal(record.Body, &studio); err != nil {
		return nil, err
	}
	settings := studio.GetSettings()
	if old != nil && proto.Equal(old.settings, settings) && sameVersions(old.versions, versions) {
		return old, nil
	}
	p := &prepared{studio: id, versions: versions, settings: settings, days: &days{}}
	if old != nil {
		p.days = old.days
	}
	changed := func(kinds ...store.Kind) bool {
		return old == nil || slices.ContainsFunc(kinds, func(k store.Kind) bool { return old.versions[k] != versions[k] })
	}
	if p.materials, p.glazes, p.glazeNames, err = s.glazes(ctx, id, old, changed(store.KindMaterial, store.KindGlaze, store.KindLot)); err != nil {
		return nil, err
	}
	if changed(store.KindBody) {
		p.bodies = map[string]error{}
		err = scanUsable(ctx, s.api.store, id, store.KindBody, func(key store.Key, _ *pb.Body, fault error) { p.bodies[nameOf(key)] = fault })
	} else {
		p.bodies = old.bodies
	}
	if err != nil {
		return nil, err
	}
	// Firings keep the glazes that were fired in them, so they are made anew with the glazes.
	if changed(store.KindFiring, store.KindMaterial, store.KindGlaze, store.KindLot) {
		p.firings = map[string]*studioFiring{}
		err = scanUsable(ctx, s.api.store, id, store.KindFiring, func(key store.Key, f *pb.Firing, fault error) {
			if fault != nil {
				p.firings[nameOf(key)] = &studioFiring{name: nameOf(key), fault: fault}
				return
			}
			p.firings[nameOf(key)] = prepareFiring(nameOf(key), f.GetKiln(), f.GetPlan())
		})
	} else {
		p.firings = old.firings
	}
	if err != nil {
		return nil, err
	}
	if changed(store.KindWare) {
		p.wares = map[string]*studioWare{}
		err = scanUsable(ctx, s.api.store, id, store.KindWare, func(key store.Key, w *pb.Ware, fault error) {
			var profile *film.Profile
			if fault == nil {
				profile, fault = wareProfile(w.GetShape())
			}
			p.wares[nameOf(key)] = &studioWare{ware: w, profile: profile, fault: fault}
		})
	} else {
		p.wares = old.wares
	}
	if err != nil {
		return nil, err
	}
	if changed(store.KindActive) {
		p.calibration, err = s.active(ctx, id)
	} else {
		p.calibration = old.calibration
	}
	if err != nil {
		return nil, err
	}
	return p, nil
}

func sameVersions(a, b map[store.Kind]int64) bool {
	return !slices.ContainsFunc(scoringKinds, func(k store.Kind) bool { return a[k] != b[k] })
}

// glazes prepares glazes and lots, keeping those that did not change.
func (s *studioCache) glazes(ctx context.Context, id string, old *prepared, changed bool) (*rawMaterials, map[string]*studioGlaze, []string, error) {
	if !changed {
		return old.materials, old.glazes, old.glazeNames, nil
	}
	materials, err := s.api.ownMaterials(ctx, id)
	if err != nil {
		return nil, nil, nil, err
	}
	all := map[string]*studioGlaze{}
	var names []string
	records := map[string]*pb.Glaze{}
	lost := map[string]error{}
	err = scanUsable(ctx, s.api.store, id, store.KindGlaze, func(key store.Key, g *pb.Glaze, fault error) {
		name := nameOf(key)
		if fault != nil {
			all[name], lost[name] = &studioGlaze{name: name, displayName: name, fault: fault}, fault
			return
		}
		m, fault := glazeModel(name, g, materials)
		all[name] = &studioGlaze{name, g.GetDisplayName(), m, fault}
		records[name] = g
		names = append(names, name)
	})
	if err != nil {
		return nil, nil, nil, err
	}
	err = scanUsable(ctx, s.api.store, id, store.KindLot, func(key store.Key, l *pb.Lot, fault error) {
		parent := nameOf(store.Key{Studio: id, Kind: store.KindGlaze, ID: key.Parent})
		name := nameOf(key)
		if fault == nil {
			fault = lost[parent]
		}
		if fault != nil {
			all[name] = &studioGlaze{name: name, displayName: name, fault: fault}
			return
		}
		g := records[parent]
		if g == nil {
			return
		}
		m, fault := lotModel(parent, name, g, l, materials)
		all[name] = &studioGlaze{name, g.GetDisplayName() + ", lot " + l.GetDisplayName(), m, fault}
	})
	slices.Sort(names)
	return materials, all, names, err
}

// active reads the active calibration; without one it is the prior alone.
func (s *studioCache) active(ctx context.Context, id string) (*activeCalibration, error) {
	number, _, err := store.Active(ctx, s.api.store, id)
	var c *activeCalibration
	switch {
	case err != nil:
	case number == "":
		return priorAlone(), nil
	default:
		c, err = s.readCalibration(ctx, id, number)
	}
	if errors.Is(err, store.ErrDamaged) {
		prior := priorAlone()
		return &activeCalibration{Calibration: prior.Calibration, dripRatio: prior.dripRatio, damaged: err}, nil
	}
	return c, err
}

// priorAlone is the calibration that has learnt nothing.
var priorAlone = sync.OnceValue(func() *activeCalibration {
	c, err := calib.Fit(nil, calib.DefaultPrior())
	if err != nil {
		panic("api: the prior alone does not fit: " + err.Error())
	}
	drips, err := film.CalibrateDrips(nil)
	if err != nil {
		panic("api: the prior of drips: " + err.Error())
	}
	return &activeCalibration{Calibration: c, dripRatio: drips.Median}
})

func (s *studioCache) readCalibration(ctx context.Context, id, number string) (*activeCalibration, error) {
	record, err := s.api.store.Get(ctx, store.Key{Studio: id, Kind: store.KindCalibration, ID: number})
	if err != nil {
		return nil, err
	}
	return decodeCalibration(nameOf(record.Key), record.Body)
}

// calibrationNamed gives the active calibration for an empty name, else the one named.
func (s *studioCache) calibrationNamed(ctx context.Context, p *prepared, field, name string) (*activeCalibration, error) {
	if name == "" || name == p.calibration.name {
		return p.calibration, p.calibration.damaged
	}
	key, err := parseName(field, name, store.KindCalibration)
	if err != nil {
		return nil, err
	}
	if key.Studio != p.studio {
		return nil, &NotFoundError{name}
	}
	if c, ok := p.earlier.Load(name); ok {
		return c.(*activeCalibration), nil
	}
	c, err := s.readCalibration(ctx, p.studio, key.ID)
	if errors.Is(err, store.ErrNotFound) {
		return nil, &NotFoundError{name}
	}
	if err != nil {
		return nil, err
	}
	p.earlier.Store(name, c)
	return c, nil
}

// scan reads all records of a kind.
func scan[T any, M interface {
	*T
	proto.Message
}](ctx context.Context, s store.Reader, studio string, kind store.Kind, each func(store.Key, M)) error {
	return s.Scan(ctx, studio, kind, func(r store.Record) error {
		m := M(new(T))
		if err := proto.Unmarshal(r.Body, m); err != nil {
			return err
		}
		each(r.Key, m)
		return nil
	})
}

// scanUsable reads all records of a kind, and calls each for those too that are damaged, with nil and why.
func scanUsable[T any, M interface {
	*T
	proto.Message
}](ctx context.Context, s store.Reader, studio string, kind store.Kind, each func(store.Key, M, error)) error {
	damaged, err := withoutDamaged(scan(ctx, s, studio, kind, func(key store.Key, m M) { each(key, m, nil) }))
	for _, d := range damaged {
		each(d.Key, nil, d)
	}
	return err
}

// prepareFiring works out a firing's heat; a fault is kept for whoever scores with it.
func prepareFiring(name, kiln string, plan *pb.FiringPlan) *studioFiring {
	f := &studioFiring{name: name, kiln: kiln, plan: plan}
	f.heat, _, f.fault = heatHistory(plan, nil)
	return f
}
