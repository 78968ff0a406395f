package firing

import (
	"fmt"
	"math"

	"github.com/catchline/catchline/model/fault"
)

// MaxWitnessShift is the largest correction by a witness cone, in K. More than that is no thermocouple's
// error but a wrong cone, curve or reading.
const MaxWitnessShift = 60

// HeatHistory is a firing reduced to what a film of glaze feels of it: the time spent at each temperature near the peak,
// the equivalent cone and the atmosphere. It is immutable and safe for concurrent use.
type HeatHistory struct {
	// Nodes stand for the time above 300 K below the peak, up and down: ∫f(T)dt ≈ Σ Seconds f(Kelvin), within 0.1 % for f a
	// fluidity of a melt.
	Nodes [NumNodes]Node
	// PeakKelvin is the highest temperature, after the witness cone's correction.
	PeakKelvin float64
	// EquivalentCone is the cone number, on the scale of self-supporting cones, that the firing amounts to.
	EquivalentCone float64
	// ReferenceKelvin is the mean temperature weighted by heat work; redox is evaluated there.
	ReferenceKelvin float64
	// WitnessShift is what the witness cone added to every temperature, K.
	WitnessShift float64
	// Extrapolated says that the peak comes from a cone's end point outside the published rates.
	Extrapolated bool
	// CoolingKPerHour is the mean rate of cooling over the first 100 K below the peak, drop holds included.
	CoolingKPerHour float64
	Atmosphere      Atmosphere

	kelvin, seconds [NumNodes]float64 // the nodes as columns
}

// WitnessCone is a cone that stood beside the ware, as it was read afterwards.
type WitnessCone struct {
	ConeType ConeType
	Number   float64 // cone number, see ParseConeNumber: 6.3 is a third of the way from cone 6 to cone 7
}

// NewHeatHistory reduces a curve. With a witness cone, all temperatures are shifted by one amount, so that the equivalent cone on the scale of
// its type is what was read; a shift beyond MaxWitnessShift is refused.
//
// Errors are fault.Error values of heat (too cool for cone 022, too hot for cone 14), witness_cone, atmosphere.kind
// and atmosphere.co2_to_co.
func NewHeatHistory(c *Curve, a Atmosphere, witness *WitnessCone) (*HeatHistory, error) {
	if err := a.check(); err != nil {
		return nil, err
	}
	w := newWork(c)
	shift := 0.0
	if witness != nil {
		var err error
		if shift, err = w.witnessShift(witness); err != nil {
			return nil, err
		}
	}
	h := &HeatHistory{
		Nodes:           reduce(dwell(c.points, c.PeakKelvin()-window)),
		PeakKelvin:      c.PeakKelvin() + shift,
		EquivalentCone:  w.coneNumber(SelfSupporting, shift),
		WitnessShift:    shift,
		Extrapolated:    c.extrapolated,
		CoolingKPerHour: c.coolingRate(),
		Atmosphere:      a,
	}
	if math.IsInf(h.EquivalentCone, 0) {
		return nil, &fault.Error{Field: "heat", Value: fmt.Sprintf("a firing to %.0f °C", h.PeakKelvin-zeroCelsius),
			Limit: "heat work from cone 022 (about 586 °C) to cone 14 (about 1365 °C)"}
	}
	energy := energyAt(h.EquivalentCone)
	sum, mean := 0.0, 0.0
	for i := range h.Nodes {
		n := &h.Nodes[i]
		n.Kelvin += shift
		weight := n.Seconds * math.Exp(-energy/gasConstant*(1/n.Kelvin-1/h.PeakKelvin))
		sum += weight
		mean += weight * n.Kelvin
	}
	h.ReferenceKelvin = mean / sum
	h.setColumns()
	return h, nil
}

// witnessShift finds the shift at which the firing reads what the witness cone did, by bisection to 1e-6 K.
func (w *work) witnessShift(witness *WitnessCone) (float64, error) {
	if witness.ConeType >= numConeTypes {
		return 0, &fault.Error{Field: "witness_cone.cone_type", Value: witness.ConeType.String(), Limit: "large, self-supporting or small"}
	}
	rungs := ladders()[witness.ConeType]
	low, high := rungs[0].number, rungs[len(rungs)-1].number
	if !(witness.Number >= low && witness.Number < high) {
		return 0, &fault.Error{Field: "witness_cone", Value: number(witness.Number),
			Limit: fmt.Sprintf("cone %s to below cone %s for %s cones", FormatConeNumber(low), FormatConeNumber(high), witness.ConeType)}
	}
	a, b := -float64(MaxWitnessShift), float64(MaxWitnessShift)
	if w.coneNumber(witness.ConeType, a) > witness.Number || w.coneNumber(witness.ConeType, b) < witness.Number {
		return 0, &fault.Error{Field: "witness_cone", Value: "cone " + FormatConeNumber(witness.Number) + w.reads(witness.ConeType),
			Limit: fmt.Sprintf("a cone that the curve reaches when it is corrected by at most %d °C", MaxWitnessShift)}
	}
	for b-a > 1e-6 {
		middle := (a + b) / 2
		if w.coneNumber(witness.ConeType, middle) < witness.Number {
			a = middle
		} else {
			b = middle
		}
	}
	return (a + b) / 2, nil
}

// reads says what the curve itself comes to, for an error.
func (w *work) reads(typ ConeType) string {
	n := w.coneNumber(typ, 0)
	switch {
	case math.IsInf(n, -1):
		return " while the curve is below every cone"
	case math.IsInf(n, 1):
		return " while the curve is above every cone"
	}
	return " while the curve comes to cone " + FormatConeNumber(n)
}

// Shifted gives the firing with every temperature moved by shift (K), which moves its equivalent cone by cones.
func (h *HeatHistory) Shifted(shift, cones float64) *HeatHistory {
	out := *h
	for i := range out.Nodes {
		out.Nodes[i].Kelvin += shift
	}
	out.PeakKelvin += shift
	out.ReferenceKelvin += shift
	out.EquivalentCone += cones
	out.setColumns()
	return &out
}
