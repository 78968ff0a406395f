package main

import (
	"encoding/csv"
	"io/fs"
	"os"
	"regexp"
	"strings"
	"testing"
)

var repository = os.DirFS("../../..")

// The committed tables are what this program computes.
func TestTablesAreCurrent(t *testing.T) {
	for name, compute := range computed {
		table, err := compute(repository)
		if err != nil {
			t.Fatal(err)
		}
		want, err := table.text()
		if err != nil {
			t.Fatal(err)
		}
		got, err := fs.ReadFile(repository, published+name)
		if err != nil {
			t.Fatal(err)
		}
		if string(got) != string(want) {
			t.Errorf("%s is not what its sources come to: go run ./testdata/published/compute, and look at what moved", name)
		}
	}
}

// Compositions, molar masses and the conversion to weight: the source prints the standard glasses in mol%, and their
// weight% beside it.
func TestWeightsOfStandardGlasses(t *testing.T) {
	m, err := readMelts(repository)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := read(repository, published+"standard_glass_compositions.csv")
	if err != nil {
		t.Fatal(err)
	}
	mass := map[string]float64{}
	for glass, x := range m.fractions {
		for oxide, v := range x {
			mass[glass] += v * m.molarMass[oxide]
		}
	}
	for _, r := range rows {
		want, err := r.number("wt_pct")
		if err != nil {
			t.Fatal(err)
		}
		got := 100 * m.fractions[r["glass"]][r["oxide"]] * m.molarMass[r["oxide"]] / mass[r["glass"]]
		if got < want-0.06 || got > want+0.06 {
			t.Errorf("%s holds %.3f %% of %s by weight, printed %.3f", r["glass"], got, r["oxide"], want)
		}
	}
}

var (
	saysComputed = regexp.MustCompile(`^computed (from|with|by)\b`)
	fileNamed    = regexp.MustCompile(`[\w./-]+\.(csv|md|go|json)\b`)
)

// Every file that a row of a table names is in the repository: beside the table, or at the path from the root. A source
// that begins with "computed from" names a file.
func TestSourcesAreInTheRepository(t *testing.T) {
	checked := 0
	err := fs.WalkDir(repository, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == "node_modules" || d.Name() == ".git" || d.Name() == "bin") {
			return fs.SkipDir
		}
		if !strings.HasSuffix(path, ".csv") {
			return nil
		}
		f, err := repository.Open(path)
		if err != nil {
			return err
		}
		defer f.Close()
		rows, err := csv.NewReader(f).ReadAll()
		if err != nil {
			t.Errorf("%s: %v", path, err)
			return nil
		}
		for _, row := range rows[1:] {
			for _, cell := range row {
				files := fileNamed.FindAllString(cell, -1)
				for _, file := range files {
					checked++
					if !exists(path[:strings.LastIndex(path, "/")+1]+file) && !exists(file) {
						t.Errorf("%s names %s, which is not in the repository: %q", path, file, cell)
					}
				}
				if len(files) == 0 && saysComputed.MatchString(cell) {
					t.Errorf("%s does not name the file it was computed from: %q", path, cell)
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if checked < 78 {
		t.Errorf("%d names of files seen", checked)
	}
}

func exists(path string) bool {
	_, err := fs.Stat(repository, path)
	return err == nil
}
