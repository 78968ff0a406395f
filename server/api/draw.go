package api

import (
	"context"
	"math"

	"github.com/catchline/catchline/model"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// DrawWall draws the wall with the film before and after.
func (s *scores) DrawWall(ctx context.Context, r *pb.DrawWallRequest) (*pb.DrawWallResponse, error) {
	asked, err := sameStudio(r.GetParent(), r.GetScore())
	if err != nil {
		return nil, err
	}
	q, score, err := s.score(ctx, "score.", asked)
	if err != nil {
		return nil, err
	}
	shown, err := s.show(q, score)
	if err != nil {
		return nil, err
	}
	points, err := q.film(score)
	if err != nil {
		return nil, err
	}
	return &pb.DrawWallResponse{Film: points, Score: shown}, nil
}

// film gives the film along the wall before the firing and after it at the median drive.
func (q *question) film(score *model.Score) ([]*pb.FilmPoint, error) {
	thickness := score.Physics.Flow.Thickness
	before, err := q.Wall.Film(0, thickness)
	if err != nil {
		return nil, err
	}
	after, err := q.Wall.Film(math.Exp(score.Prediction.Quantile(0.5)), thickness)
	if err != nil {
		return nil, err
	}
	out := make([]*pb.FilmPoint, len(before))
	for i := range before {
		p := &pb.FilmPoint{
			FromFootMm: 1e3 * before[i].Along,
			BeforeUm:   1e6 * before[i].Thickness,
			AfterUm:    1e6 * after[i].Thickness,
		}
		if q.profile != nil {
			at := q.profile.At(before[i].Along)
			p.HeightMm, p.RadiusMm = 1e3*at.Height, 1e3*at.Radius
		} else {
			p.HeightMm = 1e3 * before[i].Along * q.Wall.Sin()
			p.RadiusMm = 1e3 * before[i].Along * math.Sqrt(1-q.Wall.Sin()*q.Wall.Sin())
		}
		out[i] = p
	}
	return out, nil
}
