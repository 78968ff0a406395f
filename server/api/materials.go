package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/protobuf/types/known/emptypb"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/fault"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

type materials struct {
	pb.UnimplementedMaterialServiceServer
	*resource[*pb.Material]
}

func newMaterials(a *API) *materials {
	s := &materials{}
	s.resource = &resource[*pb.Material]{api: a, kind: store.KindMaterial, field: "material", settle: s.check, removal: s.unused}
	return s
}

func (s *materials) GetMaterial(ctx context.Context, r *pb.GetMaterialRequest) (*pb.Material, error) {
	return s.get(ctx, r.Name)
}

func (s *materials) ListMaterials(ctx context.Context, r *pb.ListMaterialsRequest) (*pb.ListMaterialsResponse, error) {
	all, unreadable, next, err := s.list(ctx, r, r.Parent)
	if err != nil {
		return nil, err
	}
	if next == "" && r.IncludeBuiltIn {
		all = append(all, builtIn()...)
	}
	return &pb.ListMaterialsResponse{Materials: all, NextPageToken: next, Unreadable: unreadable}, nil
}

func (s *materials) CreateMaterial(ctx context.Context, r *pb.CreateMaterialRequest) (*pb.Material, error) {
	return s.create(ctx, r, r.Parent, r.MaterialId, r.RequestId, r.Material)
}

func (s *materials) UpdateMaterial(ctx context.Context, r *pb.UpdateMaterialRequest) (*pb.Material, error) {
	return s.update(ctx, r, r.Material, r.UpdateMask, r.RequestId)
}

func (s *materials) DeleteMaterial(ctx context.Context, r *pb.DeleteMaterialRequest) (*emptypb.Empty, error) {
	return s.remove(ctx, r, r.Name, r.Etag, r.RequestId)
}

// builtIn shows the library that every studio has.
func builtIn() []*pb.Material {
	var all []*pb.Material
	for _, l := range chem.Library() {
		m := &pb.Material{DisplayName: l.Name, BuiltIn: true, Source: l.Source, OxidesPercent: map[string]float64{}}
		loi := 100 * l.LOI
		m.LoiPercent = &loi
		for o, w := range l.Oxides {
			if w > 0 {
				m.OxidesPercent[chem.Oxide(o).String()] = 100 * w * (1 - l.LOI)
			}
		}
		all = append(all, m)
	}
	return all
}

// rawMaterial is the material as recipes use it.
func rawMaterial(m *pb.Material) (chem.Material, error) {
	parts, path := partsOf(m.OxidesPercent, "oxides_percent")
	sum := 0.0
	for _, p := range parts {
		sum += p.Amount
	}
	loi := max(0, 100-sum)
	if m.LoiPercent != nil {
		loi = *m.LoiPercent
	}
	if most := 102.0; sum+loi > most {
		return chem.Material{}, fieldError("oxides_percent", sum+loi, "at most 102 in all with the loss on ignition")
	}
	raw, _, err := chem.NewMaterial(m.DisplayName, parts, loi)
	return raw, renamed(err, func(field string) string {
		switch field {
		case "name":
			return "display_name"
		case "loi_percent":
			return field
		}
		return path(field)
	})
}

// kindMaterialName holds a record for each name that a material of the studio has, so that no two can have the same, however they
// are written at once. Its ID is the hash of the name, its body the ID of the material.
const kindMaterialName store.Kind = "material name"

// folded makes names comparable as people read them: without regard to case and blanks.
func folded(name string) string {
	return strings.ToLower(strings.Join(strings.Fields(name), " "))
}

func materialNameKey(studio, name string) store.Key {
	return store.Key{Studio: studio, Kind: kindMaterialName, ID: materialNameID(name)}
}

func materialNameID(name string) string {
	h := sha256.Sum256([]byte(folded(name)))
	return hex.EncodeToString(h[:])
}

// materialLabel is the label of glazes and lots whose recipe uses a material.
func materialLabel(name string) string { return "material=" + folded(name) }

// check refuses a material that no recipe could use, a name that another one has, and a new name while recipes use the old one.
func (s *materials) check(ctx context.Context, key store.Key, old, next *pb.Material) ([]string, []store.Op, error) {
	if _, err := rawMaterial(next); err != nil {
		return nil, nil, under("material", err)
	}
	if old != nil && folded(old.DisplayName) == folded(next.DisplayName) {
		return nil, nil, nil
	}
	name := materialNameKey(key.Studio, next.DisplayName)
	taken, err := s.api.store.Get(ctx, name)
	switch {
	case err == nil && old == nil && string(taken.Body) == key.ID:
		return nil, nil, nil // it exists already, and the writing will say so
	case err == nil:
		return nil, nil, &fault.Error{Field: "material.display_name", Value: quoted(next.DisplayName),
			Limit: "a name that no other material of the studio has; materials/" + string(taken.Body) + " has this one"}
	case !errors.Is(err, store.ErrNotFound):
		return nil, nil, err
	}
	ops := []store.Op{store.Insert(store.Record{Key: name, Body: []byte(key.ID)})}
	if old != nil {
		gone, err := s.unused(ctx, key, old)
		if err != nil {
			return nil, nil, err
		}
		ops = append(ops, gone...)
	}
	return nil, ops, nil
}

// unused gives what to remove with a material or its name, unless a recipe uses it.
func (s *materials) unused(ctx context.Context, key store.Key, stored *pb.Material) ([]store.Op, error) {
	if stored.DisplayName == "" { // it is damaged; no recipe that uses it makes a melt any more
		return s.namesOf(ctx, key)
	}
	for _, kind := range []store.Kind{store.KindGlaze, store.KindLot} {
		page, err := s.api.store.List(ctx, store.Query{
			Studio: key.Studio, Kind: kind, AnyParent: true, Labels: []string{materialLabel(stored.DisplayName)}, Limit: 1,
		})
		if err != nil {
			return nil, err
		}
		if one, ok := firstOn(&page); ok {
			return nil, &PreconditionError{nameOf(key), fmt.Sprintf("the recipe of %s uses %q; change that first", nameOf(one), stored.DisplayName)}
		}
	}
	return []store.Op{store.Remove(materialNameKey(key.Studio, stored.DisplayName), 0)}, nil
}

// namesOf removes the record of the name of a material, whichever that is.
func (s *materials) namesOf(ctx context.Context, key store.Key) ([]store.Op, error) {
	var ops []store.Op
	_, err := withoutDamaged(s.api.store.Scan(ctx, key.Studio, kindMaterialName, func(rec store.Record) error {
		if string(rec.Body) == key.ID {
			ops = append(ops, store.Remove(rec.Key, rec.Revision))
		}
		return nil
	}))
	return ops, err
}
