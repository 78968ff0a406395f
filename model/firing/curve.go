package firing

import (
	"fmt"
	"math"

	"github.com/catchline/catchline/model/fault"
)

// window is how far below the peak (K) a film and a cone still feel the firing. Melts are thousands of times stiffer at
// its lower end.
const window = 300

// DefaultCoolingCPerHour is the rate (°C/h) of natural cooling from the peak. Common practice, no source: small
// electric kilns cool at 150 to 400 over the first 100 °C.
const DefaultCoolingCPerHour = 200

// Limits of the rate of cooling, °C/h.
const (
	MinCoolingCPerHour = 10
	MaxCoolingCPerHour = 2000
)

// MaxCelsius is the highest temperature of a curve, °C.
const MaxCelsius = 1450

// Point is a temperature at a time.
type Point struct {
	Seconds float64 // since the start
	Kelvin  float64
}

// Curve is the temperature of a kiln over time, linear between its points, down to at least 300 K below the peak.
type Curve struct {
	points []Point
	peak   int // the first point at the highest temperature
	// extrapolated is true if the peak is the end point of a cone at a rate outside the published ones.
	extrapolated bool
}

// newCurve makes a curve of points that ascend in time and are within the limits of temperature, and lets it cool at
// coolingCPerHour to 300 K below the peak. Errors are fault.Error values of cooling_c_per_h and start_c.
func newCurve(points []Point, coolingCPerHour float64) (*Curve, error) {
	if !(coolingCPerHour >= MinCoolingCPerHour && coolingCPerHour <= MaxCoolingCPerHour) {
		return nil, outside("cooling_c_per_h", coolingCPerHour, MinCoolingCPerHour, MaxCoolingCPerHour)
	}
	c := &Curve{points: points}
	for i, p := range points {
		if p.Kelvin > points[c.peak].Kelvin {
			c.peak = i
		}
	}
	peak := points[c.peak].Kelvin
	const rise = 100
	if peak-points[0].Kelvin < rise {
		return nil, &fault.Error{Field: "start_c", Value: fmt.Sprintf("%.1f with a peak of %.1f", points[0].Kelvin-zeroCelsius, peak-zeroCelsius),
			Limit: "at least 100 °C below the peak, as a cone and a glaze feel the last 100 °C"}
	}
	last := points[len(points)-1]
	if floor := peak - window; last.Kelvin > floor {
		c.points = append(c.points, Point{last.Seconds + (last.Kelvin-floor)/coolingCPerHour*3600, floor})
	}
	return c, nil
}

// Points lists the corners of the curve.
func (c *Curve) Points() []Point { return append([]Point{}, c.points...) }

// Thinned lists at most n corners (n is 3 or more), for a picture: the first, the peak, the last and others evenly
// spaced.
func (c *Curve) Thinned(n int) []Point {
	last := len(c.points) - 1
	if last < n {
		return c.Points()
	}
	// One is the peak, so n-1 are left for the ends and those between.
	out := make([]Point, 0, n)
	before := -1
	for k := range n - 1 {
		i := k * last / (n - 2)
		if before < c.peak && c.peak < i {
			out = append(out, c.points[c.peak])
		}
		out = append(out, c.points[i])
		before = i
	}
	return out
}

// PeakKelvin is the highest temperature.
func (c *Curve) PeakKelvin() float64 { return c.points[c.peak].Kelvin }

// Extrapolated is true if the peak is the end point of a cone at a rate outside the published ones.
func (c *Curve) Extrapolated() bool { return c.extrapolated }

// SecondsAbove gives the time that the curve spends above a temperature.
func (c *Curve) SecondsAbove(kelvin float64) float64 {
	sum := 0.0
	for i := 1; i < len(c.points); i++ {
		a, b := c.points[i-1], c.points[i]
		low, high := math.Min(a.Kelvin, b.Kelvin), math.Max(a.Kelvin, b.Kelvin)
		switch {
		case low > kelvin:
			sum += b.Seconds - a.Seconds
		case high > kelvin:
			sum += (b.Seconds - a.Seconds) * (high - kelvin) / (high - low)
		}
	}
	return sum
}

// coolingRate gives the mean rate of cooling (K/h) over the first 100 K below the peak, drop holds included: from the
// last moment at the peak to the last moment 100 K below it.
func (c *Curve) coolingRate() float64 {
	const fall = 100
	last := func(kelvin float64) float64 {
		for i := len(c.points) - 1; i > 0; i-- {
			a, b := c.points[i-1], c.points[i]
			if a.Kelvin >= kelvin && b.Kelvin < kelvin {
				return a.Seconds + (b.Seconds-a.Seconds)*(a.Kelvin-kelvin)/(a.Kelvin-b.Kelvin)
			}
		}
		return c.points[len(c.points)-1].Seconds
	}
	return fall / (last(c.PeakKelvin()-fall) - last(c.PeakKelvin())) * 3600
}
