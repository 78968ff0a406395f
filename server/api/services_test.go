package api

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/access"
	"github.com/catchline/catchline/server/store"
)

func TestKeyIsShownOnceAndStoredHashed(t *testing.T) {
	w := newStudio(t)
	made := must(w.keys.CreateKey(w, &pb.CreateKeyRequest{Parent: "studios/test", Key: &pb.Key{DisplayName: "Kiln room", Role: pb.Role_ROLE_RECORD}}))(t)
	id, hash, err := access.Parse(made.Secret)
	if err != nil || made.Key.Name != "studios/test/keys/"+id {
		t.Fatalf("key %v, id %s, %v", made, id, err)
	}
	rec := must(w.api.store.FindKey(w, id))(t)
	var kept access.Record
	if err := kept.Unmarshal(rec.Body); err != nil || !kept.Proves(hash) || kept.Key.Role != pb.Role_ROLE_RECORD {
		t.Errorf("record %v, %v", kept.Key, err)
	}
	if _, proof, _ := strings.Cut(made.Secret, "."); strings.Contains(string(rec.Body), proof) {
		t.Error("the secret is stored")
	}
	list := must(w.keys.ListKeys(w, &pb.ListKeysRequest{Parent: "studios/test"}))(t)
	if len(list.Keys) != 1 || !proto.Equal(list.Keys[0], made.Key) {
		t.Errorf("list %v", list)
	}
	must(w.keys.DeleteKey(w, &pb.DeleteKeyRequest{Name: made.Key.Name}))(t)
	_, err = w.keys.DeleteKey(w, &pb.DeleteKeyRequest{Name: made.Key.Name})
	refused(t, err, codes.NotFound, made.Key.Name)
	for _, c := range []struct {
		key   *pb.Key
		words string
	}{
		{&pb.Key{DisplayName: "x"}, "key.role is ROLE_UNSPECIFIED; allowed: one of ROLE_VIEW, ROLE_RECORD, ROLE_MANAGE"},
		{&pb.Key{DisplayName: "x", Role: 9}, "key.role is 9"},
		{&pb.Key{Role: 1}, "key.display_name is empty"},
		{&pb.Key{DisplayName: "x", Role: 1, ExpireTime: timestamppb.New(noon)}, "key.expire_time is 2026-03-14T12:00:00Z; allowed: a time that has not come yet"},
		{&pb.Key{DisplayName: "x", Role: 1, ExpireTime: &timestamppb.Timestamp{Seconds: math.MaxInt64}}, "key.expire_time"},
	} {
		_, err := w.keys.CreateKey(w, &pb.CreateKeyRequest{Parent: "studios/test", Key: c.key})
		refused(t, err, codes.InvalidArgument, c.words)
	}
	_, err = w.keys.CreateKey(w, &pb.CreateKeyRequest{Parent: "studios/none", Key: &pb.Key{DisplayName: "x", Role: 1}})
	refused(t, err, codes.NotFound, "studios/none")
	_, err = w.keys.ListKeys(w, &pb.ListKeysRequest{Parent: "studios/none"})
	refused(t, err, codes.NotFound, "studios/none")
}

func TestListStudios(t *testing.T) {
	w := newStudio(t)
	for i := range 3 {
		must(w.studios.CreateStudio(w, &pb.CreateStudioRequest{Studio: &pb.Studio{DisplayName: fmt.Sprint("More ", i)}}))(t)
	}
	first := must(w.studios.ListStudios(w, &pb.ListStudiosRequest{PageSize: 3}))(t)
	rest := must(w.studios.ListStudios(w, &pb.ListStudiosRequest{PageSize: 3, PageToken: first.NextPageToken}))(t)
	if len(first.Studios) != 3 || first.Studios[0].Name != "studios/more-0" || len(rest.Studios) != 1 || rest.NextPageToken != "" {
		t.Errorf("%v then %v", first, rest)
	}
	// Who is bound to a studio sees no other.
	w.api.onlyStudio = func(context.Context) (string, bool) { return "test", true }
	bound := must(w.studios.ListStudios(w, &pb.ListStudiosRequest{}))(t)
	if len(bound.Studios) != 1 || bound.Studios[0].Name != "studios/test" {
		t.Errorf("bound %v", bound)
	}
	if err := store.SetActive(w, w.api.store, "test", "3", 0, store.Request{}); err != nil {
		t.Fatal(err)
	}
	if s := must(w.studios.GetStudio(w, &pb.GetStudioRequest{Name: "studios/test"}))(t); s.ActiveCalibration != "studios/test/calibrations/3" {
		t.Errorf("studio %v", s)
	}
}

