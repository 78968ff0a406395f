package main

import (
	"fmt"
	"io"
	"strings"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

type adviseCommand struct {
	questionFlags
	Allow []string `placeholder:"CHANGE" help:"Changes that are allowed: raise-band, fewer-coats, swap-order, drop-hold, lower-cone, buffer-band. Default: all."`
}

// Run asks for advice.
func (d *adviseCommand) Run(a *app) error {
	score, err := d.request(a)
	if err != nil {
		return err
	}
	r := &pb.AdviseLayeringRequest{Parent: a.studioName(), Score: score}
	for _, text := range d.Allow {
		kind := pb.ChangeKind_value["CHANGE_KIND_"+strings.ToUpper(strings.ReplaceAll(text, "-", "_"))]
		if kind == 0 {
			return fieldFault("--allow", text, "raise-band, fewer-coats, swap-order, drop-hold, lower-cone, buffer-band")
		}
		r.Allowed = append(r.Allowed, pb.ChangeKind(kind))
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	answer, err := c.Scores.AdviseLayering(a, r)
	if err != nil {
		return err
	}
	a.tell("Less sure", flagSentences(answer.Score.GetFlags()))
	a.tellCautions(answer.Score.GetCautions())
	return a.show(answer, func() *table {
		t := &table{head: []string{"change", a.Units.column("median_run"), a.Units.column("run_p90"), "exceed_probability", "risk", "enough", "sentence"}}
		for _, one := range answer.Advice {
			t.add(word(one.Kind, "CHANGE_KIND_"), mm(one.MedianRunMm), mm(one.RunP90Mm), percent(one.ExceedProbability), riskWord(one.Risk), yesNo(one.Enough), a.Units.Sentence(one.Sentence))
		}
		return t
	}, func(w io.Writer) error {
		p := &printer{w: w}
		s := answer.Score
		p.line("%s", layers(score.Layering))
		p.line("As it is: %s to run further than %s (risk %s).", sayPercent(s.GetExceedProbability()), a.Units.Round(s.GetClearanceMm()), riskWord(s.GetRisk()))
		if len(answer.Advice) == 0 {
			p.line("")
			p.line("No allowed change helps.")
		}
		for _, one := range answer.Advice {
			enough := "not enough"
			if one.Enough {
				enough = "enough"
			}
			p.section(a.Units.Sentence(one.Sentence))
			p.line("  then %s to run too far, risk %s: %s", sayPercent(one.ExceedProbability), riskWord(one.Risk), enough)
		}
		sayCautions(p, s.GetCautions())
		return p.err
	})
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

type drawCommand struct {
	questionFlags
	Out string `short:"o" default:"-" placeholder:"FILE" help:"SVG file to write; - is the standard output. Default: ${default}."`
}

// Run draws a wall.
func (d *drawCommand) Run(a *app) error {
	score, err := d.request(a)
	if err != nil {
		return err
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	answer, err := c.Scores.DrawWall(a, &pb.DrawWallRequest{Parent: a.studioName(), Score: score})
	if err != nil {
		return err
	}
	out, err := a.output(d.Out)
	if err != nil {
		return err
	}
	switch a.Format {
	case "json":
		err = writeJSON(out, answer)
	case "csv":
		t := &table{head: []string{a.Units.column("from_foot"), a.Units.column("height"), a.Units.column("radius"), "before_um", "after_um"}}
		for _, p := range answer.Film {
			t.add(mm(p.FromFootMm), mm(p.HeightMm), mm(p.RadiusMm), p.BeforeUm, p.AfterUm)
		}
		err = t.write(out, "csv", a.Units)
	default:
		_, err = fmt.Fprintln(out, answer.Svg)
	}
	if closing := out.Close(); err == nil {
		err = closing
	}
	return err
}
