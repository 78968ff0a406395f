package api

import (
	"context"
	"errors"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/server/store"
)

// withoutDamaged takes apart the error of a scan: the records that had to be left out, and any other error.
func withoutDamaged(err error) (store.DamagedRecords, error) {
	var damaged store.DamagedRecords
	if errors.As(err, &damaged) {
		return damaged, nil
	}
	return nil, err
}

// firstOn is the first record of a page, damaged or not.
func firstOn(page *store.Page) (key store.Key, ok bool) {
	switch {
	case len(page.Records) > 0:
		return page.Records[0].Key, true
	case len(page.Damaged) > 0:
		return page.Damaged[0].Key, true
	}
	return key, false
}

// rawMaterials are a studio's own, for recipes.
type rawMaterials struct {
	own []chem.Material
	// damaged are those that cannot be read, by the ID of the record that holds their name.
	damaged map[string]*store.Damaged
	// nameless is one whose name nobody knows any more, so that any recipe may have meant it; nil: there is none.
	nameless *store.Damaged
}

// missing is the damaged material that a recipe uses; nil if it uses none.
func (m *rawMaterials) missing(g chemistry) error {
	if g.GetRecipe() == nil || len(m.damaged) == 0 && m.nameless == nil {
		return nil
	}
	for _, in := range g.GetRecipe().GetIngredients() {
		if d := m.damaged[materialNameID(in.GetMaterial())]; d != nil {
			return d
		}
	}
	if m.nameless != nil {
		return m.nameless
	}
	return nil
}

// ownMaterials are the studio's own raw materials, for recipes.
func (a *API) ownMaterials(ctx context.Context, studio string) (*rawMaterials, error) {
	m := &rawMaterials{}
	err := a.store.Scan(ctx, studio, store.KindMaterial, func(rec store.Record) error {
		stored, err := a.materials.decode(rec)
		if err != nil {
			return err
		}
		raw, err := rawMaterial(stored)
		m.own = append(m.own, raw)
		return err
	})
	damaged, err := withoutDamaged(err)
	if err != nil || damaged == nil {
		return m, err
	}
	// A library material of the same name must not stand in for one that the studio has made its own, so the names are needed.
	byID := map[string]*store.Damaged{}
	for _, d := range damaged {
		byID[d.Key.ID] = d
	}
	m.damaged = map[string]*store.Damaged{}
	_, err = withoutDamaged(a.store.Scan(ctx, studio, kindMaterialName, func(rec store.Record) error {
		if d := byID[string(rec.Body)]; d != nil {
			m.damaged[rec.ID] = d
			delete(byID, string(rec.Body))
		}
		return nil
	}))
	for _, d := range byID {
		m.nameless = d
	}
	return m, err
}
