package api

import (
	"context"

	"google.golang.org/protobuf/types/known/emptypb"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

type bodies struct {
	pb.UnimplementedBodyServiceServer
	*resource[*pb.Body]
}

func newBodies(a *API) *bodies {
	return &bodies{resource: &resource[*pb.Body]{api: a, kind: store.KindBody, field: "body"}}
}

func (s *bodies) GetBody(ctx context.Context, r *pb.GetBodyRequest) (*pb.Body, error) {
	return s.get(ctx, r.Name)
}

func (s *bodies) ListBodies(ctx context.Context, r *pb.ListBodiesRequest) (*pb.ListBodiesResponse, error) {
	all, unreadable, next, err := s.list(ctx, r, r.Parent)
	if err != nil {
		return nil, err
	}
	return &pb.ListBodiesResponse{Bodies: all, NextPageToken: next, Unreadable: unreadable}, nil
}

func (s *bodies) CreateBody(ctx context.Context, r *pb.CreateBodyRequest) (*pb.Body, error) {
	return s.create(ctx, r, r.Parent, r.BodyId, r.RequestId, r.Body)
}

func (s *bodies) UpdateBody(ctx context.Context, r *pb.UpdateBodyRequest) (*pb.Body, error) {
	return s.update(ctx, r, r.Body, r.UpdateMask, r.RequestId)
}

func (s *bodies) DeleteBody(ctx context.Context, r *pb.DeleteBodyRequest) (*emptypb.Empty, error) {
	return s.remove(ctx, r, r.Name, r.Etag, r.RequestId)
}
