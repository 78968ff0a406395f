package api

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// comments reads the comment above each field of the contract.
func comments(t *testing.T) map[string]string {
	files, err := filepath.Glob("../../proto/catchline/v1/*.proto")
	if err != nil || len(files) == 0 {
		t.Fatal("no contract", err)
	}
	field := regexp.MustCompile(`^\s+(?:repeated |optional )?(?:map<[^>]*>|[\w.]+) (\w+) = \d+;`)
	all := map[string]string{}
	for _, file := range files {
		f, err := os.Open(file)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		message, comment := "", ""
		for lines := bufio.NewScanner(f); lines.Scan(); {
			line := strings.TrimRight(lines.Text(), " ")
			switch trimmed := strings.TrimSpace(line); {
			case strings.HasPrefix(line, "message "):
				message, comment = strings.Fields(line)[1], ""
			case strings.HasPrefix(trimmed, "//"):
				comment += " " + strings.TrimSpace(strings.TrimPrefix(trimmed, "//"))
			case field.MatchString(line):
				all[message+"."+field.FindStringSubmatch(line)[1]] = strings.TrimSpace(comment)
				comment = ""
			default:
				comment = ""
			}
		}
	}
	return all
}

// inRequests calls visit with every field that a request can hold.
func inRequests(visit func(protoreflect.FieldDescriptor)) {
	seen := map[protoreflect.FullName]bool{}
	var walk func(protoreflect.MessageDescriptor)
	walk = func(m protoreflect.MessageDescriptor) {
		if seen[m.FullName()] || !strings.HasPrefix(string(m.FullName()), contractPackage) {
			return
		}
		seen[m.FullName()] = true
		for i := range m.Fields().Len() {
			f := m.Fields().Get(i)
			visit(f)
			inner := f
			if f.IsMap() {
				inner = f.MapValue()
			}
			if inner.Message() != nil && !limits[limitKey(f.FullName())].output {
				walk(inner.Message())
			}
		}
	}
	protoregistry.GlobalFiles.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		if f.Package() != pb.File_catchline_v1_tile_proto.Package() {
			return true
		}
		for i := range f.Services().Len() {
			methods := f.Services().Get(i).Methods()
			for j := range methods.Len() {
				walk(methods.Get(j).Input())
			}
		}
		return true
	})
}

