package vector

import "testing"

func ways() []way {
	set := func(to bool) func(*testing.T) {
		return func(t *testing.T) {
			before := withAVX2
			withAVX2 = to
			t.Cleanup(func() { withAVX2 = before })
		}
	}
	all := []way{{"plain Go", set(false)}}
	if withAVX2 {
		all = append(all, way{"AVX2", set(true)})
	}
	return all
}
