package risk

import (
	"strings"
	"testing"
)

func TestPlanShelvesSortsCountsAndWarns(t *testing.T) {
	plain := Cookie{Kind: Plain, Diameter: 0.100, Thickness: 0.008, CostPlain: 4}
	pieces := []Piece{
		{Label: "mugs", Count: 6, Shelf: 1, Exceed: 0.01, Word: Low, Tolerated: 0.05, Overflow: Overflow{Passes: 0.01}, Cookie: Cookie{CostNone: 0.5}},
		{Label: "vases", Count: 2, Shelf: 3, Exceed: 0.4, Word: High, Tolerated: 0.05, Overflow: Overflow{Passes: 0.4, Expected: 1e-6}, Cookie: plain},
		{Label: "bowls", Count: 3, Exceed: 0.1, Word: Moderate, Tolerated: 0.05, Overflow: Overflow{Passes: 0.1}, Cookie: plain},
		{Label: "bottle", Count: 1, Shelf: 2, Exceed: 0.9, Word: Severe, Tolerated: 0.05, Overflow: Overflow{Passes: 0.9, Expected: 1e-4},
			Cookie: Cookie{Kind: Dished, Diameter: 0.3, Thickness: 0.012, CostDished: 60, TooSmall: true, Spills: 0.5}},
	}
	p, err := PlanShelves(pieces)
	if err != nil {
		t.Fatal(err)
	}
	order := ""
	for _, l := range p.Lines {
		order += pieces[l.Index].Label + " "
	}
	if order != "bottle vases bowls mugs " {
		t.Error(order)
	}
	want := []CookieCount{{Plain, 0.100, 0.008, 5}, {Dished, 0.3, 0.012, 1}}
	if len(p.Cookies) != 2 || p.Cookies[0] != want[0] || p.Cookies[1] != want[1] || p.TotalCookies != 6 {
		t.Errorf("%+v", p.Cookies)
	}
	// By hand: 6·0.01 + 2·0.4 + 3·0.1 + 0.9 pieces; 6·0.5 + 2·4 + 3·4 + 60 of cost.
	if d := p.ExpectedOverFoot - 2.06; d*d > 1e-20 {
		t.Errorf("%g pieces", p.ExpectedOverFoot)
	}
	if d := p.ExpectedCost - 83; d*d > 1e-20 {
		t.Errorf("cost %g", p.ExpectedCost)
	}
	if !p.Lines[0].KeepLow || !p.Lines[0].LeaveBe || !p.Lines[1].KeepLow || p.Lines[1].LeaveBe || p.Lines[2].KeepLow || p.Lines[3].KeepLow {
		t.Errorf("%+v", p.Lines)
	}
	if len(p.Warnings) != 3 || !strings.Contains(p.Warnings[0], "vases on shelf 3 falls on mugs, bottle") {
		t.Errorf("%q", p.Warnings)
	}
}

func TestPlanShelvesRefuses(t *testing.T) {
	good := Piece{Label: "mug", Count: 1, Tolerated: 0.05}
	for name, change := range map[string]func(*Piece){
		"no label": func(p *Piece) { p.Label = "" },
		"no count": func(p *Piece) { p.Count = 0 },
		"shelf 21": func(p *Piece) { p.Shelf = 21 },
		"risk":     func(p *Piece) { p.Exceed = 1.1 },
		"passes":   func(p *Piece) { p.Overflow.Passes = -1 },
	} {
		p := good
		change(&p)
		if _, err := PlanShelves([]Piece{p}); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if _, err := PlanShelves(nil); err == nil {
		t.Error("no pieces: accepted")
	}
}