func TestSheetsAreKeptAsTheyAre(t *testing.T) {
	w := newStudio(t)
	plan := &pb.SheetPlan{
		Positions: []*pb.SheetPosition{{Choices: []*pb.Layer{{Glaze: "studios/test/glazes/clear", Amount: &pb.Layer_Coats{Coats: 2}}}}},
		Firings:   []string{"studios/test/firings/cone-6"},
	}
	sheet := must(w.sheets.CreateSheet(w, &pb.CreateSheetRequest{Parent: "studios/test", Sheet: &pb.Sheet{DisplayName: "All over clear", Plan: plan}}))(t)
	got := must(w.sheets.GetSheet(w, &pb.GetSheetRequest{Name: "studios/test/sheets/all-over-clear"}))(t)
	if !proto.Equal(got, sheet) || !proto.Equal(got.Plan, plan) {
		t.Errorf("sheet %v", got)
	}
	plan.Firings = []string{"studios/test/firings/none"}
	_, err := w.sheets.UpdateSheet(w, &pb.UpdateSheetRequest{Sheet: &pb.Sheet{Name: sheet.Name, Plan: plan}})
	refused(t, err, codes.InvalidArgument, "sheet.plan.firings[0]", "a firing that exists")
	plan.Firings = nil
	_, err = w.sheets.CreateSheet(w, &pb.CreateSheetRequest{Parent: "studios/test", Sheet: &pb.Sheet{DisplayName: "x", Plan: plan}})
	refused(t, err, codes.InvalidArgument, "sheet.plan.firings is 0 long; allowed: 1 to 50")
	must(w.sheets.DeleteSheet(w, &pb.DeleteSheetRequest{Name: sheet.Name}))(t)
}

func TestPreviewAndLog(t *testing.T) {
	w := newStudio(t)
	var log strings.Builder
	log.WriteString("minutes,temperature_c\n")
	for minute := range 1300 { // 60 °C/h to 1222 °C, then down at 200
		fmt.Fprintf(&log, "%d,%.2f\n", minute, math.Min(20+float64(minute), 1222-math.Max(0, float64(minute)-1202)*200/60))
	}
	h := must(w.firings.PreviewFiring(w, &pb.PreviewFiringRequest{Parent: "studios/test", Plan: &pb.FiringPlan{Heat: &pb.FiringPlan_Log{Log: &pb.KilnLog{Csv: log.String()}}}}))(t)
	// The published end point of a self-supporting cone 6 at 60 °C/h is 1222 °C; what is given to it on the way down is little.
	if math.Abs(h.PeakC-1222) > 0.01 || !strings.HasPrefix(h.EquivalentCone, "6") || len(h.Curve) > curvePoints || len(h.Curve) < 300 {
		t.Errorf("heat work: peak %v, cone %s, %d points", h.PeakC, h.EquivalentCone, len(h.Curve))
	}
	highest := 0.0
	for i, p := range h.Curve {
		highest = max(highest, p.TemperatureC)
		if i > 0 && p.Minutes <= h.Curve[i-1].Minutes {
			t.Fatalf("point %d is not after the one before", i)
		}
	}
	if math.Abs(highest-h.PeakC) > 1e-6 {
		t.Errorf("the curve's highest point is %v, the peak %v", highest, h.PeakC)
	}
	plan := conePlan("6")
	believed := must(w.firings.PreviewFiring(w, &pb.PreviewFiringRequest{Parent: "studios/test", Plan: plan}))(t)
	plan.WitnessCone = &pb.WitnessCone{Cone: "6.5"}
	h = must(w.firings.PreviewFiring(w, &pb.PreviewFiringRequest{Parent: "studios/test", Plan: plan}))(t)
	if h.WitnessShiftC <= 0 || math.Abs(h.PeakC-believed.PeakC-h.WitnessShiftC) > 1e-6 {
		t.Errorf("corrected by %v to %v", h.WitnessShiftC, h.PeakC)
	}
}

