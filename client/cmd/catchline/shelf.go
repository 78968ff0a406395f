package main

import (
	_ "embed"
	"html/template"
	"io"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

type shelfCommand struct {
	File   string `arg:"" help:"JSON of the kiln load, such as testdata/demo/shelf.json; - is the standard input."`
	Firing string `placeholder:"FIRING" help:"A stored firing in place of the file's."`
	HTML   bool   `name:"html" help:"Write a page to print."`
	Out    string `short:"o" default:"-" placeholder:"FILE" help:"File to write; - is the standard output. Default: ${default}."`
}

// Run plans a kiln load.
func (s *shelfCommand) Run(a *app) error {
	r := &pb.PlanShelfRequest{}
	if err := a.readJSON(s.File, r); err != nil {
		return err
	}
	if s.Firing != "" {
		r.FiringSource = &pb.PlanShelfRequest_Firing{Firing: s.Firing}
	}
	if err := a.qualify(r.ProtoReflect()); err != nil {
		return err
	}
	r.Parent = a.studioName()
	c, err := a.client()
	if err != nil {
		return err
	}
	plan, err := c.Scores.PlanShelf(a, r)
	if err != nil {
		return err
	}
	out, err := a.output(s.Out)
	if err != nil {
		return err
	}
	switch {
	case s.HTML:
		err = shelfPage.Execute(out, shelfView{plan, a.Units, r})
	case a.Format == "json":
		err = writeJSON(out, plan)
	case a.Format == "csv":
		a.tell("Mind", plan.Warnings)
		for _, l := range plan.Lines {
			a.tell("Less sure: "+l.Label, flagSentences(l.Score.GetFlags()))
		}
		a.tellCautions(plan.Cautions)
		err = shelfTable(a.Units, plan).write(out, "csv", a.Units)
	default:
		err = sayShelf(out, a.Units, plan)
	}
	if closing := out.Close(); err == nil {
		err = closing
	}
	return err
}

// shelfTable is a plan as lines, the riskiest first.
func shelfTable(u units, plan *pb.PlanShelfResponse) *table {
	t := &table{head: []string{"piece", "count", "risk", "exceed_probability", "over_foot_probability", u.column("median_run"), u.column("run_p90"), u.column("clearance"),
		"cookie", u.column("cookie"), "keep_low", "shelf", "advice"}}
	for _, l := range plan.Lines {
		f := l.Score.GetFoot()
		shelf := "any"
		if l.Shelf > 0 {
			shelf = spoken(l.Shelf, u)
		}
		t.add(l.Label, l.Count, riskWord(l.Score.GetRisk()), percent(l.Score.GetExceedProbability()), percent(f.GetOverFootProbability()),
			mm(l.Score.GetMedianRunMm()), mm(l.Score.GetRunP90Mm()), mm(l.Score.GetClearanceMm()),
			word(f.GetCookie(), "COOKIE_KIND_"), mm(f.GetCookieDiameterMm()), yesNo(l.KeepLow), shelf, u.Sentence(l.Advice))
	}
	return t
}

// sayShelf writes a plan for people.
func sayShelf(w io.Writer, u units, plan *pb.PlanShelfResponse) error {
	t := shelfTable(u, plan)
	for i := range t.rows {
		t.rows[i] = t.rows[i][:len(t.rows[i])-1] // the advice follows below
	}
	t.head = t.head[:len(t.head)-1]
	if err := t.write(w, "table", u); err != nil {
		return err
	}
	p := &printer{w: w}
	p.section("What to do")
	for _, l := range plan.Lines {
		p.indented("  ", l.Label+": "+u.Sentence(l.Advice))
		for _, f := range l.Score.GetFlags() {
			p.indented("    ", "Less sure: "+u.Sentence(f.Sentence))
		}
	}
	p.section("Cookies to make")
	for _, c := range plan.Cookies {
		p.line("  %d × %s", c.Count, sayCookie(u, c.Kind, c.DiameterMm, c.ThicknessMm))
	}
	p.line("  %d in all; glaze is expected to reach the foot of %.1f pieces.", plan.TotalCookies, plan.ExpectedOverFoot)
	if len(plan.Warnings) > 0 {
		p.section("Mind")
		for _, text := range plan.Warnings {
			p.indented("  ", u.Sentence(text))
		}
	}
	sayCautions(p, plan.Cautions)
	return p.err
}

//go:embed shelf.html
var shelfHTML string

// shelfView is what the page to print shows.
type shelfView struct {
	Plan    *pb.PlanShelfResponse
	Units   units
	Request *pb.PlanShelfRequest
}

// Firing is what the load is fired by.
func (v shelfView) Firing() string {
	if f := v.Request.GetFiring(); f != "" {
		return idOf(f)
	}
	return "cone " + v.Request.GetFiringPlan().GetCone().GetCone()
}

var shelfPage = template.Must(template.New("shelf").Funcs(template.FuncMap{
	"risk":    riskWord,
	"percent": sayPercent,
	"cookie":  sayCookie,
	"id":      idOf,
}).Parse(shelfHTML))
