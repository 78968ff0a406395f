package api

import (
	"context"

	"google.golang.org/protobuf/types/known/emptypb"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

type glazes struct {
	pb.UnimplementedGlazeServiceServer
	*resource[*pb.Glaze]
	lots *resource[*pb.Lot]
}

func newGlazes(a *API) *glazes {
	s := &glazes{}
	s.resource = &resource[*pb.Glaze]{api: a, kind: store.KindGlaze, field: "glaze", settle: s.check, filler: s.compositions, removal: s.itsLots}
	s.lots = &resource[*pb.Lot]{api: a, kind: store.KindLot, field: "lot", settle: s.checkLot, filler: s.lotCompositions}
	return s
}

func (s *glazes) GetGlaze(ctx context.Context, r *pb.GetGlazeRequest) (*pb.Glaze, error) {
	return s.get(ctx, r.Name)
}

func (s *glazes) ListGlazes(ctx context.Context, r *pb.ListGlazesRequest) (*pb.ListGlazesResponse, error) {
	all, unreadable, next, err := s.list(ctx, r, r.Parent)
	if err != nil {
		return nil, err
	}
	return &pb.ListGlazesResponse{Glazes: all, NextPageToken: next, Unreadable: unreadable}, nil
}

func (s *glazes) CreateGlaze(ctx context.Context, r *pb.CreateGlazeRequest) (*pb.Glaze, error) {
	return s.create(ctx, r, r.Parent, r.GlazeId, r.RequestId, r.Glaze)
}

func (s *glazes) UpdateGlaze(ctx context.Context, r *pb.UpdateGlazeRequest) (*pb.Glaze, error) {
	return s.update(ctx, r, r.Glaze, r.UpdateMask, r.RequestId)
}

func (s *glazes) DeleteGlaze(ctx context.Context, r *pb.DeleteGlazeRequest) (*emptypb.Empty, error) {
	return s.remove(ctx, r, r.Name, r.Etag, r.RequestId)
}

func (s *glazes) GetLot(ctx context.Context, r *pb.GetLotRequest) (*pb.Lot, error) {
	return s.lots.get(ctx, r.Name)
}

func (s *glazes) ListLots(ctx context.Context, r *pb.ListLotsRequest) (*pb.ListLotsResponse, error) {
	all, unreadable, next, err := s.lots.list(ctx, r, r.Parent)
	if err != nil {
		return nil, err
	}
	return &pb.ListLotsResponse{Lots: all, NextPageToken: next, Unreadable: unreadable}, nil
}

func (s *glazes) CreateLot(ctx context.Context, r *pb.CreateLotRequest) (*pb.Lot, error) {
	return s.lots.create(ctx, r, r.Parent, r.LotId, r.RequestId, r.Lot)
}

func (s *glazes) UpdateLot(ctx context.Context, r *pb.UpdateLotRequest) (*pb.Lot, error) {
	return s.lots.update(ctx, r, r.Lot, r.UpdateMask, r.RequestId)
}

func (s *glazes) DeleteLot(ctx context.Context, r *pb.DeleteLotRequest) (*emptypb.Empty, error) {
	return s.lots.remove(ctx, r, r.Name, r.Etag, r.RequestId)
}

// check refuses a glaze whose chemistry makes no melt or whose cones are none, and labels it with the materials of its recipe.
func (s *glazes) check(ctx context.Context, key store.Key, _, next *pb.Glaze) ([]string, []store.Op, error) {
	if _, _, err := coneRange(next); err != nil {
		return nil, nil, under("glaze", err)
	}
	labels, err := s.checkChemistry(ctx, key.Studio, next)
	return labels, nil, under("glaze", err)
}

func (s *glazes) checkLot(ctx context.Context, key store.Key, _, next *pb.Lot) ([]string, []store.Op, error) {
	labels, err := s.checkChemistry(ctx, key.Studio, next)
	return labels, nil, under("lot", err)
}

func (s *glazes) checkChemistry(ctx context.Context, studio string, g chemistry) ([]string, error) {
	own, err := s.api.ownMaterials(ctx, studio)
	if err != nil {
		return nil, err
	}
	if _, err := compositionOf(g, own); err != nil {
		return nil, err
	}
	var labels []string
	for _, in := range g.GetRecipe().GetIngredients() {
		labels = append(labels, materialLabel(in.Material))
	}
	return labels, nil
}

// compositions fills in what glazes melt to, with the studio's materials of now.
func (s *glazes) compositions(ctx context.Context, studio string) (func(*pb.Glaze) error, error) {
	show, err := s.showChemistry(ctx, studio)
	return func(g *pb.Glaze) error { g.Composition = show(g); return nil }, err
}

func (s *glazes) lotCompositions(ctx context.Context, studio string) (func(*pb.Lot) error, error) {
	show, err := s.showChemistry(ctx, studio)
	return func(l *pb.Lot) error { l.Composition = show(l); return nil }, err
}

func (s *glazes) showChemistry(ctx context.Context, studio string) (func(chemistry) *pb.Composition, error) {
	own, err := s.api.ownMaterials(ctx, studio)
	return func(g chemistry) *pb.Composition {
		c, err := compositionOf(g, own)
		switch {
		case err != nil:
			// It was good when it was stored; a material that it uses has changed since.
			return &pb.Composition{Notes: []string{"this no longer makes a melt: " + err.Error()}}
		case c == nil:
			return nil
		}
		return compositionMessage(c)
	}, err
}

// itsLots are removed with a glaze.
func (s *glazes) itsLots(ctx context.Context, key store.Key, _ *pb.Glaze) ([]store.Op, error) {
	var ops []store.Op
	q := store.Query{Studio: key.Studio, Kind: store.KindLot, Parent: key.ID, Limit: store.MaxPage}
	for {
		page, err := s.api.store.List(ctx, q)
		if err != nil {
			return nil, err
		}
		for _, rec := range page.Records {
			ops = append(ops, store.Remove(rec.Key, rec.Revision))
		}
		for _, d := range page.Damaged {
			ops = append(ops, store.Remove(d.Key, 0))
		}
		q.After = page.Last
		if !page.More {
			return ops, nil
		}
	}
}
