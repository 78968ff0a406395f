package api

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/firing"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// day is what a studio has on the day that tiles are logged. It reads each thing once, however many tiles use it, until something of the
// studio changes. It may be used by several calls at once; what it gives is not to be changed.
type day struct {
	api      *API
	studio   string
	prepared *prepared

	mu     sync.Mutex
	own    *rawMaterials
	seen   map[string]bool // names of bodies and wares that exist
	glazes map[layerGlaze]*pb.GlazeOfTheDay
	models map[*pb.GlazeOfTheDay]*studioGlaze // of glazes
	fired  map[string]*pb.Firing
}

type layerGlaze struct{ glaze, lot string }

// today gives a studio's day, or *NotFoundError.
func (a *API) today(ctx context.Context, studio string) (*day, error) {
	p, err := a.cache.get(ctx, studio)
	if err != nil {
		return nil, err
	}
	fresh := &day{
		api: a, studio: studio, prepared: p,
		seen: map[string]bool{}, glazes: map[layerGlaze]*pb.GlazeOfTheDay{},
		models: map[*pb.GlazeOfTheDay]*studioGlaze{}, fired: map[string]*pb.Firing{},
	}
	if p.today.CompareAndSwap(nil, fresh) {
		return fresh, nil
	}
	return p.today.Load(), nil
}

// exists refuses a field that names something that is not there.
func (d *day) exists(ctx context.Context, field, name string, kind store.Kind) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if name == "" || d.seen[name] {
		return nil
	}
	key, err := parseName(field, name, kind)
	if err != nil {
		return err
	}
	if _, err := d.api.store.Get(ctx, key); errors.Is(err, store.ErrNotFound) {
		return missing(field, name, kind)
	} else if err != nil {
		return err
	}
	d.seen[name] = true
	return nil
}

// layer gives what the glaze of a layer, or its lot, is today.
func (d *day) layer(ctx context.Context, field string, l *pb.Layer) (*pb.GlazeOfTheDay, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	id := layerGlaze{l.Glaze, l.Lot}
	if g := d.glazes[id]; g != nil {
		return g, nil
	}
	key, err := parseName(field+".glaze", l.Glaze, store.KindGlaze)
	if err != nil {
		return nil, err
	}
	glaze, err := d.api.glazes.stored(ctx, key)
	if err != nil {
		return nil, orMissing(err, field+".glaze", l.Glaze, store.KindGlaze)
	}
	if l.Lot != "" {
		lotKey, err := parseName(field+".lot", l.Lot, store.KindLot)
		if err != nil {
			return nil, err
		}
		if lotKey.Parent != key.ID {
			return nil, &fault.Error{Field: field + ".lot", Value: quoted(l.Lot), Limit: "a lot of " + l.Glaze}
		}
		lot, err := d.api.glazes.lots.stored(ctx, lotKey)
		if err != nil {
			return nil, orMissing(err, field+".lot", l.Lot, store.KindLot)
		}
		asLot(glaze, lot)
	}
	if d.own == nil {
		own, err := d.api.ownMaterials(ctx, d.studio)
		if err != nil {
			return nil, err
		}
		d.own = own
	}
	c, err := compositionOf(glaze, d.own)
	if errors.Is(err, store.ErrDamaged) {
		return nil, err
	}
	if err != nil {
		return nil, &fault.Error{Field: field + ".glaze", Value: quoted(l.Glaze), Limit: "a glaze that makes a melt, but " + err.Error()}
	}
	day := &pb.GlazeOfTheDay{Glaze: l.Glaze, Lot: l.Lot, DisplayName: glaze.DisplayName}
	if c != nil {
		glaze.Composition = compositionMessage(c)
		day.MoleFractions = glaze.Composition.MoleFractions
	}
	if day.GlazeRecord, err = encode(glaze); err != nil {
		return nil, err
	}
	d.glazes[id] = day
	return day, nil
}

// model gives a glaze of the day to the model. What layer gave is found by its address, which takes much less than by all that it says.
func (d *day) model(of *pb.GlazeOfTheDay) (*studioGlaze, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if g := d.models[of]; g != nil {
		return g, nil
	}
	g, err := d.prepared.days.glaze(of)
	if err == nil && d.glazes[layerGlaze{of.Glaze, of.Lot}] == of {
		d.models[of] = g
	}
	return g, err
}

