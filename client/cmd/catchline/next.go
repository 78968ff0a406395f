package main

import (
	"io"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

type nextCommand struct {
	File        string `arg:"" optional:"" help:"JSON of a sheet or its plan, or a CSV of choices: what may be fired."`
	Count       int32  `placeholder:"N" help:"How many tiles. Default: 5."`
	AllowRunOff bool   `help:"Allow tiles that would probably run off."`
	planFlags
}

// Run suggests tiles.
func (n *nextCommand) Run(a *app) error {
	plan, err := n.plan(a, n.File)
	if err != nil {
		return err
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	answer, err := c.Calibrations.SuggestTiles(a, &pb.SuggestTilesRequest{
		Parent: a.studioName(), Candidates: plan, Count: n.Count, AllowRunOff: n.AllowRunOff,
	})
	if err != nil {
		return err
	}
	a.tell("Less sure", lessSure(answer.Flags))
	a.tellCautions(answer.Cautions)
	return a.show(answer, func() *table {
		t := &table{head: []string{"layers", "firing", a.Units.column("median_run"), a.Units.column("run_p90"), "expected_gain", "sentence"}}
		for _, one := range answer.Tiles {
			t.add(layers(one.Layering), idOf(one.Firing), mm(one.MedianRunMm), mm(one.RunP90Mm), one.ExpectedGain, a.Units.Sentence(one.Sentence))
		}
		return t
	}, func(w io.Writer) error {
		p := &printer{w: w}
		for i, one := range answer.Tiles {
			p.line("%d. %s, in %s", i+1, layers(one.Layering), idOf(one.Firing))
			p.line("   will probably run %s, up to %s", a.Units.Say(one.MedianRunMm), a.Units.Say(one.RunP90Mm))
			p.indented("   ", a.Units.Sentence(one.Sentence))
		}
		if len(answer.Tiles) == 0 {
			p.line("No tile among these would say more of which side of the clearance they end on.")
		}
		p.line("")
		p.line("Combinations of which it is not sure on which side of the clearance they end: %.1f now, %.1f after.", answer.MisjudgedBefore, answer.MisjudgedAfter)
		sayFlags(p, a.Units, lessSure(answer.Flags))
		sayCautions(p, answer.Cautions)
		return p.err
	})
}
