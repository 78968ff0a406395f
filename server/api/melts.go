package api

import (
	"context"
	"errors"
	"fmt"
	"math"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/melt"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

const (
	describeFromC  = 900
	describeToC    = 1350
	describePoints = 46
	// ironC is the temperature at which the state of the iron is told and taken for the whole curve, °C.
	ironC = 1200
	// Between these an isokom is told, °C.
	isokomFromC = 500
	isokomToC   = 1700
	// sumTolerance is how far the mole fractions of a sample may be from 1.
	sumTolerance = 0.02
)

func (s *glazes) DescribeMelt(ctx context.Context, r *pb.DescribeMeltRequest) (*pb.DescribeMeltResponse, error) {
	studio, err := parseName("parent", r.Parent, store.KindStudio)
	if err != nil {
		return nil, err
	}
	if _, err := s.api.read(ctx, studio); err != nil {
		return nil, err
	}
	glaze, field, err := s.glazeToDescribe(ctx, r)
	if err != nil {
		return nil, err
	}
	own, err := s.api.ownMaterials(ctx, studio.ID)
	if err != nil {
		return nil, err
	}
	c, err := compositionOf(glaze, own)
	if err != nil {
		return nil, under(field, err)
	}
	from, to, points := float64(describeFromC), float64(describeToC), describePoints
	if r.FromC != nil {
		from = *r.FromC
	}
	if r.ToC != nil {
		to = *r.ToC
	}
	if r.Points != nil {
		points = int(*r.Points)
	}
	if !(to > from) {
		return nil, fieldError("to_c", to, "more than from_c, which is "+plain(from))
	}
	response := &pb.DescribeMeltResponse{}
	var x *chem.Melt
	var curve melt.Curve
	if c == nil {
		if curve, err = describedCurve(glaze); err != nil {
			return nil, under(field, err)
		}
	} else {
		response.Composition = compositionMessage(c)
		kelvin := ironC + zeroCelsius
		split := melt.SplitIron(&c.Melt, kelvin, atmosphereOf(r.Atmosphere).Log10FO2(kelvin))
		x = &split
		if iron := x[chem.FeO] + 2*x[chem.Fe2O3]; iron > 0 {
			share := x[chem.FeO] / iron
			response.FerrousShare = &share
		}
		curve = melt.Viscosity(x)
		if fraction, sd := melt.CrystalsOf(surfaceOf(glaze.Surface)); fraction > 0 {
			curve = curve.Suspended(fraction, sd)
			response.Notes = append(response.Notes, fmt.Sprintf("stiffer by about %.0f %% of crystals by volume, for its surface", 100*fraction))
		}
	}
	for i := range points {
		celsius := from + (to-from)*float64(i)/float64(points-1)
		response.Curve = append(response.Curve, meltPoint(&curve, x, celsius))
	}
	for _, level := range []float64{2, 2.5, 3, 4} {
		kelvin, err := curve.Isokom(level)
		if celsius := kelvin - zeroCelsius; err == nil && celsius >= isokomFromC && celsius <= isokomToC {
			response.Isokoms = append(response.Isokoms, &pb.Isokom{Log10ViscosityPaS: level, TemperatureC: celsius})
		}
	}
	if said := curve.Domain().String(); said != "" {
		response.Notes = append(response.Notes, said)
	}
	return response, nil
}

// glazeToDescribe finds the glaze of the request, a lot's chemistry in its place, and the field that it comes from.
func (s *glazes) glazeToDescribe(ctx context.Context, r *pb.DescribeMeltRequest) (*pb.Glaze, string, error) {
	switch {
	case r.GetInlineGlaze() != nil:
		g := r.GetInlineGlaze()
		_, _, err := coneRange(g)
		return g, "inline_glaze", under("inline_glaze", err)
	case r.GetLot() != "":
		key, err := parseName("lot", r.GetLot(), store.KindLot)
		if err != nil {
			return nil, "", err
		}
		lot, err := s.lots.stored(ctx, key)
		if err != nil {
			return nil, "", err
		}
		glaze, err := s.stored(ctx, store.Key{Studio: key.Studio, Kind: store.KindGlaze, ID: key.Parent})
		if err != nil {
			return nil, "", err
		}
		asLot(glaze, lot)
		return glaze, "lot", nil
	}
	key, err := parseName("glaze", r.GetGlaze(), store.KindGlaze)
	if err != nil {
		return nil, "", err
	}
	glaze, err := s.stored(ctx, key)
	return glaze, "glaze", err
}

// describedCurve is the wide guess at the viscosity of a glaze of unknown chemistry, at the middle of its cones.
func describedCurve(g *pb.Glaze) (melt.Curve, error) {
	from, to, err := coneRange(g)
	if err != nil {
		return melt.Curve{}, err
	}
	kelvin, err := firing.ConeKelvin((from + to) / 2)
	if err != nil {
		return melt.Curve{}, under("cone_from", unnamed(err))
	}
	return melt.Described(surfaceOf(g.Surface), behaviourOf(g.GetDescribed().GetBehaviour()), kelvin)
}

// meltPoint gives the properties at a temperature; those that take a chemistry are left out where there is none.
func meltPoint(curve *melt.Curve, x *chem.Melt, celsius float64) *pb.MeltPoint {
	kelvin := celsius + zeroCelsius
	p := &pb.MeltPoint{TemperatureC: celsius, Log10ViscosityPaS: curve.Log10(kelvin), Log10ViscositySd: curve.SD(kelvin)}
	if x != nil {
		p.DensityKgM3, _ = melt.Density(x, kelvin)
		p.SurfaceTensionNM, _ = melt.SurfaceTension(x, kelvin)
	}
	return p
}

func (s *glazes) PredictViscosity(ctx context.Context, r *pb.PredictViscosityRequest) (*pb.PredictViscosityResponse, error) {
	response := &pb.PredictViscosityResponse{Viscosities: make([]*pb.MeltViscosity, len(r.Samples))}
	for i, sample := range r.Samples {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		field := fmt.Sprintf("samples[%d]", i)
		x, err := meltOf(sample.MoleFractions)
		if err != nil {
			return nil, under(field, err)
		}
		sum := 0.0
		for _, f := range x {
			sum += f
		}
		if math.Abs(sum-1) > sumTolerance {
			return nil, fieldError(field+".mole_fractions", sum, "a sum of 1 within 0.02")
		}
		for o := range x {
			x[o] /= sum
		}
		curve := melt.Viscosity(&x)
		v := &pb.MeltViscosity{Log10ViscosityPaS: curve.Log10(sample.TemperatureK), Log10ViscositySd: curve.SD(sample.TemperatureK)}
		if math.IsNaN(v.Log10ViscosityPaS) || math.IsNaN(v.Log10ViscositySd) {
			return nil, errors.New(field + ": the model gives no number")
		}
		response.Viscosities[i] = v
	}
	return response, nil
}