// TestLimitsAreThoseOfTheContract holds the table to what the contract's comments tell its readers.
func TestLimitsAreThoseOfTheContract(t *testing.T) {
	said := comments(t)
	numberText := `(-?[\d,]+(?:\.\d+)?(?:e\d+)?)`
	fromTo := regexp.MustCompile(numberText + ` to ` + numberText)
	moreThan := regexp.MustCompile(`more than 0 and at most ` + numberText)
	characters := regexp.MustCompile(`(?:at most|1 to) ([\d,]+) characters`)
	parse := func(s string) float64 {
		x, err := strconv.ParseFloat(strings.ReplaceAll(s, ",", ""), 64)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	checked := 0
	inRequests(func(f protoreflect.FieldDescriptor) {
		key := limitKey(f.FullName())
		l, comment := limits[key], said[string(key)]
		if comment == "" {
			t.Errorf("%s has no comment", key)
		}
		if l.output != strings.HasPrefix(comment, "Output only") && f.Name() != "name" {
			t.Errorf("%s: output %v, but the contract says %q", key, l.output, comment)
		}
		if l.output {
			return
		}
		value := f
		if f.IsMap() {
			value = f.MapValue()
		}
		switch value.Kind() {
		case protoreflect.DoubleKind, protoreflect.FloatKind, protoreflect.Int32Kind, protoreflect.Int64Kind:
			if !l.number {
				t.Errorf("%s is a number without limits", key)
			}
			switch m := fromTo.FindStringSubmatch(comment); {
			case f.Name() == "page_size", key == "SvgPath.axis_x": // clamped; anywhere on the drawing
			case moreThan.MatchString(comment):
				if !l.above || l.least != 0 || l.most != parse(moreThan.FindStringSubmatch(comment)[1]) {
					t.Errorf("%s: %s, but the contract says %q", key, l.rangeOr(""), comment)
				}
				checked++
			case m != nil:
				if l.above || l.least != parse(m[1]) || l.most != parse(m[2]) {
					t.Errorf("%s: %s, but the contract says %q", key, l.rangeOr(""), comment)
				}
				checked++
			}
		case protoreflect.StringKind:
			if !l.text && l.kind == "" {
				t.Errorf("%s is a text without a limit", key)
			}
			if m := characters.FindStringSubmatch(comment); m != nil {
				if float64(l.longest) != parse(m[1]) {
					t.Errorf("%s: %d characters, but the contract says %q", key, l.longest, comment)
				}
				checked++
			}
		}
		if f.IsMap() && (f.MapKey().Kind() != protoreflect.StringKind || f.MapValue().Kind() != protoreflect.DoubleKind) {
			t.Errorf("%s is a map of something else than texts to numbers, which is not looked into", key)
		}
		if f.IsList() && l.mostOf == 0 && value.Kind() != protoreflect.EnumKind {
			t.Errorf("%s is a list without a longest length", key)
		}
	})
	if checked < 80 {
		t.Errorf("only %d limits found in the comments", checked)
	}
}

// TestEveryLimitIsOfAField finds slips in the table's names.
func TestEveryLimitIsOfAField(t *testing.T) {
	for key := range limits {
		full := protoreflect.FullName(contractPackage) + key
		if _, err := protoregistry.GlobalFiles.FindDescriptorByName(full); err != nil {
			t.Errorf("%s: %v", key, err)
		}
	}
}

// TestNoRequestTakesNaN puts a NaN, an infinity and a number below the least into every number that a request can hold.
func TestNoRequestTakesNaN(t *testing.T) {
	tried := 0
	inRequests(func(f protoreflect.FieldDescriptor) {
		value := f
		if f.IsMap() {
			value = f.MapValue()
		}
		if k := value.Kind(); k != protoreflect.DoubleKind && k != protoreflect.FloatKind || limits[limitKey(f.FullName())].output {
			return
		}
		for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -math.MaxFloat64} {
			mt, err := protoregistry.GlobalTypes.FindMessageByName(f.ContainingMessage().FullName())
			if err != nil {
				t.Fatal(err)
			}
			m := mt.New()
			v := protoreflect.ValueOfFloat64(x)
			path := string(f.Name())
			switch {
			case f.IsList():
				m.Mutable(f).List().Append(v)
				path += "[0]"
			case f.IsMap():
				m.Mutable(f).Map().Set(protoreflect.ValueOfString("SiO2").MapKey(), v)
				path += `["SiO2"]`
			default:
				m.Set(f, v)
			}
			c := &checker{}
			c.message(reflect.ValueOf(m.Interface()).Elem(), planOf(m.Interface()), true)
			if len(c.faults.Listed) != 1 || c.faults.Listed[0].Field != path {
				t.Errorf("%s of %v: %v, want a fault of %s", f.FullName(), x, c.faults, path)
			}
			tried++
		}
	})
	if tried < 4*50 {
		t.Errorf("only %d tried", tried)
	}
}