func TestTrace(t *testing.T) {
	w := newStudio(t)
	fromCSV := must(w.wares.TraceProfile(w, &pb.TraceProfileRequest{Parent: "studios/test", Source: &pb.TraceProfileRequest_Csv{Csv: "height_mm,radius_mm\n0,30\n40,60\n"}}))(t)
	if math.Abs(fromCSV.WallLengthMm-50) > 1e-9 || len(fromCSV.Profile.Points) != 2 { // 30, 40, 50
		t.Errorf("traced %v", fromCSV)
	}
	svg := &pb.SvgPath{D: "M 130 100 L 160 60", MmPerUnit: 1, AxisX: proto.Float64(100)}
	fromSVG := must(w.wares.TraceProfile(w, &pb.TraceProfileRequest{Parent: "studios/test", Source: &pb.TraceProfileRequest_Svg{Svg: svg}}))(t)
	if math.Abs(fromSVG.WallLengthMm-50) > 1e-9 || math.Abs(fromSVG.Profile.Points[1].RadiusMm-60) > 1e-9 {
		t.Errorf("traced %v", fromSVG)
	}
	// Without an axis the innermost point lies on it, here the top of a lid.
	svg.D, svg.AxisX = "M 130 100 L 160 60 L 100 50", nil
	fromSVG = must(w.wares.TraceProfile(w, &pb.TraceProfileRequest{Parent: "studios/test", Source: &pb.TraceProfileRequest_Svg{Svg: svg}}))(t)
	if fromSVG.Profile.Points[2].RadiusMm != 0 || math.Abs(fromSVG.Profile.Points[0].RadiusMm-30) > 1e-9 {
		t.Errorf("traced %v", fromSVG)
	}
	for _, c := range []struct {
		request *pb.TraceProfileRequest
		words   string
	}{
		{&pb.TraceProfileRequest{}, "source is empty; allowed: exactly one of csv, svg"},
		{&pb.TraceProfileRequest{Source: &pb.TraceProfileRequest_Csv{Csv: "height_mm,radius_mm\n0,x\n"}}, "csv line 2, radius_mm"},
		{&pb.TraceProfileRequest{Source: &pb.TraceProfileRequest_Csv{}}, "csv is empty"},
		{&pb.TraceProfileRequest{Source: &pb.TraceProfileRequest_Svg{Svg: &pb.SvgPath{D: "M 130 100 L 160 60", MmPerUnit: 1}}}, "svg.axis_x is unset"},
		{&pb.TraceProfileRequest{Source: &pb.TraceProfileRequest_Svg{Svg: &pb.SvgPath{D: "L 1 1", MmPerUnit: 1}}}, "svg.d, character 1"},
		{&pb.TraceProfileRequest{Source: &pb.TraceProfileRequest_Svg{Svg: &pb.SvgPath{D: "M 0 0 L 1 -1"}}}, "svg.mm_per_unit is 0; allowed: more than 0 and at most 1000"},
	} {
		c.request.Parent = "studios/test"
		_, err := w.wares.TraceProfile(w, c.request)
		refused(t, err, codes.InvalidArgument, c.words)
	}
}

func TestNamedShapes(t *testing.T) {
	for _, c := range []struct {
		shape          *pb.WareShape
		height, length float64 // mm; length 0: only longer than the height
	}{
		{&pb.WareShape{Kind: &pb.WareShape_Tile{Tile: &pb.TileShape{HeightMm: 120, WidthMm: 50}}}, 120, 120},
		{&pb.WareShape{Kind: &pb.WareShape_Tile{Tile: &pb.TileShape{HeightMm: 120, WidthMm: 50, AngleDeg: proto.Float64(30)}}}, 60, 120},
		{&pb.WareShape{Kind: &pb.WareShape_Bowl{Bowl: &pb.BowlShape{HeightMm: 70, RimDiameterMm: 160, FootDiameterMm: 60}}}, 70, 0},
		{&pb.WareShape{Kind: &pb.WareShape_Bottle{Bottle: &pb.BottleShape{HeightMm: 250, FootDiameterMm: 80, BellyDiameterMm: 140, NeckDiameterMm: 30}}}, 250, 0},
		{&pb.WareShape{Kind: &pb.WareShape_Plate{Plate: &pb.PlateShape{HeightMm: 20, RimDiameterMm: 260, FootDiameterMm: 140}}}, 20, 0},
	} {
		p, err := wareProfile(c.shape)
		if err != nil {
			t.Errorf("%v: %v", c.shape, err)
			continue
		}
		if math.Abs(p.Height()/mm-c.height) > 1e-9 || c.length > 0 && math.Abs(p.Length()/mm-c.length) > 1e-9 || p.Length()/mm < c.height {
			t.Errorf("%v is %v mm high and %v mm along the wall", c.shape, p.Height()/mm, p.Length()/mm)
		}
	}
}

