package api

import (
	"errors"
	"fmt"
	"strings"

	"github.com/catchline/catchline/model/firing"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

const (
	zeroCelsius  = 273.15
	coldKilnC    = 20
	nearPeak     = 100 // K below the peak that still count as near it
	curvePoints  = 400 // at most, in an answer
	perMinute    = 60
	unsureShiftC = 30 // from which on a witness cone's correction is worth a note
)

// firingCurve is the temperature over time of a plan, not yet corrected by a witness cone. Errors are *fault.Error or FieldErrors
// with paths in the plan, such as cone.hold_min.
func firingCurve(plan *pb.FiringPlan) (*firing.Curve, error) {
	cooling := float64(firing.DefaultCoolingCPerHour)
	if plan.CoolingCPerH != nil {
		cooling = *plan.CoolingCPerH
	}
	under := func(prefix string) func(string) string {
		return func(field string) string {
			if field == "cooling_c_per_h" {
				return field
			}
			return prefix + field
		}
	}
	switch {
	case plan.GetCone() != nil:
		c := plan.GetCone()
		f := firing.ConeFiring{
			Cone: c.Cone, ConeType: coneTypeOf(c.ConeType),
			FinalRampCPerH: firing.DefaultRampCPerHour, HoldMinutes: c.GetHoldMin(), DropC: c.GetDropC(),
			CoolingCPerHour: cooling,
		}
		if c.FinalRampCPerH != nil {
			f.FinalRampCPerH = *c.FinalRampCPerH
		}
		if f.DropC > 0 {
			f.DropHoldMinutes = c.GetDropHoldMin()
		}
		curve, err := f.Curve()
		return curve, renamed(err, under("cone."))
	case plan.GetSegments() != nil:
		s := firing.Schedule{StartC: coldKilnC, CoolingCPerHour: cooling}
		for _, g := range plan.GetSegments().Segments {
			s.Segments = append(s.Segments, firing.Segment{RampCPerHour: g.RampCPerH, TargetC: g.TargetC, HoldMinutes: g.HoldMin})
		}
		curve, err := s.Curve()
		return curve, renamed(err, under("segments."))
	case plan.GetLog() != nil:
		if err := checkWidth("log.csv", plan.GetLog().Csv, mostColumns); err != nil {
			return nil, err
		}
		readings, err := firing.ParseLog(strings.NewReader(plan.GetLog().Csv))
		if lines := (*firing.LogError)(nil); errors.As(err, &lines) {
			err = FieldErrors{Listed: lines.Faults, More: lines.More}.or()
		}
		asCSV := func(field string) string { return "log.csv" + strings.TrimPrefix(field, "log") }
		if err != nil {
			return nil, renamed(err, asCSV)
		}
		curve, err := firing.LogCurve(readings, cooling)
		return curve, renamed(err, func(field string) string {
			if field == "cooling_c_per_h" {
				return field
			}
			return asCSV(field)
		})
	}
	return nil, errors.New("a firing plan without heat")
}

// heatHistory works out the heat history of a firing plan. A witness cone of the tile itself replaces that of the plan; nil
// means that there is none. Errors are those of firingCurve; a bad witness cone of either is reported under witness_cone.
func heatHistory(plan *pb.FiringPlan, own *pb.WitnessCone) (*firing.HeatHistory, *firing.Curve, error) {
	curve, err := firingCurve(plan)
	if err != nil {
		return nil, nil, err
	}
	read := plan.WitnessCone
	if own != nil {
		read = own
	}
	var witness *firing.WitnessCone
	if read != nil {
		n, err := firing.ParseConeNumber(read.Cone)
		if err != nil {
			return nil, nil, renamed(err, func(string) string { return "witness_cone.cone" })
		}
		witness = &firing.WitnessCone{ConeType: coneTypeOf(read.ConeType), Number: n}
	}
	p, err := firing.NewHeatHistory(curve, atmosphereOf(plan.Atmosphere), witness)
	return p, curve, err
}

// heatWorkOf shows what a plan does.
func heatWorkOf(plan *pb.FiringPlan) (*pb.HeatWork, error) {
	p, curve, err := heatHistory(plan, nil)
	if err != nil {
		return nil, err
	}
	h := &pb.HeatWork{
		EquivalentCone:  firing.FormatConeNumber(p.EquivalentCone),
		PeakC:           p.PeakKelvin - zeroCelsius,
		WitnessShiftC:   p.WitnessShift,
		MinutesNearPeak: curve.SecondsAbove(curve.PeakKelvin()-nearPeak) / perMinute,
	}
	for _, point := range thinned(curve.Points()) {
		h.Curve = append(h.Curve, &pb.CurvePoint{Minutes: point.Seconds / perMinute, TemperatureC: point.Kelvin + p.WitnessShift - zeroCelsius})
	}
	if p.Extrapolated {
		h.Notes = append(h.Notes, "the cone's end point is read outside the rates that are published for it")
	}
	if s := p.WitnessShift; s > unsureShiftC || s < -unsureShiftC {
		h.Notes = append(h.Notes, fmt.Sprintf("the witness cone says that the kiln was %+.0f °C off; check the thermocouple and the cone that was read", s))
	}
	return h, nil
}

// thinned keeps the ends, the highest point and even steps between them of a curve that is too long to show.
func thinned(points []firing.Point) []firing.Point {
	if len(points) <= curvePoints {
		return points
	}
	highest := 0
	for i, p := range points {
		if p.Kelvin > points[highest].Kelvin {
			highest = i
		}
	}
	const even = curvePoints - 1
	var kept []firing.Point
	last := -1
	keep := func(i int) {
		if i > last {
			kept = append(kept, points[i])
			last = i
		}
	}
	for k := range even {
		i := k * (len(points) - 1) / (even - 1)
		if highest < i {
			keep(highest)
		}
		keep(i)
	}
	return kept
}

func coneTypeOf(t pb.ConeType) firing.ConeType {
	switch t {
	case pb.ConeType_CONE_TYPE_LARGE:
		return firing.Large
	case pb.ConeType_CONE_TYPE_SMALL:
		return firing.Small
	}
	return firing.SelfSupporting
}

func atmosphereOf(a *pb.Atmosphere) firing.Atmosphere {
	out := firing.Atmosphere{CO2ToCO: a.GetCo2ToCo()}
	switch a.GetKind() {
	case pb.AtmosphereKind_ATMOSPHERE_KIND_NEUTRAL:
		out.Kind = firing.Neutral
	case pb.AtmosphereKind_ATMOSPHERE_KIND_LIGHT_REDUCTION:
		out.Kind = firing.LightReduction
	case pb.AtmosphereKind_ATMOSPHERE_KIND_MEDIUM_REDUCTION:
		out.Kind = firing.MediumReduction
	case pb.AtmosphereKind_ATMOSPHERE_KIND_HEAVY_REDUCTION:
		out.Kind = firing.HeavyReduction
	}
	return out
}
