package model_test

import (
	"fmt"
	"math"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/melt"
)

// How far three brushed coats of an invented gloss run on an upright test tile at cone 6, before any tile of the studio
// is logged. The numbers are the model's own and move with it; that one coat runs less does not.
func ExampleQuestion_Score() {
	score := func(coats float64) (*model.Score, error) {
		c, err := chem.FromSeger([]chem.Part{
			{Name: "Na2O", Amount: 0.2}, {Name: "K2O", Amount: 0.1}, {Name: "CaO", Amount: 0.55}, {Name: "MgO", Amount: 0.15},
			{Name: "Al2O3", Amount: 0.4}, {Name: "B2O3", Amount: 0.25}, {Name: "SiO2", Amount: 3.4},
		})
		if err != nil {
			return nil, err
		}
		glaze := &model.Glaze{Name: "harbour gloss", Melt: &c.Melt, Surface: melt.Gloss, ConeFrom: 6, ConeTo: 6}

		plan := firing.ConeFiring{
			Cone: "6", ConeType: firing.SelfSupporting, FinalRampCPerH: 60, HoldMinutes: 15, CoolingCPerHour: firing.DefaultCoolingCPerHour,
		}
		curve, err := plan.Curve()
		if err != nil {
			return nil, err
		}
		heat, err := firing.NewHeatHistory(curve, firing.Atmosphere{Kind: firing.Oxidation}, nil)
		if err != nil {
			return nil, err
		}
		fired, err := model.Fire(glaze, heat)
		if err != nil {
			return nil, err
		}

		thickness, err := film.Coats(film.Brush, coats, 1)
		if err != nil {
			return nil, err
		}
		wall, err := model.NewStraightWall(math.Pi/2, 0.060, 0.030, 0.050, 1) // a band of 60 mm over 30 mm of bare clay
		if err != nil {
			return nil, err
		}
		nothingLogged, err := calib.Fit(nil, calib.DefaultPrior())
		if err != nil {
			return nil, err
		}
		question := &model.Question{
			Layering:    model.Layering{Layers: []model.Layer{{Fired: fired, Thickness: thickness}}, Stirring: film.Usual.Stirring},
			Wall:        wall,
			Calibration: nothingLogged,
			Tolerated:   0.05, // accept running past the clearance one time in twenty
		}
		return question.Score(nil)
	}
	one, err := score(1)
	if err != nil {
		fmt.Println(err)
		return
	}
	three, err := score(3)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("three coats run further than one:", three.Median > one.Median)
	fmt.Println("and are more likely to pass the clearance:", three.Exceedance > one.Exceedance)
	fmt.Println("the median lies in its 80 % interval:", three.P10 < three.Median && three.Median < three.P90)
	// Output:
	// three coats run further than one: true
	// and are more likely to pass the clearance: true
	// the median lies in its 80 % interval: true
}