func TestBadInputIsNamed(t *testing.T) {
	w := newStudio(t)
	tile := func(change func(*pb.Tile)) error {
		next := aTile()
		change(next)
		_, err := w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: next})
		return err
	}
	glaze := func(g *pb.Glaze) error {
		g.DisplayName = "Bad"
		_, err := w.glazes.CreateGlaze(w, &pb.CreateGlazeRequest{Parent: "studios/test", Glaze: g})
		return err
	}
	recipe := func(parts ...*pb.Ingredient) *pb.Glaze {
		return &pb.Glaze{Chemistry: &pb.Glaze_Recipe{Recipe: &pb.Recipe{Ingredients: parts}}}
	}
	firing := func(p *pb.FiringPlan) error {
		_, err := w.firings.CreateFiring(w, &pb.CreateFiringRequest{Parent: "studios/test", Firing: &pb.Firing{DisplayName: "Bad", Plan: p}})
		return err
	}
	segments := func(s ...*pb.Segment) *pb.FiringPlan {
		return &pb.FiringPlan{Heat: &pb.FiringPlan_Segments{Segments: &pb.SegmentFiring{Segments: s}}}
	}
	ware := func(s *pb.WareShape) error {
		_, err := w.wares.CreateWare(w, &pb.CreateWareRequest{Parent: "studios/test", Ware: &pb.Ware{DisplayName: "Bad", Shape: s}})
		return err
	}
	nine := make([]*pb.Layer, 9)
	for i := range nine {
		nine[i] = &pb.Layer{Glaze: "studios/test/glazes/clear"}
	}
	for _, c := range []struct {
		err   error
		words []string
	}{
		{tile(func(t *pb.Tile) { t.Layering.Layers = nil }), []string{"tile.layering.layers is 0 long; allowed: 1 to 8"}},
		{tile(func(t *pb.Tile) { t.Layering.Layers = nine }), []string{"tile.layering.layers is 9 long; allowed: 1 to 8"}},
		{tile(func(t *pb.Tile) { t.Layering.Layers[1].Amount = &pb.Layer_Coats{} }), []string{"tile.layering.layers[1].coats is 0; allowed: more than 0 and at most 20"}},
		{tile(func(t *pb.Tile) { t.Layering.Layers[1].Amount = &pb.Layer_Coats{Coats: -2} }), []string{"layers[1].coats is -2"}},
		{tile(func(t *pb.Tile) { t.Layering.Layers[0].Amount = &pb.Layer_Coats{Coats: math.NaN()} }), []string{"layers[0].coats is NaN"}},
		{tile(func(t *pb.Tile) { t.Layering.Layers[0].Glaze = "clear" }), []string{`layers[0].glaze is "clear"; allowed: a name of the form studios/{studio}/glazes/{glaze}`}},
		{tile(func(t *pb.Tile) { t.Layering.Layers[1].Glaze = "studios/test/glazes/none" }), []string{`tile.layering.layers[1].glaze is "studios/test/glazes/none"; allowed: a glaze that exists`}},
		{tile(func(t *pb.Tile) { t.Layering.Layers[1].Glaze = "studios/other/glazes/clear" }), []string{"layers[1].glaze", "allowed: a name under studios/test"}},
		{tile(func(t *pb.Tile) { t.Layering.Layers[1].Lot = "studios/test/glazes/clear/lots/bucket-2" }), []string{"layers[1].lot", "a lot of studios/test/glazes/amber"}},
		{tile(func(t *pb.Tile) { t.Layering.Body = "studios/test/bodies/none" }), []string{"tile.layering.body", "a body that exists"}},
		{tile(func(t *pb.Tile) { t.FiringSource = &pb.Tile_Firing{Firing: "studios/test/firings/none"} }), []string{"tile.firing", "a firing that exists"}},
		{tile(func(t *pb.Tile) { t.FiringSource = nil }), []string{"tile.firing_source is empty; allowed: exactly one of firing, firing_plan"}},
		{tile(func(t *pb.Tile) { t.FiringSource = &pb.Tile_FiringPlan{FiringPlan: conePlan("66")} }), []string{`tile.firing_plan.cone.cone is "66"`}},
		{tile(func(t *pb.Tile) { t.WitnessCone = &pb.WitnessCone{Cone: "x"} }), []string{`tile.witness_cone.cone is "x"`}},
		{tile(func(t *pb.Tile) { t.WitnessCone = &pb.WitnessCone{Cone: "10"} }), []string{"tile.witness_cone is cone 10"}},
		{tile(func(t *pb.Tile) { t.Outcome = nil }), []string{"tile.outcome is empty"}},
		{tile(func(t *pb.Tile) { t.Outcome = &pb.Tile_RunInterval{RunInterval: &pb.RunInterval{FromMm: 5, ToMm: 5}} }), []string{"tile.run_interval.to_mm is 5; allowed: more than from_mm, which is 5"}},
		{tile(func(t *pb.Tile) { t.MeanFrontMm = proto.Float64(13) }), []string{"tile.mean_front_mm is 13"}},
		{tile(func(t *pb.Tile) { t.FireDate = "14.3.2026" }), []string{`tile.fire_date is "14.3.2026"`}},
		{tile(func(t *pb.Tile) { t.FireDate = "2026-03-16" }), []string{"to today"}},
		{tile(func(t *pb.Tile) { t.PhotoUri = "javascript:alert(1)" }), []string{"tile.photo_uri"}},
		{tile(func(t *pb.Tile) { t.Notes = strings.Repeat("x", 4001) }), []string{"tile.notes is 4001 characters; allowed: at most 4000 characters"}},
		{tile(func(t *pb.Tile) { t.Tester = "a\x00b" }), []string{"tile.tester", "U+0000"}},
		{tile(func(t *pb.Tile) { t.Layering.Layers[0].Method = 99 }), []string{"layers[0].method is 99; allowed: one of"}},
		{tile(func(t *pb.Tile) {
			t.Placement = &pb.Placement{Wall: &pb.Placement_Ware{Ware: "studios/test/wares/none"}}
		}), []string{"tile.placement.ware", "a ware that exists"}},
		{glaze(recipe(&pb.Ingredient{Material: "quarz", Amount: 1})), []string{`glaze.recipe.ingredients[0].material is "quarz"`, "quartz"}},
		{glaze(recipe(&pb.Ingredient{Material: "quartz", Amount: -1})), []string{"glaze.recipe.ingredients[0].amount is -1"}},
		{glaze(recipe()), []string{"glaze.recipe.ingredients is 0 long; allowed: 1 to 64"}},
		{glaze(&pb.Glaze{}), []string{"glaze.chemistry is empty; allowed: exactly one of recipe, analysis, seger, described"}},
		{glaze(&pb.Glaze{Chemistry: &pb.Glaze_Analysis{Analysis: &pb.OxideAnalysis{OxidesPercent: map[string]float64{"SiO3": 60}}}}),
			[]string{`glaze.analysis.oxides_percent["SiO3"] is "SiO3"`}},
		{glaze(&pb.Glaze{Chemistry: &pb.Glaze_Analysis{Analysis: &pb.OxideAnalysis{OxidesPercent: map[string]float64{"CO2": 60}}}}),
			[]string{"glaze.analysis.oxides_percent is 100 % that leaves in the fire"}},
		{glaze(&pb.Glaze{Chemistry: &pb.Glaze_Seger{Seger: &pb.SegerFormula{Moles: map[string]float64{"SiO2": math.Inf(1)}}}}),
			[]string{`glaze.seger.moles["SiO2"] is +Inf; allowed: 0 to 100`}},
		{glaze(&pb.Glaze{Chemistry: &pb.Glaze_Described{Described: &pb.DescribedGlaze{}}}), []string{"glaze.cone_from is empty"}},
		{glaze(&pb.Glaze{Chemistry: &pb.Glaze_Described{Described: &pb.DescribedGlaze{}}, ConeFrom: "6", ConeTo: "06"}), []string{"glaze.cone_to is cone 06; allowed: cone 6"}},
		{firing(conePlan("15")), []string{`firing.plan.cone.cone is "15"`}},
		{firing(segments(&pb.Segment{RampCPerH: 100, TargetC: 1500})), []string{"firing.plan.segments.segments[0].target_c is 1500; allowed: 0 to 1450"}},
		{firing(segments(&pb.Segment{RampCPerH: 100, TargetC: 400})), []string{"firing.plan.heat"}},
		{firing(&pb.FiringPlan{Heat: &pb.FiringPlan_Log{Log: &pb.KilnLog{Csv: "minutes,temperature_c\n0,20\n60,x\n"}}}), []string{"firing.plan.log.csv line 3 temperature_c"}},
		{firing(&pb.FiringPlan{}), []string{"firing.plan.heat is empty; allowed: exactly one of cone, segments, log"}},
		{ware(&pb.WareShape{Kind: &pb.WareShape_Bowl{Bowl: &pb.BowlShape{HeightMm: 80, RimDiameterMm: 50, FootDiameterMm: 60}}}), []string{"ware.shape.bowl.rim_diameter_mm is 50; allowed: more than foot_diameter_mm, which is 60"}},
		{ware(&pb.WareShape{Kind: &pb.WareShape_Profile{Profile: &pb.Profile{Points: []*pb.ProfilePoint{{HeightMm: 0, RadiusMm: 40}, {HeightMm: 0, RadiusMm: 40}}}}}), []string{"ware.shape.profile.points[1]"}},
		{ware(&pb.WareShape{Kind: &pb.WareShape_Tile{Tile: &pb.TileShape{HeightMm: 80, WidthMm: 50, AngleDeg: proto.Float64(0)}}}), []string{"ware.shape.tile.angle_deg"}},
		{ware(nil), []string{"ware.shape is empty; allowed: a ware shape"}},
	} {
		refused(t, c.err, codes.InvalidArgument, c.words...)
	}
}

