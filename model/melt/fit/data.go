package main

import (
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/melt/internal/form"
)

// sample is one composition of the data with all its measurements.
type sample struct {
	x      [chem.NumNetworkOxides]float64
	group  int
	points []point
}

// point is one measurement: temperature (K) and log10(η/(Pa·s)), and the window it counts in.
type point struct {
	T, log10 float64
	window   int
}

// window is the window that any of a sample's points counts in.
func (s *sample) window() int {
	w := 0
	for _, p := range s.points {
		w = max(w, p.window)
	}
	return w
}

// inAir is what a point's log10 η would be with the sample's iron as it is in a melt made in air.
func (s *sample) inAir(p point) float64 {
	return p.log10 - form.FerrousEffect(s.x[chem.FeO], s.x[chem.Fe2O3])
}

// readData reads the viscosity data and gathers the rows of each composition, in the order of the file.
func readData(path string) ([]sample, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	for i := range chem.NumNetworkOxides {
		if rows[0][i] != chem.Oxide(i).String() {
			return nil, fmt.Errorf("%s: column %d is %q, not %q", path, i+1, rows[0][i], chem.Oxide(i))
		}
	}
	const columns = chem.NumNetworkOxides + 4
	index := map[[chem.NumNetworkOxides]float64]int{}
	var out []sample
	for n, r := range rows[1:] {
		var v [columns]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(r[i], 64); err != nil {
				return nil, fmt.Errorf("%s: line %d: %w", path, n+2, err)
			}
		}
		x := [chem.NumNetworkOxides]float64(v[:chem.NumNetworkOxides])
		k, ok := index[x]
		if !ok {
			k = len(out)
			index[x] = k
			out = append(out, sample{x: x, group: int(v[columns-2])})
		}
		out[k].points = append(out[k].points, point{v[columns-4], v[columns-3], int(v[columns-1])})
	}
	return out, nil
}

// folds deals the groups to n folds, the same way each time, and gives each sample's fold.
func folds(data []sample, n int) []int {
	fold := map[int]int{}
	var groups []int
	for _, s := range data {
		if _, ok := fold[s.group]; !ok {
			fold[s.group] = 0
			groups = append(groups, s.group)
		}
	}
	rng := rand.New(rand.NewPCG(20070131, 6))
	rng.Shuffle(len(groups), func(i, j int) { groups[i], groups[j] = groups[j], groups[i] })
	for i, g := range groups {
		fold[g] = i % n
	}
	out := make([]int, len(data))
	for i, s := range data {
		out[i] = fold[s.group]
	}
	return out
}

// split gives the samples outside and inside a fold.
func split(data []sample, fold []int, f int) (in, out []sample) {
	for i, s := range data {
		if fold[i] == f {
			out = append(out, s)
		} else {
			in = append(in, s)
		}
	}
	return in, out
}
