package firing

import (
	"fmt"

	"github.com/catchline/catchline/model/fault"
)

// DefaultRampCPerHour is the default rate of the last 100 °C: the middle one of the published table.
const DefaultRampCPerHour = 60

// Limits of a schedule.
const (
	MaxSegments           = 50
	MinSegmentRampCPerH   = 1
	MaxSegmentRampCPerH   = 2000
	MaxSegmentHoldMinutes = 2880
	MaxHoldMinutes        = 1440
	MaxDropC              = 400
)

// Segment is a ramp to a temperature and a hold there.
type Segment struct {
	RampCPerHour float64 // 1 to 2000; up or down follows from the target
	TargetC      float64 // 0 to 1450
	HoldMinutes  float64 // 0 to 2880
}

// Schedule is a firing by its segments.
type Schedule struct {
	StartC          float64 // temperature at which the first segment starts, 0 to 1450 °C; 20 is a cold kiln
	Segments        []Segment
	CoolingCPerHour float64 // after the last segment, 10 to 2000
}

// Curve works out the temperature over time. Errors are fault.Error values with paths such as segments[2].target_c.
func (s *Schedule) Curve() (*Curve, error) {
	if !(s.StartC >= 0 && s.StartC <= MaxCelsius) {
		return nil, outside("start_c", s.StartC, 0, MaxCelsius)
	}
	if len(s.Segments) == 0 || len(s.Segments) > MaxSegments {
		return nil, &fault.Error{Field: "segments", Value: fmt.Sprintf("%d segments", len(s.Segments)), Limit: fmt.Sprintf("1 to %d segments", MaxSegments)}
	}
	now := Point{0, s.StartC + zeroCelsius}
	points := []Point{now}
	for i, g := range s.Segments {
		field := fmt.Sprintf("segments[%d].", i)
		switch {
		case !(g.RampCPerHour >= MinSegmentRampCPerH && g.RampCPerHour <= MaxSegmentRampCPerH):
			return nil, outside(field+"ramp_c_per_h", g.RampCPerHour, MinSegmentRampCPerH, MaxSegmentRampCPerH)
		case !(g.TargetC >= 0 && g.TargetC <= MaxCelsius):
			return nil, outside(field+"target_c", g.TargetC, 0, MaxCelsius)
		case !(g.HoldMinutes >= 0 && g.HoldMinutes <= MaxSegmentHoldMinutes):
			return nil, outside(field+"hold_min", g.HoldMinutes, 0, MaxSegmentHoldMinutes)
		}
		points, now = ramp(points, now, g.TargetC+zeroCelsius, g.RampCPerHour)
		points, now = hold(points, now, g.HoldMinutes)
	}
	return newCurve(points, s.CoolingCPerHour)
}

// ConeFiring is a firing given by its cone: the last 300 °C at one rate to the cone's published end point for that
// rate, a hold there, a second hold below the peak, then cooling. A hold takes the firing beyond the cone that it is
// named for.
type ConeFiring struct {
	Cone            string // as the standard writes it: "06", "5.5", "6"
	ConeType        ConeType
	FinalRampCPerH  float64 // over the last 100 °C, 5 to 600
	HoldMinutes     float64 // at the peak, 0 to 1440
	DropC           float64 // how far below the peak the second hold is, 0 to 400; 0 for none
	DropHoldMinutes float64 // length of the second hold, 0 to 1440; 0 when there is no drop
	CoolingCPerHour float64 // to the drop and after it, 10 to 2000
}

// Curve works out the temperature over time. Errors are fault.Error values named as in the struct: cone,
// cone_type, final_ramp_c_per_h, hold_min, drop_c, drop_hold_min, cooling_c_per_h.
func (f *ConeFiring) Curve() (*Curve, error) {
	peak, extrapolated, err := ConeEndpoint(f.Cone, f.ConeType, f.FinalRampCPerH)
	if err != nil {
		return nil, err
	}
	switch {
	case !(f.HoldMinutes >= 0 && f.HoldMinutes <= MaxHoldMinutes):
		return nil, outside("hold_min", f.HoldMinutes, 0, MaxHoldMinutes)
	case !(f.DropC >= 0 && f.DropC <= MaxDropC):
		return nil, outside("drop_c", f.DropC, 0, MaxDropC)
	case !(f.DropHoldMinutes >= 0 && f.DropHoldMinutes <= MaxHoldMinutes):
		return nil, outside("drop_hold_min", f.DropHoldMinutes, 0, MaxHoldMinutes)
	case f.DropC == 0 && f.DropHoldMinutes > 0:
		return nil, &fault.Error{Field: "drop_hold_min", Value: number(f.DropHoldMinutes), Limit: "0 where drop_c is 0; a hold at the peak is hold_min"}
	case !(f.CoolingCPerHour >= MinCoolingCPerHour && f.CoolingCPerHour <= MaxCoolingCPerHour):
		return nil, outside("cooling_c_per_h", f.CoolingCPerHour, MinCoolingCPerHour, MaxCoolingCPerHour)
	}
	now := Point{0, peak - window}
	points := []Point{now}
	points, now = ramp(points, now, peak, f.FinalRampCPerH)
	points, now = hold(points, now, f.HoldMinutes)
	points, now = ramp(points, now, peak-f.DropC, f.CoolingCPerHour)
	points, _ = hold(points, now, f.DropHoldMinutes)
	c, err := newCurve(points, f.CoolingCPerHour)
	if err != nil {
		return nil, err
	}
	c.extrapolated = extrapolated
	return c, nil
}

// ramp adds the point at which a ramp of the given rate reaches a temperature.
func ramp(points []Point, now Point, kelvin, cPerHour float64) ([]Point, Point) {
	if kelvin == now.Kelvin {
		return points, now
	}
	rise := kelvin - now.Kelvin
	if rise < 0 {
		rise = -rise
	}
	now = Point{now.Seconds + rise/cPerHour*3600, kelvin}
	return append(points, now), now
}

// hold adds the end of a hold.
func hold(points []Point, now Point, minutes float64) ([]Point, Point) {
	if minutes == 0 {
		return points, now
	}
	now.Seconds += minutes * 60
	return append(points, now), now
}
