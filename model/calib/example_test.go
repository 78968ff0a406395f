package calib_test

import (
	"fmt"
	"math"

	"github.com/catchline/catchline/model/calib"
)

// Six tiles of an invented glaze that all ran twice as far as the physics says, in terms of the drive. The prediction
// for the next one follows them most of the way, since a little belief in the physics is left; without tiles it is that
// of the physics. It is surer, too.
func ExampleFit() {
	conditions := calib.Conditions{
		LnPhysics: math.Log(0.030), // the physics' drive, m
		PhysicsSD: 0.3,
		Features:  calib.Features{LnThickness: math.Log(0.4e-3)},
		Glazes:    []calib.Share{{Name: "harbour gloss", Weight: 1}},
		Kiln:      "small",
	}
	var tiles []calib.Tile
	for i := range 6 {
		tiles = append(tiles, calib.Tile{
			Name: fmt.Sprintf("tile-%d", i+1), Order: int64(i), Conditions: conditions,
			Reading: calib.Read(math.Log(0.060), 0.05, 20), // ln of the drive that a run of 20 mm shows, and its reading error
		})
	}
	predict := func(tiles []calib.Tile) (calib.Prediction, error) {
		c, err := calib.Fit(tiles, calib.DefaultPrior())
		if err != nil {
			return calib.Prediction{}, err
		}
		subject, err := c.Subject(&conditions)
		if err != nil {
			return calib.Prediction{}, err
		}
		return subject.Predict()
	}
	before, err := predict(nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	after, err := predict(tiles)
	if err != nil {
		fmt.Println(err)
		return
	}
	correction := math.Exp(after.Mean - before.Mean)
	fmt.Println("corrected upwards, by less than the factor of two that the tiles show:", correction > 1.5 && correction < 2)
	fmt.Println("surer than before:", after.Scale < before.Scale)
	// Output:
	// corrected upwards, by less than the factor of two that the tiles show: true
	// surer than before: true
}
