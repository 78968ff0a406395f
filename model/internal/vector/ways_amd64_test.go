package vector

import "testing"

func ways() []way {
	all := []way{}
	for l, name := range []string{inPlainGo: "plain Go", withAVX2: "AVX2", withAVX512: "AVX-512"} {
		if level(l) <= best() {
			all = append(all, way{name, func(t *testing.T) {
				before := chosen
				chosen = level(l)
				t.Cleanup(func() { chosen = before })
			}})
		}
	}
	return all
}
