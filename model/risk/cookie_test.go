package risk

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func decide(t testing.TB, f Overflow, change func(*Decision)) Cookie {
	t.Helper()
	d := Decision{Overflow: &f, FootDiameter: 0.080, CapillaryLength: 3.57e-3, Costs: DefaultCosts, Sizes: DefaultSizes}
	if change != nil {
		change(&d)
	}
	c, err := d.Cookie()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// certain is a foot over which exactly so much comes with a probability.
func certain(p, volume float64) Overflow {
	f := Overflow{Passes: p, Expected: p * volume, Volumes: []WeightedVolume{{p, volume}}}
	if p > 0.1 {
		f.P90 = volume
	}
	if p > 0.05 {
		f.Tolerated = volume
	}
	return f
}

func TestCookieCostsByHand(t *testing.T) {
	// 2 cm³ with probability 0.3. On the shelf: 0.3 (15 + 120 (1 - exp(-2/20)) + 0.7·30) = 14.226. On a plain cookie,
	// which must be 100 mm (80 mm foot and 10 mm all round) and then holds π/4 (100² - 80²) 3.57 mm³ = 10.1 cm³: 2 +
	// 0.3·0.25·30 = 4.25; dished 5 + 2.25 = 7.25.
	c := decide(t, certain(0.3, 2e-6), nil)
	if c.Kind != Plain || math.Abs(c.Diameter-0.100) > 1e-12 || math.Abs(c.Thickness-0.008) > 1e-12 || c.Spills != 0 || c.TooSmall {
		t.Errorf("%+v", c)
	}
	for name, pair := range map[string][2]float64{
		"none":   {c.CostNone, 0.3 * (15 + 120*(1-math.Exp(-0.1)) + 21)},
		"plain":  {c.CostPlain, 4.25},
		"dished": {c.CostDished, 7.25},
	} {
		if math.Abs(pair[0]-pair[1]) > 1e-9 {
			t.Errorf("%s costs %g, by hand %g", name, pair[0], pair[1])
		}
	}
	if !strings.Contains(c.Reason, "plain cookie of 100 mm") || !strings.Contains(c.Reason, "30 %") {
		t.Error(c.Reason)
	}
}

func TestCookieFollowsTheCosts(t *testing.T) {
	if c := decide(t, certain(0.01, 1e-6), nil); c.Kind != None || c.Spills != 0.01 {
		t.Errorf("hardly any risk: %+v", c)
	}
	// Cookies that cost more than the shelf are not used.
	if c := decide(t, certain(0.3, 2e-6), func(d *Decision) { d.Costs.PlainCookie, d.Costs.DishedCookie = 50, 50 }); c.Kind != None {
		t.Errorf("dear cookies: %+v", c)
	}
	// What only a dish holds asks for a dish: 60 cm³ on at most 150 mm.
	small := func(d *Decision) { d.Sizes.Diameters = []float64{0.100, 0.150} }
	if c := decide(t, certain(0.9, 60e-6), small); c.Kind != Dished || c.Diameter != 0.150 || c.Thickness != 0.012 || c.TooSmall {
		t.Errorf("60 cm³: %+v", c)
	}
	if c := decide(t, certain(0.9, 500e-6), small); !c.TooSmall || c.Spills != 0.9 || !strings.Contains(c.Reason, "No cookie that the studio makes") {
		t.Errorf("500 cm³: %+v", c)
	}
}

// What gets past a cookie costs as on the shelf. 12 cm³ with probability 0.04, which nobody asks a cookie to hold, on
// the plain one of 100 mm for 10.098 cm³: 2 + 0.04 (15 + 120 (1 - exp(-1.902/20)) + 0.7·30), by hand.
func TestCookieThatRunsOver(t *testing.T) {
	c := decide(t, certain(0.04, 12e-6), nil)
	past := 12 - math.Pi/4*(100*100-80*80)*3.57e-3
	if want := 2 + 0.04*(15+120*(1-math.Exp(-past/20))+21); math.Abs(c.CostPlain-want) > 1e-9 {
		t.Errorf("costs %g, by hand %g", c.CostPlain, want)
	}
}

func TestCookieIsAtLeastWiderThanTheFoot(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.Float64Range(0.06, 1).Draw(t, "p")
		v := math.Exp(rapid.Float64Range(-18, -9).Draw(t, "ln volume"))
		f := certain(p, v)
		d := Decision{Overflow: &f, FootDiameter: rapid.Float64Range(0.03, 0.2).Draw(t, "foot"), CapillaryLength: 3.57e-3, Costs: DefaultCosts, Sizes: DefaultSizes}
		c, err := d.Cookie()
		if err != nil {
			t.Fatal(err)
		}
		if c.Kind != None && !c.TooSmall && (c.Diameter < d.FootDiameter+0.0199 || c.Spills > 0) {
			t.Fatalf("%+v", c)
		}
		if least := min(c.CostNone, c.CostPlain, c.CostDished); least != map[CookieKind]float64{None: c.CostNone, Plain: c.CostPlain, Dished: c.CostDished}[c.Kind] {
			t.Fatalf("not the cheapest: %+v", c)
		}
	})
}

func TestCookieRefuses(t *testing.T) {
	f := certain(0.3, 2e-6)
	good := Decision{Overflow: &f, FootDiameter: 0.080, CapillaryLength: 3.57e-3, Costs: DefaultCosts, Sizes: DefaultSizes}
	for name, change := range map[string]func(*Decision){
		"minus cost":   func(d *Decision) { d.Costs.GrindShelf = -1 },
		"NaN cost":     func(d *Decision) { d.Costs.LoseWare = math.NaN() },
		"no sizes":     func(d *Decision) { d.Sizes = Sizes{} },
		"huge cookie":  func(d *Decision) { d.Sizes = Sizes{[]float64{5}, []float64{0.008}} },
		"no foot":      func(d *Decision) { d.FootDiameter = 0 },
		"no capillary": func(d *Decision) { d.CapillaryLength = math.NaN() },
	} {
		d := good
		change(&d)
		if c, err := d.Cookie(); err == nil {
			t.Errorf("%s: %+v", name, c)
		}
	}
}
