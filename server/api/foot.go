package api

import (
	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/risk"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// atFoot works out what comes over the foot and which cookie to put under.
func (q *question) atFoot(score *model.Score) (*risk.Overflow, *risk.Cookie, error) {
	atFoot := score.Prediction.At(score.Physics.Course.BeadElasticity(q.Wall.Clearance()))
	foot, err := risk.OverflowOf(&atFoot, &score.Physics.Course, score.Physics.Flow.Thickness, q.Tolerated)
	if err != nil {
		return nil, nil, err
	}
	d := risk.Decision{
		Overflow:        &foot,
		FootDiameter:    q.footDiameter(),
		CapillaryLength: film.CapillaryLength(score.Tension, score.Density),
		Costs:           costsOf(q.studio.settings, q.ware),
		Sizes:           sizesOf(q.studio.settings),
	}
	cookie, err := d.Cookie()
	return &foot, &cookie, err
}

// footDiameter in m; a straight wall stands on a foot as wide as itself.
func (q *question) footDiameter() float64 {
	if q.profile == nil {
		return tileWidthMM * 1e-3
	}
	return q.profile.FootDiameter()
}

// costsOf reads what mishaps cost a studio; a ware's own value goes before the studio's.
func costsOf(s *pb.StudioSettings, w *pb.Ware) risk.Costs {
	c := risk.DefaultCosts
	given := s.GetCosts()
	if given != nil {
		set(&c.GrindShelf, given.GrindShelf)
		set(&c.LoseShelf, given.LoseShelf)
		set(&c.LoseWare, given.LoseWare)
		set(&c.PlainCookie, given.PlainCookie)
		set(&c.DishedCookie, given.DishedCookie)
	}
	if w != nil {
		set(&c.LoseWare, w.Value)
	}
	return c
}

// set puts a given number in the place of a default.
func set(to, given *float64) {
	if given != nil {
		*to = *given
	}
}

// sizesOf reads which cookies a studio makes.
func sizesOf(s *pb.StudioSettings) risk.Sizes {
	sizes := risk.DefaultSizes
	if d := s.GetCookieDiametersMm(); len(d) > 0 {
		sizes.Diameters = metres(d)
	}
	if t := s.GetCookieThicknessesMm(); len(t) > 0 {
		sizes.Thicknesses = metres(t)
	}
	return sizes
}

func metres(mm []float64) []float64 {
	out := make([]float64, len(mm))
	for i, v := range mm {
		out[i] = v * 1e-3
	}
	return out
}

// footAndShelf shows what happens at the foot.
func footAndShelf(foot *risk.Overflow, cookie *risk.Cookie) *pb.FootAndShelf {
	const mm, mm3 = 1e3, 1e9
	return &pb.FootAndShelf{
		OverFootProbability: foot.Passes,
		ExpectedVolumeMm3:   foot.Expected * mm3,
		VolumeP90Mm3:        foot.P90 * mm3,
		PoolDiameterMm:      cookie.Pool.Diameter * mm,
		PoolThicknessMm:     cookie.Pool.Thickness * mm,
		Cookie:              cookieKind(cookie.Kind),
		CookieDiameterMm:    cookie.Diameter * mm,
		CookieThicknessMm:   cookie.Thickness * mm,
		Reason:              cookie.Reason,
		CostNone:            cookie.CostNone,
		CostPlain:           cookie.CostPlain,
		CostDished:          cookie.CostDished,
	}
}

func cookieKind(k risk.CookieKind) pb.CookieKind {
	return pb.CookieKind_COOKIE_KIND_NONE + pb.CookieKind(k)
}
