package api

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"google.golang.org/protobuf/types/known/emptypb"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

type studios struct {
	pb.UnimplementedStudioServiceServer
	*resource[*pb.Studio]
}

func newStudios(a *API) *studios {
	s := &studios{}
	s.resource = &resource[*pb.Studio]{api: a, kind: store.KindStudio, field: "studio", settle: s.check, filler: s.active}
	return s
}

// operators is where the studios themselves are.
var operators = store.Key{Studio: store.System, Kind: store.KindStudio}

func (s *studios) GetStudio(ctx context.Context, r *pb.GetStudioRequest) (*pb.Studio, error) {
	return s.get(ctx, r.Name)
}

func (s *studios) ListStudios(ctx context.Context, r *pb.ListStudiosRequest) (*pb.ListStudiosResponse, error) {
	size, after, err := pageOf(r)
	if err != nil {
		return nil, err
	}
	if only, bound := s.api.onlyStudio(ctx); bound {
		one, err := s.get(ctx, "studios/"+only)
		if missing := (*NotFoundError)(nil); errors.As(err, &missing) {
			return &pb.ListStudiosResponse{}, nil
		} else if err != nil {
			return nil, err
		}
		return &pb.ListStudiosResponse{Studios: []*pb.Studio{one}}, nil
	}
	page, err := s.api.store.List(ctx, store.Query{Studio: store.System, Kind: store.KindStudio, After: after, Limit: size, Bytes: pageBytes})
	if err != nil {
		return nil, err
	}
	all, unreadable, next, err := fillPage(r, page, func(rec store.Record) (*pb.Studio, error) { return s.showOne(ctx, rec) })
	if err != nil {
		return nil, err
	}
	return &pb.ListStudiosResponse{Studios: all, Unreadable: unreadable, NextPageToken: next}, nil
}

func (s *studios) CreateStudio(ctx context.Context, r *pb.CreateStudioRequest) (*pb.Studio, error) {
	return s.createIn(ctx, r, operators, operators, r.StudioId, r.RequestId, r.Studio)
}

func (s *studios) UpdateStudio(ctx context.Context, r *pb.UpdateStudioRequest) (*pb.Studio, error) {
	return s.update(ctx, r, r.Studio, r.UpdateMask, r.RequestId)
}

func (s *studios) DeleteStudio(ctx context.Context, r *pb.DeleteStudioRequest) (*emptypb.Empty, error) {
	if !r.Force {
		key, err := parseName("name", r.Name, store.KindStudio)
		if err != nil {
			return nil, err
		}
		if err := s.holdsNothing(ctx, key.ID); err != nil {
			return nil, err
		}
	}
	return s.remove(ctx, r, r.Name, r.Etag, r.RequestId)
}

// contents are the kinds of thing that a studio can hold, in the order in which people care for them. Keys do not count: they are
// worth nothing without the studio.
var contents = []store.Kind{store.KindTile, store.KindGlaze, store.KindFiring, store.KindWare, store.KindBody, store.KindMaterial, store.KindSheet, store.KindCalibration}

func (s *studios) holdsNothing(ctx context.Context, studio string) error {
	for _, kind := range contents {
		page, err := s.api.store.List(ctx, store.Query{Studio: studio, Kind: kind, AnyParent: true, Limit: 1})
		if err != nil {
			return err
		}
		if one, ok := firstOn(&page); ok {
			return &PreconditionError{"studios/" + studio, fmt.Sprintf("it still holds %s, such as %s; with force they are deleted too",
				collections[kind], nameOf(one))}
		}
	}
	return nil
}

// Thresholds of the risk words where the studio says nothing.
const (
	defaultLow      = 0.05
	defaultModerate = 0.20
	defaultHigh     = 0.50
)

func (s *studios) check(_ context.Context, _ store.Key, _, next *pb.Studio) ([]string, []store.Op, error) {
	t := next.Settings.GetThresholds()
	low, moderate, high := riskThresholds(t)
	switch {
	case moderate < low:
		return nil, nil, fieldError("studio.settings.thresholds.moderate", moderate, fmt.Sprintf("not less than low, which is %v", low))
	case high < moderate:
		return nil, nil, fieldError("studio.settings.thresholds.high", high, fmt.Sprintf("not less than moderate, which is %v", moderate))
	}
	slices.Sort(next.GetSettings().GetCookieDiametersMm())
	slices.Sort(next.GetSettings().GetCookieThicknessesMm())
	return nil, nil, nil
}

// riskThresholds are the bounds of the risk words.
func riskThresholds(t *pb.RiskThresholds) (low, moderate, high float64) {
	low, moderate, high = defaultLow, defaultModerate, defaultHigh
	if t != nil && t.Low != nil {
		low = *t.Low
	}
	if t != nil && t.Moderate != nil {
		moderate = *t.Moderate
	}
	if t != nil && t.High != nil {
		high = *t.High
	}
	return low, moderate, high
}

// active fills in the calibration in use.
func (s *studios) active(ctx context.Context, studio string) (func(*pb.Studio) error, error) {
	number, _, err := store.Active(ctx, s.api.store, studio)
	if err != nil {
		return nil, err
	}
	return func(t *pb.Studio) error {
		if number != "" {
			t.ActiveCalibration = nameOf(store.Key{Studio: studio, Kind: store.KindCalibration, ID: number})
		}
		return nil
	}, nil
}
