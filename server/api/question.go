package api

import (
	"context"
	"fmt"
	"math"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/film"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// question is a request for a score, put to the model.
type question struct {
	model.Question
	studio      *prepared
	firing      *studioFiring
	find        glazeFinder
	calibration *activeCalibration
	ware        *pb.Ware // nil on a straight wall
	profile     *film.Profile
}

// ask turns a request for a score into a question. Errors name fields of the request under path.
func (s *studioCache) ask(ctx context.Context, path string, r *pb.ScoreLayeringRequest) (*question, error) {
	key, err := parseName(path+"parent", r.GetParent(), store.KindStudio)
	if err != nil {
		return nil, err
	}
	p, err := s.get(ctx, key.ID)
	if err != nil {
		return nil, err
	}
	calibration, err := s.calibrationNamed(ctx, p, path+"calibration", r.GetCalibration())
	if err != nil {
		return nil, err
	}
	f, err := p.firing(path, r.GetFiring(), r.GetFiringPlan())
	if err != nil {
		return nil, err
	}
	q := &question{Question: model.Question{Calibration: calibration.Calibration}, studio: p, firing: f, find: p.glaze, calibration: calibration}
	if q.Tolerated, err = p.tolerated(path+"tolerated_risk", r.ToleratedRisk); err != nil {
		return nil, err
	}
	if q.Layering, err = p.layering(path+"layering", r.GetLayering(), f, q.find); err != nil {
		return nil, err
	}
	if q.Where, err = p.where(path, r, f); err != nil {
		return nil, err
	}
	return q, q.place(path+"placement", r.GetPlacement())
}

// firing finds a stored firing or works out one that is given here.
func (p *prepared) firing(path, name string, plan *pb.FiringPlan) (*studioFiring, error) {
	switch {
	case name != "":
		if _, err := parseName(path+"firing", name, store.KindFiring); err != nil {
			return nil, err
		}
		f := p.firings[name]
		if f == nil {
			return nil, &NotFoundError{name}
		}
		return f, under(path+"firing", f.fault)
	case plan != nil:
		f := prepareFiring("", "", plan)
		return f, under(path+"firing_plan", f.fault)
	}
	return nil, &fault.Error{Field: path + "firing", Value: "empty", Limit: "a stored firing, or a firing_plan"}
}

func (p *prepared) tolerated(field string, given *float64) (float64, error) {
	v := defaultTolerated
	if p.settings.GetToleratedRisk() != 0 {
		v = p.settings.GetToleratedRisk()
	}
	if given != nil {
		v = *given
	}
	if !(v >= model.MinTolerated && v <= model.MaxTolerated) {
		return 0, &fault.Error{Field: field, Value: fmt.Sprint(v), Limit: fmt.Sprintf("%g to %g", model.MinTolerated, model.MaxTolerated)}
	}
	return v, nil
}

// defaultTolerated is the probability of exceeding the clearance that a studio tolerates unless it says otherwise.
const defaultTolerated = 0.05

// where names kiln, body and tester as the regression knows them.
func (p *prepared) where(path string, r *pb.ScoreLayeringRequest, f *studioFiring) (model.Where, error) {
	w := model.Where{Kiln: r.GetKiln(), Body: r.GetLayering().GetBody(), Tester: r.GetTester()}
	if w.Kiln == "" {
		w.Kiln = f.kiln
	}
	if w.Body != "" {
		if _, err := parseName(path+"layering.body", w.Body, store.KindBody); err != nil {
			return w, err
		}
		fault, ok := p.bodies[w.Body]
		if !ok {
			return w, &NotFoundError{w.Body}
		}
		if fault != nil {
			return w, fault
		}
	}
	return w, nil
}

// glazeFinder finds the glaze or lot of a layer. Errors name its fields.
type glazeFinder func(l *pb.Layer) (*studioGlaze, error)

// layering fires the layers of a request.
func (p *prepared) layering(path string, l *pb.Layering, f *studioFiring, find glazeFinder) (model.Layering, error) {
	out := model.Layering{Stirring: film.Usual.Stirring}
	if p.settings.GetStirring() != 0 {
		out.Stirring = p.settings.GetStirring()
	}
	if n := len(l.GetLayers()); n < 1 || n > film.MaxLayers {
		return out, &fault.Error{Field: path + ".layers", Value: fmt.Sprintf("%d layers", n), Limit: fmt.Sprintf("1 to %d", film.MaxLayers)}
	}
	out.Layers = make([]model.Layer, len(l.GetLayers()))
	for i, layer := range l.GetLayers() {
		var err error
		if out.Layers[i], err = p.layer(layer, f, find); err != nil {
			return out, under(fmt.Sprintf("%s.layers[%d]", path, i), err)
		}
	}
	return out, nil
}

// layer fires one layer and works out how thick it is. Errors name its fields.
func (p *prepared) layer(l *pb.Layer, f *studioFiring, find glazeFinder) (model.Layer, error) {
	g, err := find(l)
	if err != nil {
		return model.Layer{}, err
	}
	fired, err := f.fire(g)
	if err != nil {
		return model.Layer{}, under("glaze", err)
	}
	h, err := p.thickness(l, fired)
	return model.Layer{Fired: fired, Thickness: h}, err
}

// glaze finds the lot of a layer, or its glaze where no lot is named.
func (p *prepared) glaze(l *pb.Layer) (*studioGlaze, error) {
	key, err := parseName("glaze", l.GetGlaze(), store.KindGlaze)
	if err != nil {
		return nil, err
	}
	name := l.GetGlaze()
	if p.glazes[name] == nil {
		return nil, &NotFoundError{name}
	}
	if l.GetLot() != "" {
		lot, err := parseName("lot", l.GetLot(), store.KindLot)
		if err != nil {
			return nil, err
		}
		if lot.Studio != key.Studio || lot.Parent != key.ID {
			return nil, &fault.Error{Field: "lot", Value: quoted(l.GetLot()), Limit: "a lot of " + name}
		}
		name = l.GetLot()
	}
	g := p.glazes[name]
	if g == nil {
		return nil, &NotFoundError{name}
	}
	return g, nil
}

// defaultCoats is how many coats a layer has when nobody says.
const defaultCoats = 2

// thickness of a layer, fired.
func (p *prepared) thickness(l *pb.Layer, f *model.Fired) (film.Thickness, error) {
	var h film.Thickness
	var err error
	switch a := l.GetAmount().(type) {
	case *pb.Layer_ThicknessUm:
		if h, err = film.Stated(a.ThicknessUm * 1e-6); err != nil {
			return h, &fault.Error{Field: "thickness_um", Value: fmt.Sprint(a.ThicknessUm), Limit: "1 to 5000"}
		}
		if a.ThicknessUm < 1 {
			return h, &fault.Error{Field: "thickness_um", Value: fmt.Sprint(a.ThicknessUm), Limit: "1 to 5000"}
		}
	case *pb.Layer_DryMassGPerCm2:
		const kgPerM2 = 10 // per g/cm²
		if !(a.DryMassGPerCm2 >= 0.001 && a.DryMassGPerCm2 <= 1) {
			return h, &fault.Error{Field: "dry_mass_g_per_cm2", Value: fmt.Sprint(a.DryMassGPerCm2), Limit: "0.001 to 1"}
		}
		h, err = film.FromMass(a.DryMassGPerCm2*kgPerM2, math.Max(f.Glaze.LOI, 0), f.Density)
	default:
		coats := float64(defaultCoats)
		if c, ok := l.GetAmount().(*pb.Layer_Coats); ok {
			coats = c.Coats
		}
		if !(coats > 0 && coats <= film.MaxCoats) {
			return h, &fault.Error{Field: "coats", Value: fmt.Sprint(coats), Limit: fmt.Sprintf("more than 0 and at most %g", film.MaxCoats)}
		}
		method, hand := p.method(l.GetMethod())
		h, err = film.Coats(method, coats, hand)
	}
	return h, err
}

// method gives the way of putting on a coat and the studio's hand in it, relative to the usual.
func (p *prepared) method(m pb.ApplicationMethod) (film.Method, float64) {
	hand := p.settings.GetHand()
	method, um := film.Brush, hand.GetBrushUmPerCoat()
	switch m {
	case pb.ApplicationMethod_APPLICATION_METHOD_DIP, pb.ApplicationMethod_APPLICATION_METHOD_POUR:
		method, um = film.Dip, hand.GetDipUmPerCoat()
	case pb.ApplicationMethod_APPLICATION_METHOD_SPRAY:
		method, um = film.Spray, hand.GetSprayUmPerCoat()
	}
	if um == 0 {
		return method, 1
	}
	usual, err := film.Coats(method, 1, 1)
	if err != nil {
		return method, 1
	}
	return method, math.Min(math.Max(um*1e-6/usual.Metres, film.MinHand), film.MaxHand)
}

// Placement when nobody says, in mm.
const (
	defaultBandMM      = 60
	defaultClearanceMM = 30
	tileWidthMM        = 50
)

// place puts the band on its wall.
func (q *question) place(path string, pl *pb.Placement) error {
	band, clearance := float64(defaultBandMM), float64(defaultClearanceMM)
	if pl != nil && pl.BandHeightMm != nil {
		band = *pl.BandHeightMm
	}
	if pl != nil && pl.ClearanceMm != nil {
		clearance = *pl.ClearanceMm
	}
	var shape *pb.WareShape
	switch w := pl.GetWall().(type) {
	case *pb.Placement_Ware:
		if _, err := parseName(path+".ware", w.Ware, store.KindWare); err != nil {
			return err
		}
		ware := q.studio.wares[w.Ware]
		if ware == nil {
			return &NotFoundError{w.Ware}
		}
		if ware.fault != nil {
			return under(path+".ware", ware.fault)
		}
		q.ware, q.profile = ware.ware, ware.profile
	case *pb.Placement_Shape:
		shape = w.Shape
		profile, err := wareProfile(shape)
		if err != nil {
			return under(path+".shape", err)
		}
		q.ware, q.profile = &pb.Ware{Shape: shape}, profile
	}
	drip := q.calibration.dripRatio
	if q.profile == nil {
		if len(pl.GetLowerBands()) > 0 {
			return &fault.Error{Field: path + ".lower_bands", Value: fmt.Sprintf("%d bands on a straight wall", len(pl.GetLowerBands())), Limit: "bands on a ware"}
		}
		angle := 90.0
		if a, ok := pl.GetWall().(*pb.Placement_AngleDeg); ok {
			angle = a.AngleDeg
		}
		wall, err := model.NewStraightWall(angle*math.Pi/180, band*1e-3, clearance*1e-3, tileWidthMM*1e-3, drip)
		if err != nil {
			return under(path, err)
		}
		q.Wall = wall
		return nil
	}
	lower, thickness, err := q.lowerBands(path, pl.GetLowerBands(), clearance)
	if err != nil {
		return err
	}
	wall, err := q.wareWall(pl, band*1e-3, clearance*1e-3, thickness, lower)
	if err != nil {
		return under(path, err)
	}
	q.Wall = wall
	return nil
}

// wareWall keeps the courses of single bands on stored wares, which serve every layering.
func (q *question) wareWall(pl *pb.Placement, band, clearance, thickness float64, lower []model.LowerBand) (*model.WareWall, error) {
	drip := q.calibration.dripRatio
	name := pl.GetWare()
	if name == "" || len(lower) > 0 {
		return model.NewWareWall(q.profile, band, clearance, drip, thickness, lower)
	}
	key := courseKey{band, clearance, drip}
	courses := &q.studio.wares[name].courses
	if w := courses.get(key); w != nil {
		return w, nil
	}
	w, err := model.NewWareWall(q.profile, band, clearance, drip, thickness, nil)
	if err != nil {
		return nil, err
	}
	courses.put(key, w)
	return w, nil
}

// maxLowerBands is how many bands may lie below the one that is scored: what the solver takes, less that one.
const maxLowerBands = film.MaxBands - 1

// lowerBands works out the bands below, relative to the scored one, and the scored one's thickness.
func (q *question) lowerBands(path string, bands []*pb.LowerBand, clearanceMM float64) ([]model.LowerBand, float64, error) {
	if len(bands) == 0 {
		return nil, 0, nil
	}
	if len(bands) > maxLowerBands {
		return nil, 0, &fault.Error{Field: path + ".lower_bands", Value: fmt.Sprintf("%d bands", len(bands)), Limit: fmt.Sprintf("at most %d", maxLowerBands)}
	}
	var own model.Physics
	if err := own.Work(&q.Layering, 1); err != nil {
		return nil, 0, err
	}
	mobility := own.Flow.Drive / (own.Flow.Thickness * own.Flow.Thickness)
	var out []model.LowerBand
	for i, b := range bands {
		at := fmt.Sprintf("%s.lower_bands[%d]", path, i)
		low, high := b.GetFromFootMm(), b.GetFromFootMm()+b.GetBandHeightMm()
		if !(low >= 0 && b.GetBandHeightMm() > 0 && high <= clearanceMM+1e-9) {
			return nil, 0, &fault.Error{Field: at, Value: fmt.Sprintf("%g to %g mm from the foot", low, high),
				Limit: fmt.Sprintf("a band within 0 to %g mm, below the scored one", clearanceMM)}
		}
		layering, err := q.studio.layering(at+".layering", b.GetLayering(), q.firing, q.find)
		if err != nil {
			return nil, 0, err
		}
		var p model.Physics
		if err := p.Work(&layering, 1); err != nil {
			return nil, 0, under(at, err)
		}
		m := p.Flow.Drive / (p.Flow.Thickness * p.Flow.Thickness)
		out = append(out, model.LowerBand{Low: low * 1e-3, High: high * 1e-3, Thickness: p.Flow.Thickness, Mobility: clampRatio(m / mobility)})
	}
	return out, own.Flow.Thickness, nil
}

// clampRatio keeps a ratio of mobilities within what the solver takes.
func clampRatio(r float64) float64 { return math.Min(math.Max(r, 1e-6), 1e6) }
