package main

import (
	"io/fs"
	"math"
)

// coneEnergies reads an activation energy off each pair of a self-supporting cone's three published end points, on the
// assumption that a cone goes down when ∫exp(-E/RT)dt, which is (R T²/Eβ) exp(-E/RT) for a ramp of rate β, comes to a
// fixed amount:
//
//	E = R [ln(β2/β1) - 2 ln(T2/T1)] / (1/T1 - 1/T2)
//
// From the outer pair: the e-fold of the rate in K at the middle end point, R T²/E, and the hold there, in minutes,
// that equals the whole ramp at 60 °C/h, R T²/(Eβ).
func coneEnergies(repository fs.FS) (*table, error) {
	const path = "model/firing/cone_endpoints.csv"
	const R = 8.314462618 // J/(mol K), CODATA 2018
	rows, err := read(repository, path)
	if err != nil {
		return nil, err
	}
	type point struct{ β, T float64 } // °C/h, K
	points := map[string][]point{}
	var cones []string
	for _, r := range rows {
		if r["type"] != "self-supporting" {
			continue
		}
		β, err := r.number("rate_c_per_h")
		if err != nil {
			return nil, err
		}
		celsius, err := r.number("temperature_c")
		if err != nil {
			return nil, err
		}
		cone := r["cone"]
		if points[cone] == nil {
			cones = append(cones, cone)
		}
		points[cone] = append(points[cone], point{β, celsius + 273.15})
	}
	energy := func(p, q point) float64 {
		return R * (math.Log(q.β/p.β) - 2*math.Log(q.T/p.T)) / (1/p.T - 1/q.T)
	}
	t := &table{
		columns: []string{"cone", "E_15_60_kJmol", "E_60_150_kJmol", "E_15_150_kJmol", "efold_temperature_K", "equivalent_hold_min_at_60C_per_h"},
		source:  "computed from " + path + " (self-supporting cones); first-order Arrhenius heat work assumed",
	}
	for _, cone := range cones {
		p := points[cone]
		if len(p) < 3 {
			continue // 022 to 020 have no rate of 15 °C/h
		}
		E := energy(p[0], p[2])
		efold := R * p[1].T * p[1].T / E
		t.add(cone, rounded(energy(p[0], p[1])/1000, 0), rounded(energy(p[1], p[2])/1000, 0), rounded(E/1000, 0),
			rounded(efold, 1), rounded(efold/60*60, 1))
	}
	return t, nil
}
