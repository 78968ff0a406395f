package main

import (
	"fmt"
	"io"
	"strings"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

type scoreCommand struct {
	questionFlags
	Strict bool `help:"Exit with code 5 when the risk is above the tolerated one."`
}

// Run scores a layering.
func (s *scoreCommand) Run(a *app) error {
	r, err := s.request(a)
	if err != nil {
		return err
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	score, err := c.Scores.ScoreLayering(a, r)
	if err != nil {
		return err
	}
	a.tell("Less sure", flagSentences(score.Flags))
	a.tellCautions(score.Cautions)
	if err := a.show(score, func() *table { return scoreTable(a.Units, score) }, func(w io.Writer) error {
		return sayScore(w, a.Units, layers(r.Layering), score)
	}); err != nil {
		return err
	}
	if s.Strict && score.ExceedProbability > score.ToleratedRisk {
		return errRisk
	}
	return nil
}

// layers says what is put on in a line.
func layers(l *pb.Layering) string {
	var parts []string
	for _, one := range l.GetLayers() {
		glaze := shortOf(one.Glaze)
		if one.Lot != "" {
			glaze = shortOf(one.Lot)
		}
		switch amount := one.Amount.(type) {
		case *pb.Layer_Coats:
			parts = append(parts, fmt.Sprintf("%g × %s", amount.Coats, glaze))
		case *pb.Layer_ThicknessUm:
			parts = append(parts, fmt.Sprintf("%g µm %s", amount.ThicknessUm, glaze))
		case *pb.Layer_DryMassGPerCm2:
			parts = append(parts, fmt.Sprintf("%g g/cm² %s", amount.DryMassGPerCm2, glaze))
		default:
			parts = append(parts, "2 × "+glaze)
		}
	}
	return strings.Join(parts, ", then ")
}

// riskWords are the risk words; a sheet says one for each of its scores.
var riskWords = func() map[pb.Risk]string {
	words := map[pb.Risk]string{}
	for n := range pb.Risk_name {
		words[pb.Risk(n)] = word(pb.Risk(n), "RISK_")
	}
	return words
}()

func riskWord(r pb.Risk) string { return riskWords[r] }

// scoreTable is a score as one line for programs.
func scoreTable(u units, s *pb.Score) *table {
	t := &table{head: []string{
		u.column("median_run"), u.column("run_p10"), u.column("run_p90"), "exceed_probability", u.column("clearance"), u.column("clearance_needed"),
		"tolerated_risk", "risk", "cookie", "cookie_diameter_mm", "calibration",
	}}
	t.add(mm(s.MedianRunMm), mm(s.RunP10Mm), mm(s.RunP90Mm), percent(s.ExceedProbability), mm(s.ClearanceMm), mm(s.ClearanceNeededMm),
		percent(s.ToleratedRisk), riskWord(s.Risk), word(s.Foot.GetCookie(), "COOKIE_KIND_"), s.Foot.GetCookieDiameterMm(), idOf(s.Calibration))
	return t
}

// sayScore writes a score for people.
func sayScore(w io.Writer, u units, what string, s *pb.Score) error {
	p := &printer{w: w}
	p.line("%s", what)
	p.line("")
	p.line("Run       %s   80 %% of the time %s", u.Say(s.MedianRunMm), u.Between(s.RunP10Mm, s.RunP90Mm))
	p.line("Risk      %s   %s to run further than the clearance of %s", riskWord(s.Risk), sayPercent(s.ExceedProbability), u.Round(s.ClearanceMm))
	p.line("Leave     %s   of bare wall for a risk of %s", u.Say(s.ClearanceNeededMm), sayPercent(s.ToleratedRisk))
	if f := s.Foot; f != nil {
		p.line("Cookie    %s", sayCookie(u, f.Cookie, f.CookieDiameterMm, f.CookieThicknessMm))
		p.indented("          ", u.Sentence(f.Reason))
	}
	if len(s.Drivers) > 0 {
		p.section("What drives it")
		for _, d := range s.Drivers {
			p.line("  %s", u.Sentence(d.Sentence))
		}
	}
	if len(s.SoloRuns) > 0 {
		p.section("Each alone, as thick as all together")
		for _, r := range s.SoloRuns {
			p.line("  %s: %s (%s)", shortOf(r.Glaze), u.Say(r.MedianRunMm), u.Between(r.RunP10Mm, r.RunP90Mm))
		}
	}
	p.section("Evidence")
	sayEvidence(p, u, s)
	sayFlags(p, u, flagSentences(s.Flags))
	sayCautions(p, s.Cautions)
	return p.err
}

func sayEvidence(p *printer, u units, s *pb.Score) {
	e := s.Evidence
	if s.Calibration == "" {
		p.line("  The physics alone: no tile of this studio has been learnt from yet.")
		return
	}
	p.line("  Calibration %s of %s; %.1f tiles' worth stands behind this very score.", idOf(s.Calibration), counted(e.GetTiles(), "tile"), e.GetEffectiveTiles())
	for _, t := range e.GetMovedMost() {
		p.line("  %3.0f %%  %s  %s", 100*t.Weight, idOf(t.Tile), u.Sentence(t.Sentence))
	}
}

func sayCookie(u units, kind pb.CookieKind, diameter, thickness float64) string {
	if kind == pb.CookieKind_COOKIE_KIND_NONE || kind == pb.CookieKind_COOKIE_KIND_UNSPECIFIED {
		return "none"
	}
	return fmt.Sprintf("%s, %s across, %s thick", word(kind, "COOKIE_KIND_"), u.Round(diameter), u.Round(thickness))
}

// printer writes lines and keeps the first error.
type printer struct {
	w   io.Writer
	err error
}

func (p *printer) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}

func (p *printer) section(title string) {
	p.line("")
	p.line("%s", title)
}

// lineWidth is how wide a text may get.
const lineWidth = 110

// indented writes a text in lines that are not too wide.
func (p *printer) indented(indent, text string) {
	line := indent
	for _, one := range strings.Fields(text) {
		if len(line) > len(indent) && len(line)+1+len(one) > lineWidth {
			p.line("%s", line)
			line = indent
		}
		if len(line) > len(indent) {
			line += " "
		}
		line += one
	}
	if len(line) > len(indent) {
		p.line("%s", line)
	}
}
