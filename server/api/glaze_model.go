package api

import (
	"github.com/catchline/catchline/model"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// glazeModel is a stored glaze as the model knows it.
func glazeModel(name string, g *pb.Glaze, own *rawMaterials) (*model.Glaze, error) {
	c, err := compositionOf(g, own)
	if err != nil {
		return nil, err
	}
	m, err := describedModel(name, g)
	if err != nil {
		return nil, err
	}
	if c != nil {
		m.Melt, m.LOI, m.Fluorine = &c.Melt, c.LOI, c.Fluorine
		m.Recipe = g.GetRecipe() != nil
	}
	return m, nil
}

// describedModel is what the model knows of a glaze beside its chemistry.
func describedModel(name string, g *pb.Glaze) (*model.Glaze, error) {
	from, to, err := coneRange(g)
	if err != nil {
		return nil, err
	}
	return &model.Glaze{
		Name: name, Surface: surfaceOf(g.GetSurface()), Behaviour: behaviourOf(g.GetDescribed().GetBehaviour()),
		ConeFrom: from, ConeTo: to, LOI: defaultLOI,
	}, nil
}

// lotModel is a lot as the model knows it: its own chemistry where it has one, else its glaze's.
func lotModel(glaze, lot string, g *pb.Glaze, l *pb.Lot, own *rawMaterials) (*model.Glaze, error) {
	m, err := glazeModel(glaze, g, own)
	if err != nil {
		return nil, err
	}
	m.Lot = lot
	if l.GetChemistry() == nil {
		return m, nil
	}
	c, err := compositionOf(l, own)
	if err != nil {
		return nil, err
	}
	m.Melt, m.LOI, m.Fluorine = &c.Melt, c.LOI, c.Fluorine
	m.Recipe = l.GetRecipe() != nil
	return m, nil
}

// modelOfTheDay is a glaze as it was when its tile was logged.
func modelOfTheDay(day *pb.GlazeOfTheDay) (*model.Glaze, error) {
	g, err := glazeOfTheDay(day)
	if err != nil {
		return nil, err
	}
	m, err := describedModel(day.GetGlaze(), g)
	if err != nil {
		return nil, err
	}
	m.Lot = day.GetLot()
	if len(day.GetMoleFractions()) > 0 {
		melt, err := meltOf(day.GetMoleFractions())
		if err != nil {
			return nil, err
		}
		m.Melt, m.LOI = &melt, g.GetComposition().GetLoiPercent()/100
	}
	return m, nil
}
