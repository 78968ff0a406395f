package api

import (
	"context"

	"google.golang.org/protobuf/types/known/emptypb"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

type sheets struct {
	pb.UnimplementedSheetServiceServer
	*resource[*pb.Sheet]
}

func newSheets(a *API) *sheets {
	return &sheets{resource: &resource[*pb.Sheet]{api: a, kind: store.KindSheet, field: "sheet"}}
}

func (s *sheets) GetSheet(ctx context.Context, r *pb.GetSheetRequest) (*pb.Sheet, error) {
	return s.get(ctx, r.Name)
}

func (s *sheets) ListSheets(ctx context.Context, r *pb.ListSheetsRequest) (*pb.ListSheetsResponse, error) {
	all, next, err := s.list(ctx, r, r.Parent)
	if err != nil {
		return nil, err
	}
	return &pb.ListSheetsResponse{Sheets: all, NextPageToken: next}, nil
}

func (s *sheets) CreateSheet(ctx context.Context, r *pb.CreateSheetRequest) (*pb.Sheet, error) {
	return s.create(ctx, r, r.Parent, r.SheetId, r.RequestId, r.Sheet)
}

func (s *sheets) UpdateSheet(ctx context.Context, r *pb.UpdateSheetRequest) (*pb.Sheet, error) {
	return s.update(ctx, r, r.Sheet, r.UpdateMask, r.RequestId)
}

func (s *sheets) DeleteSheet(ctx context.Context, r *pb.DeleteSheetRequest) (*emptypb.Empty, error) {
	return s.remove(ctx, r, r.Name, r.Etag, r.RequestId)
}
