// Command fit fits the viscosity model of package melt to the open data and writes its coefficients.
//
//	go run ./model/melt/fit              cross-validates, fits on all the data, writes coefficients and scores
//	go run ./model/melt/fit -table       cross-validates and prints the table only
//
// It runs from the top of the repository, in about ten minutes on two cores, and is deterministic: the same data on the
// same kind of processor give the same bits.
//
// Teachers of three kinds are fitted on the data: networks (train.go), a Gaussian process (process.go) and a quadratic
// form (quadratic.go). One more network is taught by their mean (ensemble.go); that one is the product. Folds are dealt
// by group and never by row, so that no near twin of a held-out melt is learnt from. Gross errors stay in the data;
// robust losses limit their pull. Nothing is screened by how well it is fitted.
//
// README.md has the errors on held-out melts, and what was tried.
package main

import (
	"errors"
	"flag"
	"fmt"
	"log"
	"os"
)

const (
	dataPath         = "testdata/published/melt_viscosity.csv"
	coefficientsPath = "model/melt/coefficients.go"
	scoresPath       = "model/melt/fit/scores.csv"
	numFolds         = 5
)

func main() {
	table := flag.Bool("table", false, "cross-validate and print the table, write nothing")
	flag.Parse()
	if err := run(*table); err != nil {
		log.Fatal(err)
	}
}

func run(tableOnly bool) error {
	data, err := readData(dataPath)
	if err != nil {
		return err
	}
	fold := folds(data, numFolds)
	missed, quick := make([][]outcome, numFolds), make([][]outcome, numFolds)
	failed := make([]error, numFolds)
	inParallel(numFolds, func(f int) {
		in, out := split(data, fold, f)
		for _, trial := range []struct {
			setup setup
			into  [][]outcome
		}{{fullSetup, missed}, {quickSetup, quick}} {
			n, err := fit(in, trial.setup)
			if err != nil {
				failed[f] = err
				return
			}
			trial.into[f] = predict(n, out, f)
		}
		fmt.Fprintf(os.Stderr, "fold %d of %d\n", f+1, numFolds)
	})
	if err := errors.Join(failed...); err != nil {
		return err
	}
	var all []outcome
	var scores []foldScore
	for f := range numFolds {
		scores = append(scores, scoresOf("full", f, missed[f])...)
		scores = append(scores, scoresOf("quick", f, quick[f])...)
		all = append(all, missed[f]...)
	}
	deviation, err := fitDeviation(all)
	if err != nil {
		return err
	}
	// The table's coverage is judged by deviations fitted on the other folds.
	sd := map[int]func(*outcome) float64{}
	for f := range numFolds {
		var others []outcome
		for _, o := range all {
			if o.fold != f {
				others = append(others, o)
			}
		}
		d, err := fitDeviation(others)
		if err != nil {
			return err
		}
		sd[f] = func(o *outcome) float64 { return d.SD(&o.signals) }
	}
	heldOutSD := func(o *outcome) float64 { return sd[o.fold](o) }
	report(os.Stdout, data, all, heldOutSD)
	if tableOnly {
		return nil
	}
	if err := writeScores(scoresPath, scores, coverages(all, heldOutSD)); err != nil {
		return err
	}
	n, err := fit(data, fullSetup)
	if err != nil {
		return err
	}
	return writeCoefficients(coefficientsPath, n, deviation, rangeOf(data, all))
}
