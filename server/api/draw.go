package api

import (
	"context"
	"math"
	"strings"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/film"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/draw"
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
	shown, err := s.show(ctx, q, score)
	if err != nil {
		return nil, err
	}
	before, after, err := q.film(score)
	if err != nil {
		return nil, err
	}
	svg, err := q.picture(score, before, after)
	if err != nil {
		return nil, err
	}
	return &pb.DrawWallResponse{Svg: svg, Film: q.filmPoints(before, after), Score: shown}, nil
}

// film gives the film along the wall before the firing and after it at the median drive.
func (q *question) film(score *model.Score) (before, after []film.FilmPoint, err error) {
	thickness := score.Physics.Flow.Thickness
	if before, err = q.Wall.Film(0, thickness); err != nil {
		return nil, nil, err
	}
	after, err = score.Physics.Course.Film(math.Exp(score.Prediction.Quantile(0.5)), thickness)
	return before, after, err
}

func (q *question) filmPoints(before, after []film.FilmPoint) []*pb.FilmPoint {
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
	return out
}

// picture draws the wall as SVG. Of a level wall, on which nothing moves, there is none.
func (q *question) picture(score *model.Score, before, after []film.FilmPoint) (string, error) {
	profile := q.profile
	if profile == nil {
		if q.Wall.Sin() == 0 {
			return "", nil
		}
		var err error
		if profile, err = film.Tile(q.Wall.Band()+q.Wall.Clearance(), tileWidthMM*1e-3, math.Asin(q.Wall.Sin())); err != nil {
			return "", err
		}
	}
	_, cookie, err := q.atFoot(score)
	if err != nil {
		return "", err
	}
	p := draw.Picture{
		Title:   q.title(),
		Profile: profile,
		Before:  before,
		After:   after,
		Edge:    q.Wall.Clearance(),
		Drip:    math.Max(0, q.Wall.Clearance()-score.Median),
		Cookie:  film.Pool{Diameter: cookie.Diameter, Thickness: cookie.Thickness},
	}
	var svg strings.Builder
	err = p.WriteSVG(&svg)
	return svg.String(), err
}

// title names the layering from the outermost glaze to the wall, such as "Amber over White".
func (q *question) title() string {
	names := make([]string, len(q.Layers))
	for i := range q.Layers {
		names[len(names)-1-i] = q.studio.nameOfGlaze(q.Layers[i].Fired.Glaze.Name)
	}
	return strings.Join(names, " over ")
}
