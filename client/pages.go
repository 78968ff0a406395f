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
