package firing

import (
	"fmt"
	"math"

	"github.com/catchline/catchline/model/fault"
)

// MaxWitnessShift is the largest correction by a witness cone (K). A larger one is no error of a thermocouple but a
// wrong cone, curve or reading.
const MaxWitnessShift = 60

// HeatHistory is a firing reduced to what a film of glaze feels of it: the time spent at each temperature near the
// peak, the equivalent cone and the atmosphere. It is immutable and safe for concurrent use.
type HeatHistory struct {
	// Nodes are a quadrature over the time that the kiln spends within 300 K of the peak, on the way up and down:
	// ∫f(T)dt ≈ Σ Seconds f(Kelvin), within 0.1 % if f is the fluidity of a melt.
	Nodes [NumNodes]Node
	// PeakKelvin is the highest temperature, with the correction by the witness cone.
	PeakKelvin float64
	// EquivalentCone is the self-supporting cone that this firing just bends, as a cone number from -21 to 14.
	EquivalentCone float64
	// ReferenceKelvin is the mean temperature, weighted by heat work. The redox state is that at this temperature.
	ReferenceKelvin float64
	// Witnessed says that a witness cone was read.
	Witnessed bool
	// WitnessShift is what the witness cone added to every temperature, K.
	WitnessShift float64
	// Extrapolated is true if the peak is the end point of a cone at a rate outside the published ones.
	Extrapolated bool
	// CoolingKPerHour is the mean rate of cooling over the first 100 K below the peak, drop holds included.
	CoolingKPerHour float64
	Atmosphere      Atmosphere

	kelvin, seconds [NumNodes]float64 // the nodes as columns
}

// WitnessCone is the reading of a cone that stood beside the ware.
type WitnessCone struct {
	ConeType ConeType
	Number   float64 // cone number, see ParseConeNumber: 6.3 is a third of the way from cone 6 to cone 7
}

// NewHeatHistory reduces a curve. With a witness cone it shifts all temperatures by one amount, so that the equivalent
// cone on the scale of the witness cone's type is the one that was read. It refuses a shift of more than
// MaxWitnessShift.
//
// Errors are fault.Error values of heat (too cool for cone 022, too hot for cone 14), witness_cone, atmosphere.kind and
// atmosphere.co2_to_co.
func NewHeatHistory(c *Curve, a Atmosphere, witness *WitnessCone) (*HeatHistory, error) {
	if err := a.check(); err != nil {
		return nil, err
	}
	v := newConeView(c)
	shift := 0.0
	if witness != nil {
		var err error
		if shift, err = v.witnessShift(witness); err != nil {
			return nil, err
		}
	}
	h := &HeatHistory{
		Nodes:           gaussRule(dwell(c.points, c.PeakKelvin()-window)),
		PeakKelvin:      c.PeakKelvin() + shift,
		EquivalentCone:  v.coneNumber(SelfSupporting, shift),
		Witnessed:       witness != nil,
		WitnessShift:    shift,
		Extrapolated:    c.extrapolated,
		CoolingKPerHour: c.coolingRate(),
		Atmosphere:      a,
	}
	if math.IsInf(h.EquivalentCone, 0) {
		return nil, &fault.Error{Field: "heat", Value: fmt.Sprintf("a firing to %.0f °C", h.PeakKelvin-zeroCelsius),
			Limit: "heat work from cone 022 (about 586 °C) to cone 14 (about 1365 °C)"}
	}
	for i := range h.Nodes {
		h.Nodes[i].Kelvin += shift
	}
	h.ReferenceKelvin = meanKelvin(h.Nodes[:], energyAt(h.EquivalentCone), h.PeakKelvin)
	h.setColumns()
	return h, nil
}

// meanKelvin gives the mean temperature of nodes, each weighted by its heat work for an activation energy E (J/mol).
func meanKelvin(nodes []Node, E, peak float64) float64 {
	sum, mean := 0.0, 0.0
	for _, n := range nodes {
		w := n.Seconds * math.Exp(-E/gasConstant*(1/n.Kelvin-1/peak))
		sum += w
		mean += w * n.Kelvin
	}
	return mean / sum
}

// witnessShift finds the shift (K) at which the firing reads as the witness cone did, by bisection to 1e-6 K.
func (v *coneView) witnessShift(witness *WitnessCone) (float64, error) {
	if witness.ConeType >= numConeTypes {
		return 0, &fault.Error{Field: "witness_cone.cone_type", Value: witness.ConeType.String(), Limit: "large, self-supporting or small"}
	}
	scale := coneScales()[witness.ConeType]
	low, high := scale[0].number, scale[len(scale)-1].number
	if !(witness.Number >= low && witness.Number < high) {
		return 0, &fault.Error{Field: "witness_cone", Value: number(witness.Number),
			Limit: fmt.Sprintf("cone %s to below cone %s for %s cones", FormatConeNumber(low), FormatConeNumber(high), witness.ConeType)}
	}
	a, b := -float64(MaxWitnessShift), float64(MaxWitnessShift)
	if v.coneNumber(witness.ConeType, a) > witness.Number || v.coneNumber(witness.ConeType, b) < witness.Number {
		return 0, &fault.Error{Field: "witness_cone", Value: "cone " + FormatConeNumber(witness.Number) + v.reads(witness.ConeType),
			Limit: fmt.Sprintf("a cone that the curve reaches when it is corrected by at most %d °C", MaxWitnessShift)}
	}
	for b-a > 1e-6 {
		middle := (a + b) / 2
		if v.coneNumber(witness.ConeType, middle) < witness.Number {
			a = middle
		} else {
			b = middle
		}
	}
	return (a + b) / 2, nil
}

// reads words the cone that the uncorrected curve reads, for an error.
func (v *coneView) reads(typ ConeType) string {
	n := v.coneNumber(typ, 0)
	switch {
	case math.IsInf(n, -1):
		return " while the curve is below every cone"
	case math.IsInf(n, 1):
		return " while the curve is above every cone"
	}
	return " while the curve comes to cone " + FormatConeNumber(n)
}

// Shifted gives the heat history with shift (K) added to every temperature, where that adds so many cones to its
// equivalent cone.
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

// KilnSD is the standard deviation in K of how far the kiln was off the curve at the ware: 5 K (common practice, no
// source). A witness cone beside the ware, read to a fifth of a cone, leaves 2 K (ours).
func (p *HeatHistory) KilnSD() float64 {
	if p.Witnessed {
		return 2
	}
	return 5
}
