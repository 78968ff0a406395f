package main

import (
	"fmt"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// What goes with an answer: what makes it less sure than it looks, and what to be careful of.

// tell tells on standard error what CSV has no room for.
func (a *app) tell(what string, sentences []string) {
	if a.Format != "csv" {
		return
	}
	for _, s := range sentences {
		fmt.Fprintln(a.err, what+": "+a.Units.Sentence(s))
	}
}

func (a *app) tellCautions(cautions []*pb.Caution) {
	var texts []string
	for _, c := range cautions {
		texts = append(texts, c.Text)
	}
	a.tell("Take care", texts)
}

func flagSentences(flags []*pb.Flag) []string {
	var out []string
	for _, f := range flags {
		out = append(out, f.Sentence)
	}
	return out
}

func sayFlags(p *printer, u units, sentences []string) {
	if len(sentences) == 0 {
		return
	}
	p.section("Less sure than it looks")
	for _, s := range sentences {
		p.indented("  ", u.Sentence(s))
	}
}

func sayCautions(p *printer, cautions []*pb.Caution) {
	if len(cautions) == 0 {
		return
	}
	p.section("Take care")
	for _, c := range cautions {
		p.indented("  ", c.Text)
	}
}

// lessSure says what makes a sheet's scores less sure, in lines.
func lessSure(flags []*pb.SheetFlag) []string {
	var lines []string
	for _, f := range flags {
		where := ""
		if f.Firing != "" {
			where = idOf(f.Firing) + ": "
		}
		lines = append(lines, where+f.Sentence)
	}
	return lines
}
