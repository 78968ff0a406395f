package api

import (
	"errors"
	"math"
	"strconv"
	"strings"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/film"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/draw"
)

const (
	mm = 1e-3 // m

	// What the named shapes leave open. Ours: plain proportions, which a traced profile replaces.
	bellyShare    = 0.45 // of the height
	neckShare     = 0.2  // of what is above the belly
	footRing      = 8    // mm, of a plate
	footRingShare = 0.25 // of a plate's height, at most
)

// wareProfile is the wall of a shape. Errors are *fault.Error with paths in the shape, such as bowl.rim_diameter_mm.
func wareProfile(shape *pb.WareShape) (*film.Profile, error) {
	switch {
	case shape.GetProfile() != nil:
		points := make([]film.Point, len(shape.GetProfile().Points))
		for i, p := range shape.GetProfile().Points {
			points[i] = film.Point{Height: p.HeightMm * mm, Radius: p.RadiusMm * mm}
		}
		p, err := film.NewProfile(points)
		return p, renamed(err, func(field string) string { return "profile." + pointPath(field) })
	case shape.GetTile() != nil:
		t := shape.GetTile()
		angle := 90.0
		if t.AngleDeg != nil {
			angle = *t.AngleDeg
		}
		p, err := film.Tile(t.HeightMm*mm, t.WidthMm*mm, angle*math.Pi/180)
		return p, renamed(err, shapePath("tile."))
	case shape.GetCylinder() != nil:
		c := shape.GetCylinder()
		p, err := film.Cylinder(c.HeightMm*mm, c.DiameterMm*mm)
		return p, renamed(err, shapePath("cylinder."))
	case shape.GetBowl() != nil:
		b := shape.GetBowl()
		if !(b.RimDiameterMm > b.FootDiameterMm) {
			return nil, fieldError("bowl.rim_diameter_mm", b.RimDiameterMm, "more than foot_diameter_mm, which is "+plain(b.FootDiameterMm))
		}
		p, err := film.Bowl(b.HeightMm*mm, b.FootDiameterMm*mm, b.RimDiameterMm*mm)
		return p, renamed(err, shapePath("bowl."))
	case shape.GetBottle() != nil:
		return bottleProfile(shape.GetBottle())
	case shape.GetPlate() != nil:
		p := shape.GetPlate()
		ring := min(footRing, footRingShare*p.HeightMm)
		profile, err := film.Plate(p.HeightMm*mm, ring*mm, p.FootDiameterMm*mm, p.RimDiameterMm*mm)
		return profile, renamed(err, shapePath("plate."))
	}
	return nil, errors.New("a shape of no kind")
}

func bottleProfile(b *pb.BottleShape) (*film.Profile, error) {
	belly := bellyShare * b.HeightMm
	if b.BellyHeightMm != nil {
		belly = *b.BellyHeightMm
	}
	switch {
	case !(belly > 0 && belly < b.HeightMm):
		return nil, fieldError("bottle.belly_height_mm", belly, "more than 0 and less than height_mm, which is "+plain(b.HeightMm))
	case b.BellyDiameterMm < b.FootDiameterMm:
		return nil, fieldError("bottle.belly_diameter_mm", b.BellyDiameterMm, "not less than foot_diameter_mm, which is "+plain(b.FootDiameterMm))
	case b.BellyDiameterMm < b.NeckDiameterMm:
		return nil, fieldError("bottle.belly_diameter_mm", b.BellyDiameterMm, "not less than neck_diameter_mm, which is "+plain(b.NeckDiameterMm))
	}
	neck := neckShare * (b.HeightMm - belly)
	p, err := film.Bottle(b.HeightMm*mm, belly*mm, neck*mm, b.FootDiameterMm*mm, b.BellyDiameterMm*mm, b.NeckDiameterMm*mm)
	return p, renamed(err, shapePath("bottle."))
}

// shapePath makes the contract's name of a dimension of the model's: "foot diameter" is bowl.foot_diameter_mm.
func shapePath(prefix string) func(string) string {
	return func(field string) string {
		if field == "angle" {
			return prefix + "angle_deg"
		}
		return prefix + strings.ReplaceAll(field, " ", "_") + "_mm"
	}
}

func pointPath(field string) string {
	if strings.HasSuffix(field, ".height") || strings.HasSuffix(field, ".radius") {
		return field + "_mm"
	}
	return field
}

func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// profileMessage shows a wall.
func profileMessage(p *film.Profile) *pb.Profile {
	points := p.Points()
	m := &pb.Profile{Points: make([]*pb.ProfilePoint, len(points))}
	for i, q := range points {
		m.Points[i] = &pb.ProfilePoint{HeightMm: q.Height / mm, RadiusMm: q.Radius / mm}
	}
	return m
}

// tracedProfile reads the wall of a trace.
func tracedProfile(r *pb.TraceProfileRequest) (*film.Profile, error) {
	if svg := r.GetSvg(); svg != nil {
		t := draw.Tracing{MetresPerUnit: svg.MmPerUnit * mm, OwnAxis: svg.AxisX == nil, Axis: svg.GetAxisX()}
		p, err := draw.ReadProfileSVG(svg.D, t)
		if bad := (*fault.Error)(nil); t.OwnAxis && errors.As(err, &bad) && strings.HasSuffix(bad.Field, ".radius") {
			return nil, &fault.Error{Field: "svg.axis_x", Value: "unset", Limit: "the x of the axis, unless the curve meets the axis at the rim and nowhere else"}
		}
		return p, renamed(err, func(field string) string {
			switch {
			case field == "scale":
				return "svg.mm_per_unit"
			case field == "axis":
				return "svg.axis_x"
			case strings.HasPrefix(field, "path"):
				return "svg.d" + strings.TrimPrefix(field, "path")
			}
			return "svg.d, " + field
		})
	}
	if r.GetCsv() == "" {
		return nil, &fault.Error{Field: "csv", Value: "empty", Limit: "a first line height_mm,radius_mm and a line for each point"}
	}
	if err := checkWidth("csv", r.GetCsv(), mostColumns); err != nil {
		return nil, err
	}
	return draw.ReadProfileCSV(strings.NewReader(r.GetCsv()))
}
