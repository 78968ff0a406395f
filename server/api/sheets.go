package api

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/types/known/emptypb"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

type sheets struct {
	pb.UnimplementedSheetServiceServer
	*resource[*pb.Sheet]
}

func newSheets(a *API) *sheets {
	s := &sheets{}
	s.resource = &resource[*pb.Sheet]{api: a, kind: store.KindSheet, field: "sheet", settle: s.check}
	return s
}

func (s *sheets) GetSheet(ctx context.Context, r *pb.GetSheetRequest) (*pb.Sheet, error) {
	return s.get(ctx, r.Name)
}

func (s *sheets) ListSheets(ctx context.Context, r *pb.ListSheetsRequest) (*pb.ListSheetsResponse, error) {
	all, unreadable, next, err := s.list(ctx, r, r.Parent)
	if err != nil {
		return nil, err
	}
	return &pb.ListSheetsResponse{Sheets: all, NextPageToken: next, Unreadable: unreadable}, nil
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

// check refuses a sheet of things that the studio does not have.
func (s *sheets) check(ctx context.Context, key store.Key, _, next *pb.Sheet) ([]string, []store.Op, error) {
	today, err := s.api.today(ctx, key.Studio)
	if err != nil {
		return nil, nil, err
	}
	return nil, nil, under("sheet.plan", today.sheetPlan(ctx, next.Plan))
}

// sheetPlan checks that all that a sheet is made of exists.
func (d *day) sheetPlan(ctx context.Context, plan *pb.SheetPlan) error {
	if err := d.exists(ctx, "body", plan.Body, store.KindBody); err != nil {
		return err
	}
	for i, position := range plan.Positions {
		for j, choice := range position.Choices {
			if _, err := d.layer(ctx, fmt.Sprintf("positions[%d].choices[%d]", i, j), choice); err != nil {
				return err
			}
		}
	}
	for i, firing := range plan.Firings {
		if err := d.exists(ctx, fmt.Sprintf("firings[%d]", i), firing, store.KindFiring); err != nil {
			return err
		}
	}
	return d.placement(ctx, "placement", plan.Placement)
}
