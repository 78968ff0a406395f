package api

import (
	"math"
	"slices"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// requestTypes are the requests of all methods, by name.
func requestTypes(t testing.TB) []protoreflect.MessageType {
	var all []protoreflect.MessageType
	protoregistry.GlobalFiles.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			for j := range f.Services().Get(i).Methods().Len() {
				m := f.Services().Get(i).Methods().Get(j).Input()
				if f.Package() != pb.File_catchline_v1_tile_proto.Package() {
					continue
				}
				mt, err := protoregistry.GlobalTypes.FindMessageByName(m.FullName())
				if err != nil {
					t.Fatal(err)
				}
				all = append(all, mt)
			}
		}
		return true
	})
	slices.SortFunc(all, func(a, b protoreflect.MessageType) int {
		if a.Descriptor().FullName() < b.Descriptor().FullName() {
			return -1
		}
		return 1
	})
	return all
}

// allFinite fails the test if a message holds a number that is none.
func allFinite(t *testing.T, m protoreflect.Message) {
	number := func(f protoreflect.FieldDescriptor, v protoreflect.Value) {
		switch f.Kind() {
		case protoreflect.DoubleKind, protoreflect.FloatKind:
			if x := v.Float(); math.IsNaN(x) || math.IsInf(x, 0) {
				t.Fatalf("%s is %v", f.FullName(), x)
			}
		case protoreflect.MessageKind:
			allFinite(t, v.Message())
		}
	}
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsMap():
			v.Map().Range(func(_ protoreflect.MapKey, v protoreflect.Value) bool { number(f.MapValue(), v); return true })
		case f.IsList():
			for i := range v.List().Len() {
				number(f, v.List().Get(i))
			}
		default:
			number(f, v)
		}
		return true
	})
}

// FuzzRequest: whatever JSON a request comes in, it is refused in words, or its numbers are numbers, it reads the same when it
// is sent on, and what the model makes of it is finite.
func FuzzRequest(f *testing.F) {
	types := requestTypes(f)
	add := func(m proto.Message) {
		i := slices.IndexFunc(types, func(mt protoreflect.MessageType) bool { return mt.Descriptor() == m.ProtoReflect().Descriptor() })
		b, err := protojson.Marshal(m)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(uint8(i), b)
	}
	for _, tile := range everyTile() {
		add(&pb.CreateTileRequest{Parent: "studios/test", Tile: tile})
	}
	add(&pb.CreateGlazeRequest{Parent: "studios/test", Glaze: &pb.Glaze{DisplayName: "a", Chemistry: &pb.Glaze_Recipe{Recipe: &pb.Recipe{Ingredients: []*pb.Ingredient{{Material: "quartz", Amount: 1}}}}}})
	add(&pb.CreateGlazeRequest{Parent: "studios/test", Glaze: &pb.Glaze{DisplayName: "a", Chemistry: &pb.Glaze_Seger{Seger: &pb.SegerFormula{Moles: map[string]float64{"CaO": 1, "SiO2": 3}}}}})
	add(&pb.CreateGlazeRequest{Parent: "studios/test", Glaze: &pb.Glaze{DisplayName: "a", Chemistry: &pb.Glaze_Analysis{Analysis: &pb.OxideAnalysis{OxidesPercent: map[string]float64{"SiO2": 60, "F": 2}}}}})
	add(&pb.PreviewFiringRequest{Parent: "studios/test", Plan: conePlan("06")})
	add(&pb.PreviewFiringRequest{Parent: "studios/test", Plan: &pb.FiringPlan{Heat: &pb.FiringPlan_Segments{Segments: &pb.SegmentFiring{Segments: []*pb.Segment{{RampCPerH: 100, TargetC: 1200, HoldMin: 10}}}}}})
	add(&pb.CreateWareRequest{Parent: "studios/test", Ware: &pb.Ware{DisplayName: "a", Shape: &pb.WareShape{Kind: &pb.WareShape_Bottle{Bottle: &pb.BottleShape{HeightMm: 250, FootDiameterMm: 80, BellyDiameterMm: 140, NeckDiameterMm: 30}}}}})
	add(&pb.UpdateStudioRequest{Studio: &pb.Studio{Name: "studios/test", Settings: &pb.StudioSettings{ToleratedRisk: proto.Float64(0.1)}}})
	add(&pb.PredictViscosityRequest{Samples: []*pb.MeltSample{{MoleFractions: map[string]float64{"SiO2": 1}, TemperatureK: 1500}}})
	f.Fuzz(func(t *testing.T, which uint8, data []byte) {
		m := types[int(which)%len(types)].New().Interface()
		if protojson.Unmarshal(data, m) != nil {
			return
		}
		if err := check(m); err != nil {
			if got, ours := toStatus(err); ours || got.Error() == "" {
				t.Fatalf("%v is refused as %v", m, got)
			}
			return
		}
		sent, err := protojson.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		again := m.ProtoReflect().New().Interface()
		if err := protojson.Unmarshal(sent, again); err != nil || check(again) != nil {
			t.Fatalf("%s: %v, %v", sent, err, check(again))
		}
		switch r := m.(type) {
		case *pb.CreateGlazeRequest:
			c, err := compositionOf(r.Glaze, &rawMaterials{})
			if err != nil || c == nil {
				return
			}
			shown := compositionMessage(c)
			allFinite(t, shown.ProtoReflect())
			sum := 0.0
			for _, x := range shown.MoleFractions {
				sum += x
			}
			if math.Abs(sum-1) > 1e-9 {
				t.Fatalf("mole fractions of %s sum to %v", sent, sum)
			}
		case *pb.PreviewFiringRequest:
			if h, err := heatWorkOf(r.Plan); err == nil {
				allFinite(t, h.ProtoReflect())
				if len(h.Curve) > curvePoints {
					t.Fatalf("%d points", len(h.Curve))
				}
			}
		case *pb.CreateWareRequest:
			if p, err := wareProfile(r.Ware.Shape); err == nil {
				allFinite(t, profileMessage(p).ProtoReflect())
			}
		}
	})
}