func orMissing(err error, field, name string, kind store.Kind) error {
	if none := (*NotFoundError)(nil); errors.As(err, &none) {
		return missing(field, name, kind)
	}
	return err
}

// asLot puts the chemistry of a lot in the place of the glaze's, where the lot has its own.
func asLot(glaze *pb.Glaze, lot *pb.Lot) {
	switch c := lot.Chemistry.(type) {
	case *pb.Lot_Recipe:
		glaze.Chemistry = &pb.Glaze_Recipe{Recipe: c.Recipe}
	case *pb.Lot_Analysis:
		glaze.Chemistry = &pb.Glaze_Analysis{Analysis: c.Analysis}
	case *pb.Lot_Seger:
		glaze.Chemistry = &pb.Glaze_Seger{Seger: c.Seger}
	}
}

// glazeOfTheDay reads back the glaze as it was when a tile was logged: with the lot's chemistry where the lot had its own, and
// with its composition.
func glazeOfTheDay(kept *pb.GlazeOfTheDay) (*pb.Glaze, error) {
	g := &pb.Glaze{}
	if err := proto.Unmarshal(kept.GlazeRecord, g); err != nil {
		return nil, fmt.Errorf("the record of %s: %w", kept.Glaze, err)
	}
	return g, nil
}

// layering checks the glazes and the body of a layering, and gives its glazes as they are today, or as they were kept.
func (d *day) layering(ctx context.Context, field string, l *pb.Layering, kept map[layerGlaze]*pb.GlazeOfTheDay) ([]*pb.GlazeOfTheDay, error) {
	var faults FieldErrors
	if err := faults.collect(d.exists(ctx, field+".body", l.GetBody(), store.KindBody)); err != nil {
		return nil, err
	}
	var all []*pb.GlazeOfTheDay
	for i, layer := range l.GetLayers() {
		if g := kept[layerGlaze{layer.Glaze, layer.Lot}]; g != nil {
			all = append(all, g)
			continue
		}
		g, err := d.layer(ctx, fmt.Sprintf("%s.layers[%d]", field, i), layer)
		if err := faults.collect(err); err != nil {
			return nil, err
		}
		all = append(all, g)
	}
	return all, faults.or()
}

// placement refuses a wall that is not there or is none.
func (d *day) placement(ctx context.Context, field string, p *pb.Placement) error {
	var faults FieldErrors
	if err := faults.collect(d.exists(ctx, field+".ware", p.GetWare(), store.KindWare)); err != nil {
		return err
	}
	if p.GetShape() != nil {
		_, err := wareProfile(p.GetShape())
		if err := faults.collect(under(field+".shape", err)); err != nil {
			return err
		}
	}
	if len(p.GetLowerBands()) > 0 && p.GetWare() == "" && p.GetShape() == nil {
		faults.add(&fault.Error{Field: field + ".lower_bands", Value: "on a straight wall", Limit: "bands below on a ware or a shape only"})
	}
	return faults.or()
}

// firing gives a stored firing.
func (d *day) firing(ctx context.Context, field, name string) (*pb.Firing, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if f := d.fired[name]; f != nil {
		return f, nil
	}
	key, err := parseName(field, name, store.KindFiring)
	if err != nil {
		return nil, err
	}
	f, err := d.api.firings.stored(ctx, key)
	if err != nil {
		return nil, orMissing(err, field, name, store.KindFiring)
	}
	d.fired[name] = f
	return f, nil
}

// heat checks that a plan with a tile's own witness cone is a firing, the one that the tile is then predicted in.
func (d *day) heat(plan *pb.FiringPlan, witness *pb.WitnessCone) error {
	f, err := d.prepared.days.firing(plan, witness)
	if err != nil {
		return err
	}
	return f.fault
}

// checkWitness refuses a witness cone that is none.
func checkWitness(field string, w *pb.WitnessCone) error {
	if w == nil {
		return nil
	}
	_, err := firing.ParseConeNumber(w.Cone)
	return renamed(err, func(string) string { return field + ".cone" })
}
