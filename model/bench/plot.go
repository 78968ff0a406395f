package main

import (
	"fmt"
	"math"
	"os"
	"strings"
)

// panel is one picture of costs over sizes, both on logarithmic axes.
type panel struct {
	title  string
	across string // what the horizontal axis counts
	lines  []line
}

type line struct {
	name string
	x    []float64
	y    []float64 // µs
}

// Sizes of a panel in pixels.
const (
	plotWidth, plotHeight    = 460.0, 320.0
	left, right, top, bottom = 70.0, 20.0, 40.0, 55.0
	innerWidth, innerHeight  = plotWidth - left - right, plotHeight - top - bottom
	leastDecade              = 1.0
	ink, paper, gridInk      = "#222", "#fff", "#ddd"
)

// Told apart without colour too, by the form of their marks.
var strokes = []string{"#0b62a4", "#b3480b"}

// plot writes the panels side by side as an SVG file.
func plot(path string, panels []panel) error {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%.0f" height="%.0f" font-family="sans-serif" font-size="12" fill="%s">`+"\n",
		plotWidth*float64(len(panels)), plotHeight, ink)
	fmt.Fprintf(&b, `<rect width="100%%" height="100%%" fill="%s"/>`+"\n", paper)
	for i, p := range panels {
		fmt.Fprintf(&b, `<g transform="translate(%.0f 0)">`+"\n", plotWidth*float64(i))
		p.draw(&b)
		b.WriteString("</g>\n")
	}
	b.WriteString("</svg>\n")
	return os.WriteFile(path, []byte(b.String()), 0o644)
}

func (p *panel) draw(b *strings.Builder) {
	fromX, toX := decades(p.lines, func(l line) []float64 { return l.x })
	fromY, toY := decades(p.lines, func(l line) []float64 { return l.y })
	atX := func(v float64) float64 { return left + innerWidth*(math.Log10(v)-fromX)/(toX-fromX) }
	atY := func(v float64) float64 { return top + innerHeight*(1-(math.Log10(v)-fromY)/(toY-fromY)) }
	text := func(x, y float64, anchor, more, s string) {
		fmt.Fprintf(b, `<text x="%.1f" y="%.1f" text-anchor="%s"%s>%s</text>`+"\n", x, y, anchor, more, s)
	}
	rule := func(x1, y1, x2, y2 float64, colour string) {
		fmt.Fprintf(b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="%s"/>`+"\n", x1, y1, x2, y2, colour)
	}
	text(plotWidth/2, 22, "middle", ` font-weight="bold"`, p.title)
	for d := fromX; d <= toX; d++ {
		x := atX(math.Pow(10, d))
		rule(x, top, x, plotHeight-bottom, gridInk)
		text(x, plotHeight-bottom+18, "middle", "", fmt.Sprintf("%.0f", math.Pow(10, d)))
	}
	for d := fromY; d <= toY; d++ {
		y := atY(math.Pow(10, d))
		rule(left, y, plotWidth-right, y, gridInk)
		text(left-8, y+4, "end", "", fmt.Sprintf("%g", math.Pow(10, d)))
	}
	rule(left, plotHeight-bottom, plotWidth-right, plotHeight-bottom, ink)
	rule(left, top, left, plotHeight-bottom, ink)
	text(left+innerWidth/2, plotHeight-15, "middle", "", p.across)
	text(0, 0, "middle", fmt.Sprintf(` transform="translate(18 %.1f) rotate(-90)"`, top+innerHeight/2), "processor time of a score, µs")
	for i, l := range p.lines {
		colour := strokes[i%len(strokes)]
		var points []string
		for k := range l.x {
			points = append(points, fmt.Sprintf("%.1f,%.1f", atX(l.x[k]), atY(l.y[k])))
		}
		fmt.Fprintf(b, `<polyline points="%s" fill="none" stroke="%s" stroke-width="2"/>`+"\n", strings.Join(points, " "), colour)
		for k := range l.x {
			x, y := atX(l.x[k]), atY(l.y[k])
			if i%2 == 0 {
				fmt.Fprintf(b, `<circle cx="%.1f" cy="%.1f" r="4" fill="%s"/>`+"\n", x, y, colour)
			} else {
				fmt.Fprintf(b, `<rect x="%.1f" y="%.1f" width="8" height="8" fill="%s"/>`+"\n", x-4, y-4, colour)
			}
			text(x, y-9, "middle", fmt.Sprintf(` font-size="10" fill="%s"`, colour), fmt.Sprintf("%.3g", l.y[k]))
		}
		text(left+12, top+16+float64(i)*16, "start", fmt.Sprintf(` fill="%s"`, colour), []string{"● ", "■ "}[i%2]+l.name)
	}
}

// decades are whole powers of ten around all values, at least one.
func decades(lines []line, of func(line) []float64) (from, to float64) {
	from, to = math.Inf(1), math.Inf(-1)
	for _, l := range lines {
		for _, v := range of(l) {
			from, to = math.Min(from, math.Log10(v)), math.Max(to, math.Log10(v))
		}
	}
	from, to = math.Floor(from+1e-9), math.Ceil(to-1e-9)
	return from, math.Max(to, from+leastDecade)
}
