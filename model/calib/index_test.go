package calib

import (
	"fmt"
	"reflect"
	"testing"
)

// Tile by tile the index comes out as it does when it is made at once, whichever tile is added, and none is changed by another tile that is added to the
// same calibration.
func TestIndexGrowsWithTheLog(t *testing.T) {
	tiles := someTiles(2*maxWeighed+80, 3, 3)
	c, err := Fit(tiles[:2*maxWeighed], DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	tiles = tiles[2*maxWeighed:]
	for i := range 20 { // glazes that are new, with pairs of their own
		n, name := &tiles[4*i], fmt.Sprintf("new%d", i%4)
		n.Glazes = []Share{{Name: name, Weight: 0.5}, {Name: n.Glazes[0].Name, Weight: 0.5}}
		n.Pair = Share{Name: PairName(name, n.Glazes[1].Name), Weight: 1}
	}
	for i := range tiles {
		next, other := c, c
		for _, k := range []int{i + 1, i} {
			if other, err = other.Add(&tiles[k%len(tiles)]); err != nil {
				t.Fatal(err)
			}
		}
		if next, err = next.Add(&tiles[i]); err != nil {
			t.Fatal(err)
		}
		for _, c := range []*Calibration{c, next, other} {
			if want := c.newIndex(); !reflect.DeepEqual(c.index, want) {
				t.Fatalf("about tile %d more: %v, made at once %v", i, c.index, want)
			}
		}
		c = next
	}
	low, ok := c.core.find(Glaze, "new0")
	if !ok || len(c.index.tilesOf[int(NumEffects)+low]) != 5 {
		t.Error("the new glaze has not its five tiles")
	}
}