func TestDescribeMelt(t *testing.T) {
	w := newStudio(t)
	stored := must(w.glazes.DescribeMelt(w, &pb.DescribeMeltRequest{Parent: "studios/test", Source: &pb.DescribeMeltRequest_Glaze{Glaze: "studios/test/glazes/amber"},
		Atmosphere: &pb.Atmosphere{Kind: pb.AtmosphereKind_ATMOSPHERE_KIND_HEAVY_REDUCTION}}))(t)
	if len(stored.Curve) != describePoints || stored.Curve[0].TemperatureC != 900 || stored.Curve[describePoints-1].TemperatureC != 1350 {
		t.Errorf("curve %v", stored.Curve)
	}
	for i := 1; i < len(stored.Curve); i++ {
		if stored.Curve[i].Log10ViscosityPaS >= stored.Curve[i-1].Log10ViscosityPaS {
			t.Fatalf("viscosity does not fall at point %d", i)
		}
	}
	open := must(w.glazes.DescribeMelt(w, &pb.DescribeMeltRequest{Parent: "studios/test", Source: &pb.DescribeMeltRequest_InlineGlaze{
		InlineGlaze: &pb.Glaze{DisplayName: "x", Chemistry: must(w.glazes.GetGlaze(w, &pb.GetGlazeRequest{Name: "studios/test/glazes/amber"}))(t).Chemistry}}}))(t)
	if stored.GetFerrousShare() < 0.5 || open.GetFerrousShare() > 0.3 {
		t.Errorf("ferrous in reduction %v, in air %v", stored.GetFerrousShare(), open.GetFerrousShare())
	}
	for _, k := range open.Isokoms {
		at := must(w.glazes.DescribeMelt(w, &pb.DescribeMeltRequest{Parent: "studios/test", Source: &pb.DescribeMeltRequest_Glaze{Glaze: "studios/test/glazes/amber"},
			FromC: proto.Float64(min(k.TemperatureC, 1500)), ToC: proto.Float64(1700), Points: proto.Int32(2)}))(t)
		if k.TemperatureC <= 1500 && math.Abs(at.Curve[0].Log10ViscosityPaS-k.Log10ViscosityPaS) > 1e-6 {
			t.Errorf("at the isokom %v it is %v", k, at.Curve[0])
		}
	}
	jar := must(w.glazes.DescribeMelt(w, &pb.DescribeMeltRequest{Parent: "studios/test", Source: &pb.DescribeMeltRequest_Glaze{Glaze: "studios/test/glazes/jar"}}))(t)
	if jar.Composition != nil || jar.FerrousShare != nil || jar.Curve[0].DensityKgM3 != 0 || jar.Curve[0].Log10ViscositySd < 0.3 {
		t.Errorf("described %v", jar.Curve[0])
	}
	_, err := w.glazes.DescribeMelt(w, &pb.DescribeMeltRequest{Parent: "studios/test", Source: &pb.DescribeMeltRequest_Glaze{Glaze: "studios/test/glazes/none"}})
	refused(t, err, codes.NotFound, "studios/test/glazes/none")
	_, err = w.glazes.DescribeMelt(w, &pb.DescribeMeltRequest{Parent: "studios/test", Source: &pb.DescribeMeltRequest_Glaze{Glaze: "studios/test/glazes/jar"}, FromC: proto.Float64(1400)})
	refused(t, err, codes.InvalidArgument, "to_c is 1350; allowed: more than from_c, which is 1400")
}

func TestPredictViscosity(t *testing.T) {
	w := newWorld(t)
	sample := func(f map[string]float64) *pb.MeltSample { return &pb.MeltSample{MoleFractions: f, TemperatureK: 1500} }
	soda := map[string]float64{"SiO2": 0.73, "Na2O": 0.15, "CaO": 0.12}
	got := must(w.glazes.PredictViscosity(w, &pb.PredictViscosityRequest{Samples: []*pb.MeltSample{sample(soda), {MoleFractions: soda, TemperatureK: 1300}}}))(t)
	if len(got.Viscosities) != 2 || got.Viscosities[0].Log10ViscosityPaS >= got.Viscosities[1].Log10ViscosityPaS || got.Viscosities[0].Log10ViscositySd <= 0 {
		t.Errorf("viscosities %v", got)
	}
	for _, c := range []struct {
		sample *pb.MeltSample
		words  string
	}{
		{sample(map[string]float64{"SiO2": 0.5}), "samples[0].mole_fractions is 0.5; allowed: a sum of 1 within 0.02"},
		{sample(map[string]float64{"SiO2": 0.5, "sio2": 0.5}), `samples[0].mole_fractions["sio2"]`},
		{sample(map[string]float64{"SiO2": math.NaN(), "CaO": 0.5}), `samples[0].mole_fractions["SiO2"] is NaN; allowed: 0 to 1`},
		{sample(nil), "samples[0].mole_fractions is 0 long"},
		{&pb.MeltSample{MoleFractions: soda, TemperatureK: 300}, "samples[0].temperature_k is 300; allowed: 600 to 2300"},
	} {
		_, err := w.glazes.PredictViscosity(w, &pb.PredictViscosityRequest{Samples: []*pb.MeltSample{c.sample}})
		refused(t, err, codes.InvalidArgument, c.words)
	}
}

// TestCancelledRequestsKeepTheirCode: a deadline that has passed is told as that.
func TestCancelledRequestsKeepTheirCode(t *testing.T) {
	w := newStudio(t)
	ctx, stop := context.WithDeadline(w, time.Now().Add(-time.Second))
	defer stop()
	_, err := w.glazes.GetGlaze(ctx, &pb.GetGlazeRequest{Name: "studios/test/glazes/clear"})
	refused(t, err, codes.DeadlineExceeded)
}