func TestManyFaultsAreToldAtOnce(t *testing.T) {
	w := newStudio(t)
	tile := aTile()
	tile.Layering.Layers[0].Amount = &pb.Layer_Coats{Coats: 30}
	tile.ReadingErrorMm = proto.Float64(0)
	tile.Outcome = nil
	_, err := w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: tile})
	refused(t, err, codes.InvalidArgument, "layers[0].coats is 30", "reading_error_mm is 0", "outcome is empty")
	if got := violations(err); len(got) != 3 || got[0].Field != "tile.layering.layers[0].coats" {
		t.Errorf("violations %v", got)
	}
}

func BenchmarkCheck(b *testing.B) {
	r := &pb.ScoreLayeringRequest{
		Parent: "studios/demo",
		Layering: &pb.Layering{Layers: []*pb.Layer{
			{Glaze: "studios/demo/glazes/one", Amount: &pb.Layer_Coats{Coats: 2}}, {Glaze: "studios/demo/glazes/two", Amount: &pb.Layer_Coats{Coats: 1.5}},
		}},
		FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: "studios/demo/firings/cone-6"},
		Placement:    &pb.Placement{ClearanceMm: proto.Float64(40)},
	}
	b.ReportAllocs()
	for b.Loop() {
		if err := check(r); err != nil {
			b.Fatal(err)
		}
	}
}
