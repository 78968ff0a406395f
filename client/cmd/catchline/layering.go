package main

import (
	"slices"
	"strconv"
	"strings"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// layeringFlags say what is put on.
type layeringFlags struct {
	Layer  []string `placeholder:"GLAZE[:AMOUNT]" group:"What is put on" help:"A layer, first applied first: a glaze, or GLAZE/LOT, and how much of it: coats (tarn-clear:2), fired thickness (tarn-clear:450um) or dry mass (tarn-clear:0.08g, per cm²). Two coats where nothing is said."`
	Lot    []string `placeholder:"GLAZE/LOT" group:"What is put on" help:"Lot of the layers of that glaze."`
	Method string   `enum:",brush,dip,spray,pour" default:"" group:"What is put on" help:"How coats are put on: brush, dip, spray or pour. Default: brush."`
	Body   string   `placeholder:"BODY" group:"What is put on" help:"The clay body."`
}

// layering reads the flags.
func (f *layeringFlags) layering(a *app) (*pb.Layering, error) {
	l := &pb.Layering{}
	for _, text := range f.Layer {
		layer, err := a.layer(text, f.Method)
		if err != nil {
			return nil, err
		}
		l.Layers = append(l.Layers, layer)
	}
	for _, called := range f.Lot {
		lot, err := a.lotNamed(called)
		if err != nil {
			return nil, err
		}
		glaze, _, _ := strings.Cut(lot, "/lots/")
		if !slices.ContainsFunc(l.Layers, func(one *pb.Layer) bool { return one.Glaze == glaze }) {
			return nil, fieldFault("--lot", called, "a lot of a glaze that a --layer names")
		}
		for _, one := range l.Layers {
			if one.Glaze == glaze {
				one.Lot = lot
			}
		}
	}
	var err error
	l.Body, err = a.named("bodies", f.Body)
	return l, err
}

var methods = map[string]pb.ApplicationMethod{
	"":      pb.ApplicationMethod_APPLICATION_METHOD_UNSPECIFIED,
	"brush": pb.ApplicationMethod_APPLICATION_METHOD_BRUSH,
	"dip":   pb.ApplicationMethod_APPLICATION_METHOD_DIP,
	"spray": pb.ApplicationMethod_APPLICATION_METHOD_SPRAY,
	"pour":  pb.ApplicationMethod_APPLICATION_METHOD_POUR,
}

// layer reads GLAZE[/LOT][:AMOUNT].
func (a *app) layer(text, method string) (*pb.Layer, error) {
	called, amount, given := strings.Cut(text, ":")
	l := &pb.Layer{Method: methods[method]}
	if given {
		if err := setAmount(l, text, amount); err != nil {
			return nil, err
		}
	}
	if strings.Contains(called, "/") && !strings.HasPrefix(called, "studios/") {
		lot, err := a.lotNamed(called)
		if err != nil {
			return nil, err
		}
		l.Lot = lot
		l.Glaze, _, _ = strings.Cut(lot, "/lots/")
		return l, nil
	}
	var err error
	l.Glaze, err = a.named("glazes", called)
	return l, err
}

// setAmount reads coats, micrometres (450um) or grams per square centimetre (0.08g).
func setAmount(l *pb.Layer, text, amount string) error {
	set := func(x float64) { l.Amount = &pb.Layer_Coats{Coats: x} }
	number := strings.TrimSpace(amount)
	if rest, ok := strings.CutSuffix(number, "um"); ok {
		number, set = rest, func(x float64) { l.Amount = &pb.Layer_ThicknessUm{ThicknessUm: x} }
	} else if rest, ok := strings.CutSuffix(number, "g"); ok {
		number, set = rest, func(x float64) { l.Amount = &pb.Layer_DryMassGPerCm2{DryMassGPerCm2: x} }
	}
	x, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err != nil {
		return fieldFault("--layer", strconv.Quote(text), "GLAZE:AMOUNT with coats (2), micrometres (450um) or grams per cm² (0.08g)")
	}
	set(x)
	return nil
}

// firingFlags say how it is fired: by a stored firing, or by its cone.
type firingFlags struct {
	Firing string `placeholder:"FIRING" group:"How it is fired" help:"A stored firing."`
	Cone   string `placeholder:"CONE" group:"How it is fired" help:"Or a cone, such as 6 or 06, with what follows."`

	Ramp       *float64 `placeholder:"C/H" group:"How it is fired" help:"Ramp over the last 100 °C in °C per hour. Default: 60."`
	Hold       *float64 `placeholder:"MIN" group:"How it is fired" help:"Hold at the peak in minutes."`
	Drop       *float64 `placeholder:"C" group:"How it is fired" help:"Drop by so many °C for a second hold."`
	DropHold   *float64 `placeholder:"MIN" group:"How it is fired" help:"Length of that hold in minutes."`
	Cooling    *float64 `placeholder:"C/H" group:"How it is fired" help:"Cooling in °C per hour. Default: 200."`
	Atmosphere string   `enum:",oxidation,neutral,light-reduction,medium-reduction,heavy-reduction" default:"" group:"How it is fired" help:"oxidation, neutral, light-reduction, medium-reduction or heavy-reduction. Default: oxidation."`
	Witness    string   `placeholder:"CONE" group:"How it is fired" help:"What the witness cone said, such as 6.3."`

	Kiln   string `group:"How it is fired" help:"Which kiln, as in the tiles. Default: the stored firing's."`
	Tester string `group:"How it is fired" help:"Who applies it, as in the tiles."`
}

// plan gives the name of a stored firing, or a plan.
func (f *firingFlags) plan(a *app) (string, *pb.FiringPlan, error) {
	inline := f.Ramp != nil || f.Hold != nil || f.Drop != nil || f.DropHold != nil || f.Cooling != nil || f.Atmosphere != ""
	switch {
	case f.Firing == "" && f.Cone == "":
		return "", nil, faultf("How is it fired? Give --firing or --cone.")
	case f.Firing != "" && (f.Cone != "" || inline):
		return "", nil, faultf("--firing is a stored firing; --cone and what goes with it describe another. Give one of them.")
	case f.Firing != "":
		name, err := a.named("firings", f.Firing)
		return name, nil, err
	}
	p := &pb.FiringPlan{
		Heat: &pb.FiringPlan_Cone{Cone: &pb.ConeFiring{
			Cone: f.Cone, FinalRampCPerH: f.Ramp, HoldMin: f.Hold, DropC: f.Drop, DropHoldMin: f.DropHold,
		}},
		CoolingCPerH: f.Cooling,
	}
	p.Atmosphere = atmosphereFlag(f.Atmosphere)
	return "", p, nil
}

// atmosphereFlag is the atmosphere of a word such as light-reduction, nil for none.
func atmosphereFlag(called string) *pb.Atmosphere {
	if called == "" {
		return nil
	}
	kind := "ATMOSPHERE_KIND_" + strings.ToUpper(strings.ReplaceAll(called, "-", "_"))
	return &pb.Atmosphere{Kind: pb.AtmosphereKind(pb.AtmosphereKind_value[kind])}
}

// placementFlags say where the band lies.
type placementFlags struct {
	Ware      string   `placeholder:"WARE" group:"Where it lies" help:"On a stored ware. Default: a vertical wall."`
	Angle     *float64 `placeholder:"DEG" group:"Where it lies" help:"Or on a straight wall at this angle from level, 90 is vertical."`
	Band      *length  `placeholder:"LENGTH" group:"Where it lies" help:"Height of the band along the wall. Default: 60 mm."`
	Clearance *length  `placeholder:"LENGTH" group:"Where it lies" help:"Bare wall between the band and the foot. Default: 30 mm."`
}

// placement is nil where nothing is said of it.
func (f *placementFlags) placement(a *app) (*pb.Placement, error) {
	if *f == (placementFlags{}) {
		return nil, nil
	}
	p := &pb.Placement{}
	var err error
	switch {
	case f.Ware != "" && f.Angle != nil:
		return nil, faultf("--ware and --angle are two different walls; give one of them.")
	case f.Ware != "":
		name, err := a.named("wares", f.Ware)
		if err != nil {
			return nil, err
		}
		p.Wall = &pb.Placement_Ware{Ware: name}
	case f.Angle != nil:
		p.Wall = &pb.Placement_AngleDeg{AngleDeg: *f.Angle}
	}
	if p.BandHeightMm, err = optionalMM(f.Band, "--band", a.Units); err != nil {
		return nil, err
	}
	p.ClearanceMm, err = optionalMM(f.Clearance, "--clearance", a.Units)
	return p, err
}

// questionFlags are a whole question.
type questionFlags struct {
	layeringFlags
	firingFlags
	placementFlags

	Tolerate    *float64 `placeholder:"P" help:"Probability of running too far that is tolerated, such as 0.05. Default: the studio's."`
	Calibration string   `placeholder:"NUMBER" help:"An earlier calibration. Default: the one in use."`
	File        string   `placeholder:"FILE" help:"JSON of a request with what flags have no room for, such as lower bands or a schedule; - is the standard input. Other flags are not read then."`
}

// request reads the flags.
func (f *questionFlags) request(a *app) (*pb.ScoreLayeringRequest, error) {
	r := &pb.ScoreLayeringRequest{}
	if f.File != "" {
		if err := a.readJSON(f.File, r); err != nil {
			return nil, err
		}
		r.Parent = a.studioName()
		return r, a.qualify(r.ProtoReflect())
	}
	if len(f.Layer) == 0 {
		return nil, faultf("What is put on? Give at least one --layer, or --file.")
	}
	r.Parent, r.Kiln, r.Tester, r.ToleratedRisk = a.studioName(), f.Kiln, f.Tester, f.Tolerate
	var err error
	if r.Layering, err = f.layering(a); err != nil {
		return nil, err
	}
	name, plan, err := f.plan(a)
	switch {
	case err != nil:
		return nil, err
	case plan != nil:
		if f.Witness != "" {
			plan.WitnessCone = &pb.WitnessCone{Cone: f.Witness}
		}
		r.FiringSource = &pb.ScoreLayeringRequest_FiringPlan{FiringPlan: plan}
	case f.Witness != "":
		return nil, faultf("A stored firing has its own witness cone; --witness goes with --cone.")
	default:
		r.FiringSource = &pb.ScoreLayeringRequest_Firing{Firing: name}
	}
	if r.Placement, err = f.placement(a); err != nil {
		return nil, err
	}
	r.Calibration, err = a.named("calibrations", f.Calibration)
	return r, err
}
