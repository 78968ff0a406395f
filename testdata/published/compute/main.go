// Command compute works out the check values of testdata/published that follow from other tables there: densities from
// partial molar volumes, surface tensions from factors, iron redox from coefficients, activation energies from the end
// points of cones.
//
//	go run ./testdata/published/compute
//
// It imports nothing of package model, reads its coefficients from the tables and has the formulas written out a second
// time, so that the model's tests compare two programs. A test here holds the committed tables to what it computes.
package main

import (
	"io/fs"
	"log"
	"os"
	"path/filepath"
)

// published is where the tables lie, seen from the root of the repository.
const published = "testdata/published/"

func main() {
	if err := run("."); err != nil {
		log.Fatal(err)
	}
}

// run writes every computed table of the repository whose root is given.
func run(root string) error {
	for name, compute := range computed {
		t, err := compute(os.DirFS(root))
		if err != nil {
			return err
		}
		text, err := t.text()
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(root, published, name), text, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// computed lists the tables that this program writes, each from the tables of a repository.
var computed = map[string]func(fs.FS) (*table, error){
	"melt_density_check.csv":    densities,
	"surface_tension_check.csv": surfaceTensions,
	"iron_redox_check.csv":      redoxStates,
	"cone_arrhenius.csv":        coneEnergies,
}
