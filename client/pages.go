package client

import (
	"context"
	"errors"
	"io"
	"iter"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// pages walks all pages of a list. It stops at the first error, which comes with a zero value.
func pages[T any](next func(token string) (items []T, nextToken string, err error)) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		token := ""
		for {
			items, following, err := next(token)
			if err != nil {
				var none T
				yield(none, err)
				return
			}
			for _, item := range items {
				if !yield(item, nil) {
					return
				}
			}
			if following == "" {
				return
			}
			token = following
		}
	}
}

// pageSize is how many a page holds when all are asked for.
const pageSize = 1000

// AllGlazes walks the glazes of a studio ("studios/{studio}") by id.
func (c *Client) AllGlazes(ctx context.Context, studio string) iter.Seq2[*pb.Glaze, error] {
	return pages(func(token string) ([]*pb.Glaze, string, error) {
		r, err := c.Glazes.ListGlazes(ctx, &pb.ListGlazesRequest{Parent: studio, PageSize: pageSize, PageToken: token})
		return r.GetGlazes(), r.GetNextPageToken(), err
	})
}

// AllFirings walks the firings of a studio by id.
func (c *Client) AllFirings(ctx context.Context, studio string) iter.Seq2[*pb.Firing, error] {
	return pages(func(token string) ([]*pb.Firing, string, error) {
		r, err := c.Firings.ListFirings(ctx, &pb.ListFiringsRequest{Parent: studio, PageSize: pageSize, PageToken: token})
		return r.GetFirings(), r.GetNextPageToken(), err
	})
}

// AllTiles walks the tiles of a studio, the last logged first.
func (c *Client) AllTiles(ctx context.Context, studio string) iter.Seq2[*pb.Tile, error] {
	return pages(func(token string) ([]*pb.Tile, string, error) {
		r, err := c.Tiles.ListTiles(ctx, &pb.ListTilesRequest{Parent: studio, PageSize: pageSize, PageToken: token})
		return r.GetTiles(), r.GetNextPageToken(), err
	})
}

// AllStudios walks the studios that the caller may see, by id.
func (c *Client) AllStudios(ctx context.Context) iter.Seq2[*pb.Studio, error] {
	return pages(func(token string) ([]*pb.Studio, string, error) {
		r, err := c.Studios.ListStudios(ctx, &pb.ListStudiosRequest{PageSize: pageSize, PageToken: token})
		return r.GetStudios(), r.GetNextPageToken(), err
	})
}

// AllBodies walks the bodies of a studio by id.
func (c *Client) AllBodies(ctx context.Context, studio string) iter.Seq2[*pb.Body, error] {
	return pages(func(token string) ([]*pb.Body, string, error) {
		r, err := c.Bodies.ListBodies(ctx, &pb.ListBodiesRequest{Parent: studio, PageSize: pageSize, PageToken: token})
		return r.GetBodies(), r.GetNextPageToken(), err
	})
}

// AllWares walks the wares of a studio by id.
func (c *Client) AllWares(ctx context.Context, studio string) iter.Seq2[*pb.Ware, error] {
	return pages(func(token string) ([]*pb.Ware, string, error) {
		r, err := c.Wares.ListWares(ctx, &pb.ListWaresRequest{Parent: studio, PageSize: pageSize, PageToken: token})
		return r.GetWares(), r.GetNextPageToken(), err
	})
}

// AllSheets walks the sheets of a studio by id.
func (c *Client) AllSheets(ctx context.Context, studio string) iter.Seq2[*pb.Sheet, error] {
	return pages(func(token string) ([]*pb.Sheet, string, error) {
		r, err := c.Sheets.ListSheets(ctx, &pb.ListSheetsRequest{Parent: studio, PageSize: pageSize, PageToken: token})
		return r.GetSheets(), r.GetNextPageToken(), err
	})
}

// AllKeys walks the keys of a studio by id, without their secrets.
func (c *Client) AllKeys(ctx context.Context, studio string) iter.Seq2[*pb.Key, error] {
	return pages(func(token string) ([]*pb.Key, string, error) {
		r, err := c.Keys.ListKeys(ctx, &pb.ListKeysRequest{Parent: studio, PageSize: pageSize, PageToken: token})
		return r.GetKeys(), r.GetNextPageToken(), err
	})
}

// AllCalibrations walks the calibrations of a studio, the newest first, without tile diagnostics.
func (c *Client) AllCalibrations(ctx context.Context, studio string) iter.Seq2[*pb.Calibration, error] {
	return pages(func(token string) ([]*pb.Calibration, string, error) {
		r, err := c.Calibrations.ListCalibrations(ctx, &pb.ListCalibrationsRequest{Parent: studio, PageSize: pageSize, PageToken: token})
		return r.GetCalibrations(), r.GetNextPageToken(), err
	})
}

// AllLots walks the lots of a glaze ("studios/{studio}/glazes/{glaze}") by id.
func (c *Client) AllLots(ctx context.Context, glaze string) iter.Seq2[*pb.Lot, error] {
	return pages(func(token string) ([]*pb.Lot, string, error) {
		r, err := c.Glazes.ListLots(ctx, &pb.ListLotsRequest{Parent: glaze, PageSize: pageSize, PageToken: token})
		return r.GetLots(), r.GetNextPageToken(), err
	})
}

// AllMaterials walks a studio's own materials by id, and after them, if they are wanted, the minerals that every studio has.
func (c *Client) AllMaterials(ctx context.Context, studio string, builtIn bool) iter.Seq2[*pb.Material, error] {
	return pages(func(token string) ([]*pb.Material, string, error) {
		r, err := c.Materials.ListMaterials(ctx, &pb.ListMaterialsRequest{Parent: studio, PageSize: pageSize, PageToken: token, IncludeBuiltIn: builtIn})
		return r.GetMaterials(), r.GetNextPageToken(), err
	})
}

// Sheet scores a sheet and walks its chunks as they come, in order of their index.
func (c *Client) Sheet(ctx context.Context, r *pb.ScoreSheetRequest) iter.Seq2[*pb.ScoreSheetResponse, error] {
	return func(yield func(*pb.ScoreSheetResponse, error) bool) {
		ctx, cancel := context.WithCancel(ctx)
		defer cancel()
		stream, err := c.Scores.ScoreSheet(ctx, r)
		if err != nil {
			yield(nil, err)
			return
		}
		for {
			chunk, err := stream.Recv()
			if errors.Is(err, io.EOF) {
				return
			}
			if !yield(chunk, err) || err != nil {
				return
			}
		}
	}
}
