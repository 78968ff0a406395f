package api

import (
	"testing"

	"github.com/catchline/catchline/server/store"
)

// The forms are those of the contract's comments.
func TestKeyOf(t *testing.T) {
	for _, c := range []struct {
		kind store.Kind
		name string
		want store.Key // zero: not of the form
	}{
		{store.KindStudio, "studios/a", store.Key{Studio: store.System, ID: "a"}},
		{store.KindGlaze, "studios/a/glazes/b-1", store.Key{Studio: "a", ID: "b-1"}},
		{store.KindLot, "studios/a/glazes/b/lots/c", store.Key{Studio: "a", Parent: "b", ID: "c"}},
		{store.KindCalibration, "studios/a/calibrations/12", store.Key{Studio: "a", ID: "12"}},
	} {
		c.want.Kind = c.kind
		if got, ok := keyOf(c.name, c.kind); !ok || got != c.want || nameOf(got) != c.name {
			t.Errorf("%s: %+v, %t", c.name, got, ok)
		}
	}
	for kind, names := range map[store.Kind][]string{
		store.KindStudio:      {"", "a", "studios", "studios/", "studios/a/", "studios/a/b", "Studios/a", "studios/A", "studios/-a", "/studios/a", "studios/a b", "studios/é"},
		store.KindGlaze:       {"studios/a", "studios/a/", "studios/a/glazes", "studios/a/glazes/", "studios/a/glazes/b/", "studios/a/glazes/b/lots/c", "studios/a/firings/b", "studios//glazes/b", "studios/a/glazesb", "studios/a//glazes/b", "studios/a/glaze/b", "x/a/glazes/b"},
		store.KindLot:         {"studios/a/glazes/b", "studios/a/glazes/b/lots", "studios/a/glazes/b/lots/", "studios/a/glazes//lots/c", "studios/a/glazes/b/lots/c/d", "studios/a/firings/b/lots/c", "studios/a/glazes/b/lot/c", "studios/a/lots/c"},
		store.KindCalibration: {"studios/a/calibrations/0", "studios/a/calibrations/-1", "studios/a/calibrations/01", "studios/a/calibrations/+1", "studios/a/calibrations/x", "studios/a/calibrations/1/2"},
	} {
		for _, name := range names {
			if key, ok := keyOf(name, kind); ok {
				t.Errorf("%q is taken for a %s: %+v", name, kind, key)
			}
		}
	}
}
