package main

import (
	"fmt"
	"io"
	"strings"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// Commands that look into a thing without changing any.

type glazeCommands struct {
	resourceCommands
	Melt glazeMeltCommand `cmd:"" help:"Say what its melt is like: viscosity over temperature, density, surface tension."`
}

type glazeMeltCommand struct {
	Name       string   `arg:"" optional:"" help:"A glaze, or GLAZE/LOT."`
	File       string   `placeholder:"FILE" help:"JSON of a glaze that is not stored instead."`
	Atmosphere string   `enum:",oxidation,neutral,light-reduction,medium-reduction,heavy-reduction" default:"" help:"oxidation, neutral, light-reduction, medium-reduction or heavy-reduction, which splits the iron. Default: oxidation."`
	From       *float64 `placeholder:"C" help:"Lowest temperature of the curve in °C. Default: 900."`
	To         *float64 `placeholder:"C" help:"Highest temperature of the curve in °C. Default: 1350."`
	Points     *int32   `placeholder:"N" help:"Points of the curve. Default: 46."`
}

// Run describes a melt.
func (m *glazeMeltCommand) Run(a *app) error {
	r := &pb.DescribeMeltRequest{Parent: a.studioName(), Atmosphere: atmosphereFlag(m.Atmosphere), FromC: m.From, ToC: m.To, Points: m.Points}
	switch {
	case (m.Name == "") == (m.File == ""):
		return faultf("Which melt? Give a glaze, GLAZE/LOT or --file, and one of them.")
	case m.File != "":
		g := &pb.Glaze{}
		if err := a.readJSON(m.File, g); err != nil {
			return err
		}
		r.Source = &pb.DescribeMeltRequest_InlineGlaze{InlineGlaze: g}
	case strings.Contains(m.Name, "/") && !strings.HasPrefix(m.Name, "studios/") || strings.Contains(m.Name, "/lots/"):
		lot, err := a.lotNamed(m.Name)
		if err != nil {
			return err
		}
		r.Source = &pb.DescribeMeltRequest_Lot{Lot: lot}
	default:
		glaze, err := a.named("glazes", m.Name)
		if err != nil {
			return err
		}
		r.Source = &pb.DescribeMeltRequest_Glaze{Glaze: glaze}
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	answer, err := c.Glazes.DescribeMelt(a, r)
	if err != nil {
		return err
	}
	curve := func() *table {
		t := &table{head: []string{"temperature_c", "log10_viscosity_pa_s", "log10_viscosity_sd", "density_kg_m3", "surface_tension_n_m"}}
		for _, p := range answer.Curve {
			t.add(p.TemperatureC, p.Log10ViscosityPaS, p.Log10ViscositySd, p.DensityKgM3, p.SurfaceTensionNM)
		}
		return t
	}
	return a.show(answer, curve, func(w io.Writer) error {
		p := &printer{w: w}
		for _, one := range answer.Isokoms {
			p.line("log10 viscosity %g Pa·s at %.0f °C", one.Log10ViscosityPaS, one.TemperatureC)
		}
		if answer.FerrousShare != nil {
			p.line("%.0f %% of the iron is ferrous at 1200 °C", 100**answer.FerrousShare)
		}
		for _, note := range answer.Notes {
			p.indented("", note)
		}
		p.line("")
		if p.err != nil {
			return p.err
		}
		return curve().write(w, "table", a.Units)
	})
}

type firingCommands struct {
	resourceCommands
	Preview firingPreviewCommand `cmd:"" help:"Say what a firing does that is not stored: equivalent cone, peak, curve."`
}

type firingPreviewCommand struct {
	firingFlags
	File string `placeholder:"FILE" help:"JSON of a firing plan, such as one by segments or by a kiln's log, instead."`
}

// Run previews a firing.
func (f *firingPreviewCommand) Run(a *app) error {
	plan := &pb.FiringPlan{}
	if f.File != "" {
		if err := a.readJSON(f.File, plan); err != nil {
			return err
		}
	} else {
		name, made, err := f.plan(a)
		if err != nil {
			return err
		}
		if made == nil {
			return faultf("%s is stored; catchline firing show tells what it does.", name)
		}
		plan = made
		if f.Witness != "" {
			plan.WitnessCone = &pb.WitnessCone{Cone: f.Witness}
		}
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	work, err := c.Firings.PreviewFiring(a, &pb.PreviewFiringRequest{Parent: a.studioName(), Plan: plan})
	if err != nil {
		return err
	}
	return a.show(work, func() *table {
		t := &table{head: []string{"minutes", "temperature_c"}}
		for _, p := range work.Curve {
			t.add(p.Minutes, p.TemperatureC)
		}
		return t
	}, func(w io.Writer) error {
		p := &printer{w: w}
		p.line("Comes to cone %s at a peak of %.0f °C; %.0f minutes within 100 °C of it.", work.EquivalentCone, work.PeakC, work.MinutesNearPeak)
		if work.WitnessShiftC != 0 {
			p.line("The witness cone shifts the whole curve by %+.0f °C.", work.WitnessShiftC)
		}
		for _, note := range work.Notes {
			p.indented("", note)
		}
		return p.err
	})
}

type wareCommands struct {
	resourceCommands
	Trace wareTraceCommand `cmd:"" help:"Turn a table of heights and radii, or a path traced from a photograph, into a profile."`
}

type wareTraceCommand struct {
	File string   `arg:"" help:"CSV with the columns height_mm and radius_mm, or with --scale a file that holds the d attribute of one SVG path; - is the standard input."`
	MM   *float64 `name:"scale" placeholder:"MM" help:"Millimetres per unit of the path."`
	Axis *float64 `placeholder:"X" help:"x of the axis of the pot in units of the path. Default: the path's least x."`
	Out  string   `short:"o" placeholder:"FILE" help:"Write the JSON of a ware with this profile, for catchline ware create."`
	Call string   `placeholder:"NAME" help:"What people call it, for that file."`
}

// Run traces a profile.
func (t *wareTraceCommand) Run(a *app) error {
	text, err := a.text(t.File)
	if err != nil {
		return err
	}
	r := &pb.TraceProfileRequest{Parent: a.studioName(), Source: &pb.TraceProfileRequest_Csv{Csv: string(text)}}
	if t.MM != nil {
		r.Source = &pb.TraceProfileRequest_Svg{Svg: &pb.SvgPath{D: strings.TrimSpace(string(text)), MmPerUnit: *t.MM, AxisX: t.Axis}}
	} else if t.Axis != nil {
		return faultf("--axis goes with --scale, for a path.")
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	answer, err := c.Wares.TraceProfile(a, r)
	if err != nil {
		return err
	}
	if t.Out != "" {
		out, err := a.output(t.Out)
		if err != nil {
			return err
		}
		err = writeJSON(out, &pb.Ware{DisplayName: t.Call, Shape: &pb.WareShape{Kind: &pb.WareShape_Profile{Profile: answer.Profile}}})
		if closing := out.Close(); err == nil {
			err = closing
		}
		if err != nil || t.Out == "-" {
			return err
		}
	}
	return a.show(answer, func() *table {
		points := &table{head: []string{a.Units.column("height"), a.Units.column("radius")}}
		for _, p := range answer.Profile.GetPoints() {
			points.add(mm(p.HeightMm), mm(p.RadiusMm))
		}
		return points
	}, func(w io.Writer) error {
		_, err := fmt.Fprintf(w, "%d points, %s of wall from foot to rim.\n", len(answer.Profile.GetPoints()), a.Units.Say(answer.WallLengthMm))
		return err
	})
}
