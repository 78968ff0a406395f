package api

import (
	"context"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// predictTile scores a tile before its outcome is learnt from. Nothing is said where nothing can be.
func (a *API) predictTile(context.Context, string, *pb.Tile) (*pb.TilePrediction, error) {
	return nil, nil
}
