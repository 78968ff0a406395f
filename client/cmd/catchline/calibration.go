package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

type fitCommand struct{}

// longWork is how long a fit or an import may take: as long as a server lets it by default.
const longWork = 2 * time.Minute

// Run learns from the tiles.
func (*fitCommand) Run(a *app) error {
	c, err := a.client()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(a, longWork)
	defer cancel()
	made, err := c.Calibrations.FitCalibration(ctx, &pb.FitCalibrationRequest{Parent: a.studioName()})
	if err != nil {
		return err
	}
	return a.show(made, func() *table { return calibrationsTable([]*pb.Calibration{made}) }, func(w io.Writer) error {
		return sayCalibration(w, made, a.Units)
	})
}

// sayCalibration writes a calibration for people.
func sayCalibration(w io.Writer, c *pb.Calibration, u units) error {
	p := &printer{w: w}
	use := "not in use"
	if c.Active {
		use = "in use"
	}
	p.line("Calibration %d of %s, %s.", c.Number, counted(c.Tiles, "tile"), use)
	p.indented("", c.Verdict)
	d := c.Diagnostics
	if one := d.GetPrequential(); one.GetTiles() > 0 {
		p.line("Each tile said by those before it: off by %s in the middle, %.2f rms of ln(1 + run in mm).", u.Say(one.MedianAbsMm), one.RmsLnRun)
		for _, v := range one.Coverage {
			p.line("  %s intervals held %s of %s.", sayPercent(v.Nominal), sayPercent(v.Observed), counted(v.Tiles, "tile"))
		}
	}
	p.section("What was learnt, as factors on the drive (runs grow with it), and how far each may be off")
	var cells [][]string
	for _, e := range c.Effects {
		what := e.Kind
		if e.Of != "" {
			what += " " + shortEffect(e.Of)
		}
		cells = append(cells, []string{what, fmt.Sprintf("× %.2f", math.Exp(e.Value)), fmt.Sprintf("%.2f to %.2f", math.Exp(e.Value-e.Sd), math.Exp(e.Value+e.Sd)), strconv.Itoa(int(e.Tiles)) + " tiles"})
	}
	if p.err != nil {
		return p.err
	}
	return align(w, cells, []bool{false, true, true, true}, "  ")
}

// shortEffect shortens the names in what an effect is of; a pair is two of them.
func shortEffect(of string) string {
	parts := strings.Split(of, " + ")
	for i := range parts {
		parts[i] = shortOf(parts[i])
	}
	return strings.Join(parts, " + ")
}

func calibrationsTable(all []*pb.Calibration) *table {
	t := &table{head: []string{"calibration", "active", "tiles", "made", "rms_ln_run", "median_abs_mm", "verdict"}}
	for _, c := range all {
		one := c.Diagnostics.GetPrequential()
		t.add(c.Number, yesNo(c.Active), c.Tiles, c.CreateTime.AsTime().Format(time.DateTime), one.GetRmsLnRun(), one.GetMedianAbsMm(), c.Verdict)
	}
	return t
}

type calibrationsCommand struct {
	Number string `arg:"" optional:"" help:"Show this one in full."`
}

// Run lists calibrations, or shows one.
func (l *calibrationsCommand) Run(a *app) error {
	c, err := a.client()
	if err != nil {
		return err
	}
	if l.Number != "" {
		name, err := a.named("calibrations", l.Number)
		if err != nil {
			return err
		}
		one, err := c.Calibrations.GetCalibration(a, &pb.GetCalibrationRequest{Name: name})
		if err != nil {
			return err
		}
		return a.show(one, func() *table { return calibrationsTable([]*pb.Calibration{one}) }, func(w io.Writer) error { return sayCalibration(w, one, a.Units) })
	}
	all := &pb.ListCalibrationsResponse{}
	for one, err := range c.AllCalibrations(a, a.studioName()) {
		if err != nil {
			return err
		}
		all.Calibrations = append(all.Calibrations, one)
	}
	return a.show(all, func() *table { return calibrationsTable(all.Calibrations) }, nil)
}

type activateCommand struct {
	Number string `arg:"" help:"Number of the calibration."`
}

