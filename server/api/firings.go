package api

import (
	"context"

	"google.golang.org/protobuf/types/known/emptypb"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

type firings struct {
	pb.UnimplementedFiringServiceServer
	*resource[*pb.Firing]
}

func newFirings(a *API) *firings {
	s := &firings{}
	s.resource = &resource[*pb.Firing]{api: a, kind: store.KindFiring, field: "firing", settle: s.check, filler: s.heatWork}
	return s
}

func (s *firings) GetFiring(ctx context.Context, r *pb.GetFiringRequest) (*pb.Firing, error) {
	return s.get(ctx, r.Name)
}

func (s *firings) ListFirings(ctx context.Context, r *pb.ListFiringsRequest) (*pb.ListFiringsResponse, error) {
	all, unreadable, next, err := s.list(ctx, r, r.Parent)
	if err != nil {
		return nil, err
	}
	return &pb.ListFiringsResponse{Firings: all, NextPageToken: next, Unreadable: unreadable}, nil
}

func (s *firings) CreateFiring(ctx context.Context, r *pb.CreateFiringRequest) (*pb.Firing, error) {
	return s.create(ctx, r, r.Parent, r.FiringId, r.RequestId, r.Firing)
}

func (s *firings) UpdateFiring(ctx context.Context, r *pb.UpdateFiringRequest) (*pb.Firing, error) {
	return s.update(ctx, r, r.Firing, r.UpdateMask, r.RequestId)
}

func (s *firings) DeleteFiring(ctx context.Context, r *pb.DeleteFiringRequest) (*emptypb.Empty, error) {
	return s.remove(ctx, r, r.Name, r.Etag, r.RequestId)
}

func (s *firings) PreviewFiring(_ context.Context, r *pb.PreviewFiringRequest) (*pb.HeatWork, error) {
	h, err := heatWorkOf(r.Plan)
	return h, under("plan", err)
}

func (s *firings) check(_ context.Context, _ store.Key, _, next *pb.Firing) ([]string, []store.Op, error) {
	_, err := heatWorkOf(next.Plan)
	return nil, nil, under("firing.plan", err)
}

func (s *firings) heatWork(context.Context, string) (func(*pb.Firing) error, error) {
	return func(f *pb.Firing) error {
		var err error
		f.HeatWork, err = heatWorkOf(f.Plan)
		return err
	}, nil
}
