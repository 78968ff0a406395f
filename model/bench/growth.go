package main

import (
	"fmt"
	"io"
	"strings"
)

// grow prints what a score costs in studios of more and more glazes and tiles, with a bar each, and plots it: flat is right.
func grow(record io.Writer, rounds int, picture string) error {
	var panels []panel
	for _, sizes := range []struct {
		what string
		of   func(n int) *studio
		n    []int
	}{
		{"glazes", func(n int) *studio { return invent(n, 400) }, []int{10, 100, 1000, 10000}},
		{"tiles", func(n int) *studio { return invent(200, n) }, []int{100, 1000, 10000, 100000}},
	} {
		var cases []oneCase
		for _, n := range sizes.n {
			s := sizes.of(n)
			cases = append(cases,
				oneCase{fmt.Sprintf("score, %d %s", n, sizes.what), 0, 1, single(s)},
				oneCase{fmt.Sprintf("explained, %d %s", n, sizes.what), 0, 1, full(s)})
		}
		ns := measure(record, rounds, cases)
		p := panel{title: "More " + sizes.what, across: sizes.what + " of the studio", lines: []line{{name: "score"}, {name: "explained score"}}}
		for i, v := range ns {
			l := &p.lines[i%2]
			l.x, l.y = append(l.x, float64(sizes.n[i/2])), append(l.y, v/1e3)
		}
		panels = append(panels, p)
		for i, c := range cases {
			fmt.Printf("%-28s %s\n", c.name, strings.Repeat("#", int(20*ns[i]/ns[i%2]+0.5)))
		}
		fmt.Println()
	}
	if picture == "" {
		return nil
	}
	return plot(picture, panels)
}
