package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"path"
	"slices"
	"strconv"
	"strings"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// planFlags are the combinations of a sheet: what may lie at each position, and in which firings.
type planFlags struct {
	Under  []string `placeholder:"GLAZES[:AMOUNT]" group:"Combinations" help:"What may lie next to the wall: ids, or patterns of them such as 'tarn-*' or '*', with an amount as in score. Several by commas."`
	Middle []string `placeholder:"GLAZES[:AMOUNT]" group:"Combinations" help:"What may lie on that, for three layers."`
	Over   []string `placeholder:"GLAZES[:AMOUNT]" group:"Combinations" help:"What may lie on top."`
	Firing []string `placeholder:"FIRINGS" group:"Combinations" help:"In which firings: ids or patterns."`
	Method string   `enum:",brush,dip,spray,pour" default:"" group:"Combinations" help:"How coats are put on: brush, dip, spray or pour. Default: brush."`
	Body   string   `placeholder:"BODY" group:"Combinations" help:"The clay body of all."`
	Kiln   string   `group:"Combinations" help:"Which kiln. Default: each firing's."`
	placementFlags
}

// plan reads the flags, and a file of choices if there is one.
func (f *planFlags) plan(a *app, file string) (*pb.SheetPlan, error) {
	p := &pb.SheetPlan{}
	switch {
	case strings.HasSuffix(file, ".csv"):
		positions, err := a.readChoices(file)
		if err != nil {
			return nil, err
		}
		p.Positions = positions
	case file != "":
		if err := a.readPlan(file, p); err != nil {
			return nil, err
		}
	}
	for _, position := range [][]string{f.Under, f.Middle, f.Over} {
		if len(position) == 0 {
			continue
		}
		if file != "" {
			return nil, faultf("The file says what lies where; --under, --middle and --over go without one.")
		}
		choices, err := a.choices(position, f.Method)
		if err != nil {
			return nil, err
		}
		p.Positions = append(p.Positions, &pb.SheetPosition{Choices: choices})
	}
	if len(p.Positions) == 0 {
		return nil, faultf("What is put on? Give --under and --over, a file, or --stored.")
	}
	if len(f.Firing) > 0 {
		firings, err := a.matching("firings", f.Firing)
		if err != nil {
			return nil, err
		}
		p.Firings = firings
	}
	if len(p.Firings) == 0 {
		return nil, faultf("How is it fired? Give --firing.")
	}
	placement, err := f.placement(a)
	if err != nil {
		return nil, err
	}
	if placement != nil {
		p.Placement = placement
	}
	if f.Kiln != "" {
		p.Kiln = f.Kiln
	}
	if f.Body != "" {
		p.Body, err = a.named("bodies", f.Body)
	}
	return p, err
}

// choices are the layers that patterns stand for.
func (a *app) choices(patterns []string, method string) ([]*pb.Layer, error) {
	var out []*pb.Layer
	for _, text := range patterns {
		called, _, _ := strings.Cut(text, ":")
		names := []string{called}
		if strings.ContainsAny(called, "*?[") {
			var err error
			if names, err = a.matching("glazes", names); err != nil {
				return nil, err
			}
		}
		for _, name := range names {
			layer, err := a.layer(name+strings.TrimPrefix(text, called), method)
			if err != nil {
				return nil, err
			}
			out = append(out, layer)
		}
	}
	return out, nil
}

// matching gives the names of the things in a collection that patterns match, each once.
func (a *app) matching(collection string, patterns []string) ([]string, error) {
	var out []string
	var all []string
	for _, pattern := range patterns {
		if !strings.ContainsAny(pattern, "*?[") {
			name, err := a.named(collection, pattern)
			if err != nil {
				return nil, err
			}
			out = append(out, name)
			continue
		}
		if all == nil {
			c, err := a.client()
			if err != nil {
				return nil, err
			}
			for m, err := range kindOf(collection).list(a, c, a.studioName()) {
				if err != nil {
					return nil, err
				}
				all = append(all, textField(m, "name"))
			}
		}
		found := false
		for _, name := range all {
			match, err := path.Match(pattern, idOf(name))
			if err != nil {
				return nil, fieldFault("pattern", strconv.Quote(pattern), "a pattern such as tarn-* or *-blue")
			}
			if match {
				found = true
				if !slices.Contains(out, name) {
					out = append(out, name)
				}
			}
		}
		if !found {
			return nil, faultf("%s matches none of the %d %s.", pattern, len(all), collection)
		}
	}
	return out, nil
}

// readPlan reads the JSON of a plan, or of a sheet that holds one.
func (a *app) readPlan(file string, p *pb.SheetPlan) error {
	text, err := a.text(file)
	if err != nil {
		return err
	}
	if bad := unmarshal(text, p); bad != nil {
		sheet := &pb.Sheet{}
		if unmarshal(text, sheet) != nil {
			return faultf("%s is not the JSON of a SheetPlan or of a Sheet: %v.", file, bad)
		}
		*p = pb.SheetPlan{Positions: sheet.Plan.GetPositions(), Body: sheet.Plan.GetBody(), Firings: sheet.Plan.GetFirings(), Placement: sheet.Plan.GetPlacement(), Kiln: sheet.Plan.GetKiln()}
	}
	return a.qualify(p.ProtoReflect())
}

// choiceColumns are the columns of a file of choices.
var choiceColumns = []string{"position", "glaze", "lot", "amount", "method"}

// readChoices reads choices from CSV: position (1 is next to the wall), glaze, and perhaps lot, amount (as in score) and method.
func (a *app) readChoices(file string) ([]*pb.SheetPosition, error) {
	all, err := a.text(file)
	if err != nil {
		return nil, err
	}
	r := csv.NewReader(bytes.NewReader(all))
	head, err := r.Read()
	if err != nil {
		return nil, faultf("%s has no header: %v.", file, err)
	}
	for _, h := range head {
		if !slices.Contains(choiceColumns, h) {
			return nil, faultf("%s has a column %q; allowed: %s.", file, h, strings.Join(choiceColumns, ", "))
		}
	}
	var positions []*pb.SheetPosition
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return positions, nil
		}
		if err != nil {
			return nil, faultf("%s: %v.", file, err)
		}
		line, _ := r.FieldPos(0)
		cell := func(column string) string {
			if i := slices.Index(head, column); i >= 0 {
				return strings.TrimSpace(row[i])
			}
			return ""
		}
		n, err := strconv.Atoi(cell("position"))
		if err != nil || n < 1 || n > 4 {
			return nil, faultf("%s, line %d: position is %q; allowed: 1 to 4, 1 is next to the wall.", file, line, cell("position"))
		}
		if _, known := methods[cell("method")]; !known {
			return nil, faultf("%s, line %d: method is %q; allowed: brush, dip, spray, pour.", file, line, cell("method"))
		}
		text := cell("glaze")
		if lot := cell("lot"); lot != "" {
			text += "/" + lot
		}
		if amount := cell("amount"); amount != "" {
			text += ":" + amount
		}
		layer, err := a.layer(text, cell("method"))
		if err != nil {
			return nil, faultf("%s, line %d: %s", file, line, sentenceOf(err))
		}
		for len(positions) < n {
			positions = append(positions, &pb.SheetPosition{})
		}
		positions[n-1].Choices = append(positions[n-1].Choices, layer)
	}
}
