package api

import (
	"context"

	"google.golang.org/protobuf/types/known/emptypb"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

type wares struct {
	pb.UnimplementedWareServiceServer
	*resource[*pb.Ware]
}

func newWares(a *API) *wares {
	s := &wares{}
	s.resource = &resource[*pb.Ware]{api: a, kind: store.KindWare, field: "ware", settle: s.check, filler: s.walls}
	return s
}

func (s *wares) GetWare(ctx context.Context, r *pb.GetWareRequest) (*pb.Ware, error) {
	return s.get(ctx, r.Name)
}

func (s *wares) ListWares(ctx context.Context, r *pb.ListWaresRequest) (*pb.ListWaresResponse, error) {
	all, unreadable, next, err := s.list(ctx, r, r.Parent)
	if err != nil {
		return nil, err
	}
	return &pb.ListWaresResponse{Wares: all, NextPageToken: next, Unreadable: unreadable}, nil
}

func (s *wares) CreateWare(ctx context.Context, r *pb.CreateWareRequest) (*pb.Ware, error) {
	return s.create(ctx, r, r.Parent, r.WareId, r.RequestId, r.Ware)
}

func (s *wares) UpdateWare(ctx context.Context, r *pb.UpdateWareRequest) (*pb.Ware, error) {
	return s.update(ctx, r, r.Ware, r.UpdateMask, r.RequestId)
}

func (s *wares) DeleteWare(ctx context.Context, r *pb.DeleteWareRequest) (*emptypb.Empty, error) {
	return s.remove(ctx, r, r.Name, r.Etag, r.RequestId)
}

func (s *wares) TraceProfile(_ context.Context, r *pb.TraceProfileRequest) (*pb.TraceProfileResponse, error) {
	p, err := tracedProfile(r)
	if err != nil {
		return nil, err
	}
	return &pb.TraceProfileResponse{Profile: profileMessage(p), WallLengthMm: p.Length() / mm}, nil
}

func (s *wares) check(_ context.Context, _ store.Key, _, next *pb.Ware) ([]string, []store.Op, error) {
	_, err := wareProfile(next.Shape)
	return nil, nil, under("ware.shape", err)
}

func (s *wares) walls(context.Context, string) (func(*pb.Ware) error, error) {
	return func(w *pb.Ware) error {
		p, err := wareProfile(w.Shape)
		if err != nil {
			return err
		}
		w.Profile = profileMessage(p)
		w.WallLengthMm = p.Length() / mm
		return nil
	}, nil
}
