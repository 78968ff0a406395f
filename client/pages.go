package client

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"strings"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// UnreadableError ends a walk that has given everything but some: those that the server names because they are damaged in its database, or
// larger than an answer may be.
type UnreadableError struct{ Names []string }

func (e *UnreadableError) Error() string {
	return fmt.Sprintf("%d cannot be read, they are damaged in the server's database or too large: %s", len(e.Names), strings.Join(e.Names, ", "))
}

// listed is the answer to a request for a page.
type listed interface {
	GetNextPageToken() string
	GetUnreadable() []string
}

// pages walks all pages of a list. It stops at the first error, which comes with a zero value; an *UnreadableError comes after all that can
// be read.
func pages[T any, R listed](next func(token string) (R, error), items func(R) []T) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		var none T
		var unreadable []string
		token := ""
		for {
			r, err := next(token)
			if err != nil {
				yield(none, err)
				return
			}
			for _, item := range items(r) {
				if !yield(item, nil) {
					return
				}
			}
			unreadable = append(unreadable, r.GetUnreadable()...)
			if token = r.GetNextPageToken(); token == "" {
				break
			}
		}
		if len(unreadable) > 0 {
			yield(none, &UnreadableError{unreadable})
		}
	}
}

// pageSize is how many a page holds when all are asked for.
const pageSize = 1000

// AllGlazes walks the glazes of a studio ("studios/{studio}") by id.
func (c *Client) AllGlazes(ctx context.Context, studio string) iter.Seq2[*pb.Glaze, error] {
	return pages(func(token string) (*pb.ListGlazesResponse, error) {
		return c.Glazes.ListGlazes(ctx, &pb.ListGlazesRequest{Parent: studio, PageSize: pageSize, PageToken: token})
	}, (*pb.ListGlazesResponse).GetGlazes)
}

// AllFirings walks the firings of a studio by id.
func (c *Client) AllFirings(ctx context.Context, studio string) iter.Seq2[*pb.Firing, error] {
	return pages(func(token string) (*pb.ListFiringsResponse, error) {
		return c.Firings.ListFirings(ctx, &pb.ListFiringsRequest{Parent: studio, PageSize: pageSize, PageToken: token})
	}, (*pb.ListFiringsResponse).GetFirings)
}

// AllTiles walks the tiles of a studio, the last logged first.
func (c *Client) AllTiles(ctx context.Context, studio string) iter.Seq2[*pb.Tile, error] {
	return pages(func(token string) (*pb.ListTilesResponse, error) {
		return c.Tiles.ListTiles(ctx, &pb.ListTilesRequest{Parent: studio, PageSize: pageSize, PageToken: token})
	}, (*pb.ListTilesResponse).GetTiles)
}

// AllStudios walks the studios that the caller may see, by id.
func (c *Client) AllStudios(ctx context.Context) iter.Seq2[*pb.Studio, error] {
	return pages(func(token string) (*pb.ListStudiosResponse, error) {
		return c.Studios.ListStudios(ctx, &pb.ListStudiosRequest{PageSize: pageSize, PageToken: token})
	}, (*pb.ListStudiosResponse).GetStudios)
}

// AllBodies walks the bodies of a studio by id.
func (c *Client) AllBodies(ctx context.Context, studio string) iter.Seq2[*pb.Body, error] {
	return pages(func(token string) (*pb.ListBodiesResponse, error) {
		return c.Bodies.ListBodies(ctx, &pb.ListBodiesRequest{Parent: studio, PageSize: pageSize, PageToken: token})
	}, (*pb.ListBodiesResponse).GetBodies)
}

// AllWares walks the wares of a studio by id.
func (c *Client) AllWares(ctx context.Context, studio string) iter.Seq2[*pb.Ware, error] {
	return pages(func(token string) (*pb.ListWaresResponse, error) {
		return c.Wares.ListWares(ctx, &pb.ListWaresRequest{Parent: studio, PageSize: pageSize, PageToken: token})
	}, (*pb.ListWaresResponse).GetWares)
}

// AllSheets walks the sheets of a studio by id.
func (c *Client) AllSheets(ctx context.Context, studio string) iter.Seq2[*pb.Sheet, error] {
	return pages(func(token string) (*pb.ListSheetsResponse, error) {
		return c.Sheets.ListSheets(ctx, &pb.ListSheetsRequest{Parent: studio, PageSize: pageSize, PageToken: token})
	}, (*pb.ListSheetsResponse).GetSheets)
}

// AllKeys walks the keys of a studio by id, without their secrets.
func (c *Client) AllKeys(ctx context.Context, studio string) iter.Seq2[*pb.Key, error] {
	return pages(func(token string) (*pb.ListKeysResponse, error) {
		return c.Keys.ListKeys(ctx, &pb.ListKeysRequest{Parent: studio, PageSize: pageSize, PageToken: token})
	}, (*pb.ListKeysResponse).GetKeys)
}

// AllCalibrations walks the calibrations of a studio, the newest first, without tile diagnostics.
func (c *Client) AllCalibrations(ctx context.Context, studio string) iter.Seq2[*pb.Calibration, error] {
	return pages(func(token string) (*pb.ListCalibrationsResponse, error) {
		return c.Calibrations.ListCalibrations(ctx, &pb.ListCalibrationsRequest{Parent: studio, PageSize: pageSize, PageToken: token})
	}, (*pb.ListCalibrationsResponse).GetCalibrations)
}

// AllLots walks the lots of a glaze ("studios/{studio}/glazes/{glaze}") by id.
func (c *Client) AllLots(ctx context.Context, glaze string) iter.Seq2[*pb.Lot, error] {
	return pages(func(token string) (*pb.ListLotsResponse, error) {
		return c.Glazes.ListLots(ctx, &pb.ListLotsRequest{Parent: glaze, PageSize: pageSize, PageToken: token})
	}, (*pb.ListLotsResponse).GetLots)
}

// AllMaterials walks a studio's own materials by id, and after them, if they are wanted, the minerals that every studio has.
func (c *Client) AllMaterials(ctx context.Context, studio string, builtIn bool) iter.Seq2[*pb.Material, error] {
	return pages(func(token string) (*pb.ListMaterialsResponse, error) {
		return c.Materials.ListMaterials(ctx, &pb.ListMaterialsRequest{Parent: studio, PageSize: pageSize, PageToken: token, IncludeBuiltIn: builtIn})
	}, (*pb.ListMaterialsResponse).GetMaterials)
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