// Run makes an earlier calibration the one in use.
func (v *activateCommand) Run(a *app) error {
	name, err := a.named("calibrations", v.Number)
	if err != nil {
		return err
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	one, err := c.Calibrations.ActivateCalibration(a, &pb.ActivateCalibrationRequest{Name: name})
	if err != nil {
		return err
	}
	return a.show(one, func() *table { return calibrationsTable([]*pb.Calibration{one}) }, nil)
}

type recordCommand struct{}

// Run shows the record.
func (*recordCommand) Run(a *app) error {
	c, err := a.client()
	if err != nil {
		return err
	}
	record, err := c.Calibrations.GetRecord(a, &pb.GetRecordRequest{Parent: a.studioName()})
	if err != nil {
		return err
	}
	points := func() *table {
		u := a.Units
		t := &table{head: []string{"tile", "fire_date", "cone", u.column("said"), u.column("said_p10"), u.column("said_p90"), u.column("measured_from"), u.column("measured_to"), "exceed_probability", "suspect"}}
		for _, p := range record.Points {
			var to any = mm(p.MeasuredToMm)
			if p.MeasuredToMm == 0 && p.MeasuredFromMm > 0 {
				to = ""
			}
			t.add(idOf(p.Tile), p.FireDate, p.Cone, mm(p.PredictedMm), mm(p.P10Mm), mm(p.P90Mm), mm(p.MeasuredFromMm), to, percent(p.ExceedProbability), a.Units.Sentence(p.Suspect))
		}
		return t
	}
	return a.show(record, points, func(w io.Writer) error {
		if err := points().write(w, "table", a.Units); err != nil {
			return err
		}
		p := &printer{w: w}
		for _, part := range []struct {
			title string
			of    *pb.Accuracy
		}{{"All tiles", record.Accuracy}, {"The last of them", record.Recent}} {
			if part.of.GetTiles() == 0 {
				continue
			}
			p.section(part.title)
			p.line("  %s, each said by those before it: off by %s in the middle, %.2f rms of ln(1 + run in mm); Brier score %.3f.",
				counted(part.of.Tiles, "tile"), a.Units.Say(part.of.MedianAbsMm), part.of.RmsLnRun, part.of.Brier)
			for _, v := range part.of.Coverage {
				p.line("  %s intervals held %s of %s.", sayPercent(v.Nominal), sayPercent(v.Observed), counted(v.Tiles, "tile"))
			}
		}
		return p.err
	})
}

type lotCompareCommand struct {
	Old    string  `arg:"" help:"The old lot, GLAZE/LOT."`
	New    string  `arg:"" help:"The new lot of the same glaze, GLAZE/LOT."`
	Firing string  `required:"" placeholder:"FIRING" help:"Stored firing in which they are compared."`
	Amount *length `placeholder:"LENGTH" help:"How much more counts. Default: 3 mm."`
	placementFlags
}

// Run compares lots.
func (l *lotCompareCommand) Run(a *app) error {
	r := &pb.CompareLotsRequest{}
	var err error
	if r.OldLot, err = a.lotNamed(l.Old); err != nil {
		return err
	}
	if r.NewLot, err = a.lotNamed(l.New); err != nil {
		return err
	}
	r.Parent = parentOf(r.OldLot)
	if r.Firing, err = a.named("firings", l.Firing); err != nil {
		return err
	}
	if r.AmountMm, err = optionalMM(l.Amount, "--amount", a.Units); err != nil {
		return err
	}
	if r.Placement, err = l.placement(a); err != nil {
		return err
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	answer, err := c.Calibrations.CompareLots(a, r)
	if err != nil {
		return err
	}
	return a.show(answer, func() *table {
		t := &table{head: []string{"old_lot", "new_lot", a.Units.column("difference"), a.Units.column("difference_p10"), a.Units.column("difference_p90"), "runs_more_probability", "old_tiles", "new_tiles", "tiles_to_settle"}}
		t.add(shortOf(r.OldLot), shortOf(r.NewLot), mm(answer.DifferenceMm), mm(answer.DifferenceP10Mm), mm(answer.DifferenceP90Mm), percent(answer.RunsMoreProbability), answer.OldTiles, answer.NewTiles, answer.TilesToSettle)
		return t
	}, func(w io.Writer) error {
		p := &printer{w: w}
		p.indented("", a.Units.Sentence(answer.Sentence))
		p.line("Difference in the run: %s (80 %% of the time %s); %s of the old lot, %d of the new.",
			a.Units.Say(answer.DifferenceMm), a.Units.Between(answer.DifferenceP10Mm, answer.DifferenceP90Mm), counted(answer.OldTiles, "tile"), answer.NewTiles)
		return p.err
	})
}
