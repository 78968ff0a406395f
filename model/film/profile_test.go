package film

import (
	"errors"
	"math"
	"testing"

	"github.com/catchline/catchline/model/fault"
)

func TestProfileOfACone(t *testing.T) {
	// Frustum 30 mm high, radius 40 mm at the foot and 80 at the rim: slant 50 mm, lateral area π(40+80)·50 mm² (by hand).
	p, err := NewProfile([]Point{{0.010, 0.040}, {0.040, 0.080}})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "slant", p.Length(), 0.050, 1e-12)
	within(t, "area", p.Area(0, p.Length()), math.Pi*0.120*0.050, 1e-12)
	within(t, "sine of the slope", p.SinSlope(0.02), 0.6, 1e-12)
	within(t, "radius half way", p.At(0.025).Radius, 0.060, 1e-12)
	along, err := p.Along(0.015)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "place of half the height", along, 0.025, 1e-12)
}

// The frustum's line goes up by 30 mm and out by 40: a 3-4-5 triangle, by hand.
func TestNormalPointsOutOfTheWall(t *testing.T) {
	p, err := NewProfile([]Point{{0.010, 0.040}, {0.040, 0.080}})
	if err != nil {
		t.Fatal(err)
	}
	n := p.Normal(0.025)
	within(t, "up", n.Height, -0.8, 1e-12)
	within(t, "out", n.Radius, 0.6, 1e-12)
	tile, err := Tile(0.1, 0.05, math.Pi/2)
	if err != nil || p.IsSlab() || !tile.IsSlab() {
		t.Errorf("a turned wall is a slab (%v), or a tile is none (%v): %v", p.IsSlab(), !tile.IsSlab(), err)
	}
}

func TestProfileRefusesNonsense(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		points []Point
		field  string
	}{
		"one point":         {[]Point{{0, 0.05}}, "points"},
		"NaN":               {[]Point{{0, 0.05}, {nan, 0.05}}, "points[1].height"},
		"inside out":        {[]Point{{0, 0.05}, {0.1, -0.05}}, "points[1].radius"},
		"too large":         {[]Point{{0, 0.05}, {4.5, 0.05}}, "points[1].height"},
		"repeated":          {[]Point{{0, 0.05}, {0.1, 0.05}, {0.1, 0.05}}, "points[2]"},
		"below the foot":    {[]Point{{0, 0.05}, {-0.01, 0.06}, {0.1, 0.05}}, "points[1].height"},
		"rim at foot level": {[]Point{{0, 0.05}, {0, 0.1}}, "points[1].height"},
		"foot on the axis":  {[]Point{{0, 0}, {0.1, 0.05}}, "points[0].radius"},
		"waist on the axis": {[]Point{{0, 0.05}, {0.1, 0}, {0.2, 0.05}}, "points[1].radius"},
		"crossing":          {[]Point{{0, 0.05}, {0.10, 0.05}, {0.10, 0.10}, {0.05, 0.02}, {0.2, 0.02}}, "points[3]"},
		"comes back":        {[]Point{{0, 0.05}, {0.1, 0.05}, {0.1, 0.1}, {0.05, 0.05}}, "points[3]"},
	} {
		_, err := NewProfile(c.points)
		var field *fault.Error
		if !errors.As(err, &field) || field.Field != c.field {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := NewProfile(make([]Point, MaxProfilePoints+1)); err == nil {
		t.Error("too many points accepted")
	}
}

// A gutter 10 mm wide and 5 mm deep with upright walls around a cylinder of 40 mm radius holds π(50²-40²)·5 mm³ (by hand).
func TestGutterHoldsItsVolume(t *testing.T) {
	if _, err := NewProfile([]Point{{0, 0.050}, {0.020, 0.050}, {0.015, 0.0500001}, {0.015, 0.040}, {0.1, 0.040}}); err == nil {
		t.Fatal("a gutter that cuts its own wall is accepted")
	}
	p, err := NewProfile([]Point{{0, 0.051}, {0.020, 0.051}, {0.020, 0.050}, {0.015, 0.050}, {0.015, 0.040}, {0.1, 0.040}})
	if err != nil {
		t.Fatal(err)
	}
	ledges := p.Ledges(0)
	if len(ledges) != 1 {
		t.Fatalf("%d ledges", len(ledges))
	}
	within(t, "gutter", ledges[0].Holds, math.Pi*(0.050*0.050-0.040*0.040)*0.005, 1e-9)
}

// A catch line cut level 2 mm into a wall of 40 mm radius holds half a cylinder, π/8·2 mm thick on average, over π(40²-38²) mm²,
// twice since a bead also hangs at its upper edge; with a puddle of 0.5 mm it holds that (by hand).
func TestCatchLineHoldsABead(t *testing.T) {
	p, err := NewProfile([]Point{{0, 0.040}, {0.010, 0.040}, {0.010, 0.038}, {0.012, 0.038}, {0.012, 0.040}, {0.1, 0.040}})
	if err != nil {
		t.Fatal(err)
	}
	ledges := p.Ledges(1.5e-3)
	if len(ledges) != 2 {
		t.Fatalf("%d ledges", len(ledges))
	}
	ring := math.Pi * (0.040*0.040 - 0.038*0.038)
	within(t, "lower edge", ledges[0].Holds, ring*math.Pi/8*2e-3, 1e-9)
	within(t, "upper edge", ledges[1].Holds, ring*math.Pi/8*2e-3, 1e-9)
	within(t, "thin puddle", p.Ledges(0.5e-3)[0].Holds, ring*0.5e-3, 1e-9)
}

func TestShapes(t *testing.T) {
	shapes := map[string]func() (*Profile, error){
		"tile":     func() (*Profile, error) { return Tile(0.12, 0.05, math.Pi/3) },
		"cylinder": func() (*Profile, error) { return Cylinder(0.12, 0.08) },
		"bowl":     func() (*Profile, error) { return Bowl(0.08, 0.07, 0.16) },
		"plate":    func() (*Profile, error) { return Plate(0.03, 0.008, 0.14, 0.26) },
		"bottle":   func() (*Profile, error) { return Bottle(0.25, 0.1, 0.06, 0.07, 0.12, 0.03) },
	}
	for name, shape := range shapes {
		p, err := shape()
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if n := len(p.Ledges(1e-3)); n != 0 {
			t.Errorf("%s has %d ledges", name, n)
		}
	}
	tile, _ := shapes["tile"]()
	within(t, "tile's area", tile.Area(0, tile.Length()), 0.12*0.05, 1e-12)
	within(t, "tile's slope", tile.SinSlope(0.05), math.Sqrt(3)/2, 1e-12)
	for name, shape := range map[string]func() (*Profile, error){
		"no height":  func() (*Profile, error) { return Cylinder(0, 0.08) },
		"NaN":        func() (*Profile, error) { return Bowl(0.08, math.NaN(), 0.16) },
		"high foot":  func() (*Profile, error) { return Plate(0.03, 0.03, 0.14, 0.26) },
		"long neck":  func() (*Profile, error) { return Bottle(0.2, 0.1, 0.1, 0.07, 0.12, 0.03) },
		"level tile": func() (*Profile, error) { return Tile(0.1, 0.05, 0) },
	} {
		if _, err := shape(); err == nil {
			t.Errorf("%s accepted", name)
		}
	}
}
