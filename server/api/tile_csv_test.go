package api

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// everyTile are tiles that between them have all that a tile can have.
func everyTile() []*pb.Tile {
	full := aTile()
	full.WitnessCone = &pb.WitnessCone{Cone: "6.3", ConeType: pb.ConeType_CONE_TYPE_SELF_SUPPORTING}
	full.Placement = &pb.Placement{Wall: &pb.Placement_AngleDeg{AngleDeg: 72.5}, BandHeightMm: proto.Float64(55.25), ClearanceMm: proto.Float64(0)}
	full.MeanFrontMm = proto.Float64(9.1)
	full.ReadingErrorMm = proto.Float64(0.1)
	full.FireDate = "2025-12-31"
	full.Notes = "=SUM(A1)\r\nsecond line, with \"quotes\"\ttab 'and' æ"
	full.PhotoUri = "https://example.org/photo?a=1&b=2"
	full.SetAside = true
	full.Tester = "'=x"
	full.Kiln = " ＝1"

	interval := aTile()
	interval.Outcome = &pb.Tile_RunInterval{RunInterval: &pb.RunInterval{FromMm: 0, ToMm: 1.0 / 3}}
	interval.Layering.Layers = []*pb.Layer{
		{Glaze: "studios/test/glazes/jar", Amount: &pb.Layer_ThicknessUm{ThicknessUm: 412}},
		{Glaze: "studios/test/glazes/jar", Amount: &pb.Layer_DryMassGPerCm2{DryMassGPerCm2: 0.125}, Method: pb.ApplicationMethod_APPLICATION_METHOD_SPRAY},
		{Glaze: "studios/test/glazes/clear"},
	}
	interval.Placement = &pb.Placement{Wall: &pb.Placement_Ware{Ware: "studios/test/wares/mug"}, LowerBands: []*pb.LowerBand{
		{Layering: &pb.Layering{Layers: []*pb.Layer{{Glaze: "studios/test/glazes/amber"}}}, FromFootMm: 5, BandHeightMm: 10}}}

	plan := aTile()
	plan.FiringSource = &pb.Tile_FiringPlan{FiringPlan: &pb.FiringPlan{
		Heat:       &pb.FiringPlan_Cone{Cone: &pb.ConeFiring{Cone: "5", HoldMin: proto.Float64(12.5)}},
		Atmosphere: &pb.Atmosphere{Kind: pb.AtmosphereKind_ATMOSPHERE_KIND_LIGHT_REDUCTION},
	}}
	plan.Outcome = &pb.Tile_RanOff{RanOff: &pb.RanOff{}}
	plan.Placement = &pb.Placement{Wall: &pb.Placement_Shape{Shape: &pb.WareShape{Kind: &pb.WareShape_Cylinder{Cylinder: &pb.CylinderShape{HeightMm: 90, DiameterMm: 70}}}}}

	still := aTile()
	still.Outcome = &pb.Tile_DidNotMove{DidNotMove: &pb.DidNotMove{}}
	still.Layering.Body = ""
	still.Tester = "-"
	return []*pb.Tile{full, interval, plan, still}
}

func (w *world) export(t *testing.T, studio string) string {
	t.Helper()
	stream := must(w.tiles.ExportTiles(w, &pb.ExportTilesRequest{Parent: studio}))(t)
	var b strings.Builder
	for {
		chunk, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return b.String()
		} else if err != nil {
			t.Fatal(err)
		}
		if !strings.HasSuffix(chunk.Csv, "\n") && chunk.Csv != "" {
			t.Errorf("a chunk ends within a line: %q", chunk.Csv)
		}
		b.WriteString(chunk.Csv)
	}
}

// bare is a tile without what only the server says.
func bare(tile *pb.Tile) *pb.Tile {
	b := proto.Clone(tile).(*pb.Tile)
	clearOutput(b.ProtoReflect())
	return b
}

func TestExportImportExport(t *testing.T) {
	w := newStudio(t)
	var logged []*pb.Tile
	for _, tile := range everyTile() {
		logged = append(logged, must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: tile}))(t))
	}
	first := w.export(t, "studios/test")
	for _, tile := range logged {
		must(w.tiles.DeleteTile(w, &pb.DeleteTileRequest{Name: tile.Name}))(t)
	}
	if got := w.export(t, "studios/test"); strings.Count(got, "\n") != 1 || !strings.HasPrefix(first, got) {
		t.Errorf("an empty studio exports %q", got)
	}
	answer := must(w.tiles.ImportTiles(w, &pb.ImportTilesRequest{Parent: "studios/test", Csv: first, RequestId: "import"}))(t)
	if answer.Imported != int32(len(logged)) || len(answer.Faults) > 0 {
		t.Fatalf("import %v", answer)
	}
	if second := w.export(t, "studios/test"); second != first {
		t.Errorf("exported\n%s\nthen\n%s", first, second)
	}
	again := must(w.tiles.ImportTiles(w, &pb.ImportTilesRequest{Parent: "studios/test", Csv: first, RequestId: "import"}))(t)
	if !proto.Equal(again, answer) {
		t.Errorf("the same request got %v, then %v", answer, again)
	}
	list := must(w.tiles.ListTiles(w, &pb.ListTilesRequest{Parent: "studios/test"}))(t)
	if len(list.Tiles) != len(logged) {
		t.Fatalf("%d tiles", len(list.Tiles))
	}
	for i, tile := range list.Tiles {
		if was := logged[len(logged)-1-i]; !proto.Equal(bare(tile), bare(was)) {
			t.Errorf("imported %v, was %v", bare(tile), bare(was))
		}
	}
}

func TestNoCellIsAFormula(t *testing.T) {
	w := newStudio(t)
	for _, tile := range everyTile() {
		must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: tile}))(t)
	}
	rows, err := csv.NewReader(strings.NewReader(w.export(t, "studios/test"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range rows {
		for j, cell := range row {
			if bare := strings.TrimSpace(cell); cell != "" && strings.ContainsRune("\t\r", rune(cell[0])) || bare != "" && strings.ContainsRune("=+-@|＝＋－＠｜", []rune(bare)[0]) {
				t.Errorf("line %d, %s: %q", i+1, rows[0][j], cell)
			}
		}
	}
}

// Whatever is written comes back, formula or not.
func TestTextsThatLookLikeFormulas(t *testing.T) {
	for text, runs := range map[string]bool{
		"=1": true, " =1": true, "\u3000=1": true, "＝1": true, "＋1": true, "－1": true, "＠x": true, "|calc": true, "｜x": true, "'=1": true, "' =1": true,
		"\t1": true, "": false, " ": false, "'": false, "a=1": false, "a|b": false, "'tis": false, "é": false, "\xff": false,
	} {
		if isFormula(text) != runs || (asText(text) != text) != runs || fromText(asText(text)) != text {
			t.Errorf("%q: a formula %v, written as %q, read as %q", text, isFormula(text), asText(text), fromText(asText(text)))
		}
	}
}

const handWritten = "\ufeffFire_Date,layer1_glaze,layer1_coats,layer2_glaze,layer2_coats,layer2_lot,firing,run_mm,outcome\r\n" +
	"2026-01-02,Clear,2,amber,1.5,,Cone 6,7,\r\n" +
	"2026-01-02,clear,3,,,,cone-6,,did_not_move\r\n"

func TestHandWrittenFile(t *testing.T) {
	w := newStudio(t)
	answer := must(w.tiles.ImportTiles(w, &pb.ImportTilesRequest{Parent: "studios/test", Csv: handWritten}))(t)
	if answer.Imported != 2 || len(answer.Faults) != 0 {
		t.Fatalf("import %v", answer)
	}
	tile := must(w.tiles.ListTiles(w, &pb.ListTilesRequest{Parent: "studios/test"}))(t).Tiles[1]
	if tile.GetRunMm() != 7 || tile.Layering.Layers[1].Glaze != "studios/test/glazes/amber" || tile.Layering.Layers[1].GetCoats() != 1.5 || tile.FiringOfTheDay == nil {
		t.Errorf("tile %v", tile)
	}
}

func TestBadLinesAreListed(t *testing.T) {
	w := newStudio(t)
	file := "fire_date,layer1_glaze,layer1_coats,layer1_thickness_um,layer2_glaze,layer3_glaze,firing,outcome,run_mm,run_from_mm,run_to_mm,notes\n" +
		"2026-01-01,clear,2,,,,cone-6,,5,,,good\n" + // 2
		"2026-01-01,none,2,,,,cone-6,,5,,,\n" + // 3: no such glaze
		"2026-01-01,clear,two,,,,cone-6,,5,,,\n" + // 4: no number
		"2026-01-01,clear,21,,,,cone-6,,5,,,\n" + // 5: too many coats
		"2026-01-01,clear,2,400,,,cone-6,,5,,,\n" + // 6: two amounts
		"2026-01-01,clear,2,,,,cone-6,,,,,\n" + // 7: no outcome
		"2026-01-01,clear,2,,,,cone-6,run,,,,\n" + // 8: no run
		"2026-01-01,clear,2,,,,cone-6,ran_off,5,,,\n" + // 9: a run of what ran off
		"2026-01-01,clear,2,,,amber,cone-6,,5,,,\n" + // 10: a gap in the layers
		"2026-01-01,clear,2,,,,,,5,,,\n" + // 11: no firing
		"01.01.2026,clear,2,,,,cone-6,,5,,,\n" + // 12: no date
		"2026-01-01,clear,2,,,,cone-6,interval,,5,4,\n" + // 13: turned round
		"2026-01-01,clear,2\n" + // 14: too short
		"2026-01-01,clear,2,,,,cone-6,,NaN,,,\n" + // 15
		"2026-01-01,clear,2,,,,cone-6,,6,,,\"good\ntoo\"\n" + // 16 and 17
		"2026-01-01,clear,2,,,,cone-7,,6,,,\n" // 18: no such firing
	want := []struct {
		line   int32
		column string
		words  string
	}{
		{3, "layer1_glaze", `layer1_glaze is "none"; allowed: the id or the name of a glaze that exists`},
		{4, "layer1_coats", `layer1_coats is "two"; allowed: a number`},
		{5, "layer1_coats", "layer1_coats is 21; allowed: more than 0 and at most 20"},
		{6, "layer1_thickness_um", "only one of coats, thickness_um and dry_mass_g_per_cm2"},
		{7, "outcome", "outcome is empty"},
		{8, "run_mm", "run_mm is NaN; allowed: 0 to 2000"},
		{9, "run_mm", "empty where outcome is not run"},
		{10, "layer2_glaze", "layer2_glaze is empty"},
		{11, "firing", "firing is empty; allowed: exactly one of firing, firing_plan"},
		{12, "fire_date", `fire_date is "01.01.2026"`},
		{13, "run_to_mm", "run_to_mm is 4; allowed: more than from_mm, which is 5"},
		{14, "", "it has 3 cells, the header has 12"},
		{15, "run_mm", `run_mm is "NaN"`},
		{18, "firing", `firing is "cone-7"; allowed: the id or the name of a firing that exists`},
	}
	check := func(answer *pb.ImportTilesResponse, imported int32) {
		t.Helper()
		if answer.Imported != imported || len(answer.Faults) != len(want) {
			t.Errorf("import %v", answer)
			return
		}
		for i, f := range answer.Faults {
			if f.Line != want[i].line || f.Column != want[i].column || !strings.Contains(f.Sentence, want[i].words) {
				t.Errorf("fault %v, want %v", f, want[i])
			}
		}
	}
	request := &pb.ImportTilesRequest{Parent: "studios/test", Csv: file}
	check(must(w.tiles.ImportTiles(w, request))(t), 0)
	if n := strings.Count(w.export(t, "studios/test"), "\n"); n != 1 {
		t.Errorf("%d lines after an import of nothing", n)
	}
	request.KeepGoodLines, request.RequestId = true, "good"
	check(must(w.tiles.ImportTiles(w, request))(t), 2)
	check(must(w.tiles.ImportTiles(w, request))(t), 2)
	if list := must(w.tiles.ListTiles(w, &pb.ListTilesRequest{Parent: "studios/test"}))(t); len(list.Tiles) != 2 {
		t.Errorf("%d tiles", len(list.Tiles))
	}
}

// The same file twice: every line is named with the tile that it repeats before anything is stored, and may be left out.
func TestDuplicatesAreNamed(t *testing.T) {
	w := newStudio(t)
	file := "layer1_glaze,layer1_coats,firing,run_mm,fire_date\njar,2,cone-6,12,2026-01-02\njar,3,cone-6,14,2026-01-02\n"
	ask := func(r *pb.ImportTilesRequest) *pb.ImportTilesResponse {
		t.Helper()
		r.Parent = "studios/test"
		return must(w.tiles.ImportTiles(w, r))(t)
	}
	stored := func() int {
		return len(must(w.tiles.ListTiles(w, &pb.ListTilesRequest{Parent: "studios/test"}))(t).Tiles)
	}
	if a := ask(&pb.ImportTilesRequest{Csv: file, ValidateOnly: true}); a.Imported != 2 || len(a.Faults)+len(a.Duplicates) != 0 || stored() != 0 {
		t.Fatalf("asked only: %v, %d stored", a, stored())
	}
	ask(&pb.ImportTilesRequest{Csv: file})
	more := file + "jar,4,cone-6,16,2026-01-02\njar,4,cone-6,16.0,2026-01-02\n"
	a := ask(&pb.ImportTilesRequest{Csv: more, ValidateOnly: true, SkipDuplicates: true})
	if a.Imported != 1 || len(a.Duplicates) != 3 || stored() != 2 {
		t.Fatalf("asked only: %v, %d stored", a, stored())
	}
	for i, d := range a.Duplicates[:2] {
		tile := must(w.tiles.GetTile(w, &pb.GetTileRequest{Name: d.Tile}))(t)
		if d.Line != int32(2+i) || tile.Layering.Layers[0].GetCoats() != float64(2+i) {
			t.Errorf("%v is of %v", d, tile)
		}
	}
	if d := a.Duplicates[2]; d.Line != 5 || d.EarlierLine != 4 || d.Tile != "" {
		t.Errorf("%v, want line 5 as line 4", d)
	}
	if a := ask(&pb.ImportTilesRequest{Csv: more, SkipDuplicates: true}); a.Imported != 1 || stored() != 3 {
		t.Errorf("left out: %v, %d stored", a, stored())
	}
	// Two tiles may be alike: whoever wants them both gets them.
	if a := ask(&pb.ImportTilesRequest{Csv: more}); a.Imported != 4 || len(a.Duplicates) != 4 || stored() != 7 {
		t.Errorf("all: %v, %d stored", a, stored())
	}
}

func TestBadFiles(t *testing.T) {
	w := newStudio(t)
	for _, c := range []struct {
		file   string
		line   int32
		column string
		words  string
	}{
		{"\ufeff", 1, "", "the file is empty"},
		{"run_mm,colour\n1,2\n", 1, "colour", `there is no column "colour"`},
		{"firing;layer1_glaze;run_mm\nsix;jar;12,5\n", 1, "", `cells are separated by ";"; allowed: commas`},
		{"firing\tlayer1_glaze\n", 1, "", `cells are separated by "\t"`},
		{"run_mm,run_mm\n1,2\n", 1, "run_mm", "the column run_mm is there twice"},
		{"run_mm,notes\n1,\"x\n", 2, "", "cannot be read"},
	} {
		answer := must(w.tiles.ImportTiles(w, &pb.ImportTilesRequest{Parent: "studios/test", Csv: c.file}))(t)
		if answer.Imported != 0 || len(answer.Faults) != 1 || answer.Faults[0].Line != c.line || answer.Faults[0].Column != c.column || !strings.Contains(answer.Faults[0].Sentence, c.words) {
			t.Errorf("%q: %v", c.file, answer)
		}
	}
	_, err := w.tiles.ImportTiles(w, &pb.ImportTilesRequest{Parent: "studios/test", Csv: "run_mm\n" + strings.Repeat("1\n", mostLines+1)})
	refused(t, err, codes.InvalidArgument, "csv is", "at most 10000 lines")
	_, err = w.tiles.ImportTiles(w, &pb.ImportTilesRequest{Parent: "studios/test", Csv: strings.Repeat("x", 8_000_001)})
	refused(t, err, codes.InvalidArgument, "csv is 8000001 characters; allowed: at most 8000000 characters")
	_, err = w.tiles.ImportTiles(w, &pb.ImportTilesRequest{Parent: "studios/none", Csv: handWritten})
	refused(t, err, codes.NotFound, "studios/none")
}

// TestEveryFaultOfALineIsTold has a line that is wrong in every way that used to hide another.
func TestEveryFaultOfALineIsTold(t *testing.T) {
	w := newStudio(t)
	file := "fire_date,layer1_glaze,layer1_lot,layer1_coats,layer2_glaze,layer2_coats,firing,run_mm,mean_front_mm,photo_uri,body\n" +
		"01.01.2026,none,3,99,none,two,cone-7,x,-1,file:x,none\n"
	answer := must(w.tiles.ImportTiles(w, &pb.ImportTilesRequest{Parent: "studios/test", Csv: file}))(t)
	var got []string
	for _, f := range answer.Faults {
		got = append(got, f.Column)
	}
	slices.Sort(got)
	// Not layer1_lot: nothing can be said of a lot whose glaze is not known.
	const want = "body fire_date firing layer1_coats layer1_glaze layer2_coats layer2_glaze mean_front_mm photo_uri run_mm"
	if all := strings.Join(got, " "); all != want {
		t.Errorf("faults of %s\nwant      %s\n%v", all, want, answer.Faults)
	}
}

// TestFaultsAreListedUpToAHundred imports a file that is wrong all over; the number of faults is that of its lines times two.
func TestFaultsAreListedUpToAHundred(t *testing.T) {
	w := newStudio(t)
	answer := must(w.tiles.ImportTiles(w, &pb.ImportTilesRequest{
		Parent: "studios/test", Csv: "layer1_glaze,layer1_coats,firing,run_mm\n" + strings.Repeat("none,99,cone-6,5\n", mostLines),
	}))(t)
	if len(answer.Faults) != 100 || answer.MoreFaults != 2*mostLines-100 {
		t.Errorf("%d faults and %d more", len(answer.Faults), answer.MoreFaults)
	}
	if f := answer.Faults[99]; f.Line != 51 || f.Column != "layer1_coats" {
		t.Errorf("the last fault listed is %v", f)
	}
}

// TestWideLinesAreRefused has lines of more cells than there are columns, in every CSV that the contract takes. The text is within the
// contract's own limit of length, and the reader of CSV would make a string of every cell.
func TestWideLinesAreRefused(t *testing.T) {
	w := newStudio(t)
	wide := strings.Repeat(",", 900_000)
	_, err := w.tiles.ImportTiles(w, &pb.ImportTilesRequest{Parent: "studios/test", Csv: wide + "\n"})
	refused(t, err, codes.InvalidArgument, "csv line 1 is a line of more than 71 cells")
	_, err = w.tiles.ImportTiles(w, &pb.ImportTilesRequest{Parent: "studios/test", Csv: "notes,run_mm\n\"a\n,\"\"b\",5\n" + wide + "\n"})
	refused(t, err, codes.InvalidArgument, "csv line 4 is a line of more than 71 cells")
	_, err = w.firings.PreviewFiring(w, &pb.PreviewFiringRequest{Parent: "studios/test", Plan: &pb.FiringPlan{
		Heat: &pb.FiringPlan_Log{Log: &pb.KilnLog{Csv: "minutes,temperature_c" + wide + "\n"}},
	}})
	refused(t, err, codes.InvalidArgument, "plan.log.csv line 1 is a line of more than 1000 cells")
	_, err = w.wares.TraceProfile(w, &pb.TraceProfileRequest{Parent: "studios/test", Source: &pb.TraceProfileRequest_Csv{Csv: "height_mm,radius_mm" + wide}})
	refused(t, err, codes.InvalidArgument, "csv line 1 is a line of more than 1000 cells")
}

// TestFaultsOfALogAreCounted has a kiln's log with two faults a line.
func TestFaultsOfALogAreCounted(t *testing.T) {
	w := newStudio(t)
	_, err := w.firings.PreviewFiring(w, &pb.PreviewFiringRequest{Parent: "studios/test", Plan: &pb.FiringPlan{
		Heat: &pb.FiringPlan_Log{Log: &pb.KilnLog{Csv: "minutes,temperature_c\n" + strings.Repeat("x,y\n", 1000)}},
	}})
	refused(t, err, codes.InvalidArgument, "and 1995 more")
	var listed int
	var more string
	for _, d := range status.Convert(err).Details() {
		switch d := d.(type) {
		case *errdetails.BadRequest:
			listed = len(d.FieldViolations)
		case *errdetails.ErrorInfo:
			more = d.Metadata["more_faults"]
		}
	}
	if listed < 20 || listed > 100 || more != strconv.Itoa(2000-listed) {
		t.Errorf("%d faults are listed and %s more", listed, more)
	}
}

// TestListsTooLongAreNotLookedThrough: of a list of more items than are allowed, the faults of those beyond are not told too.
func TestListsTooLongAreNotLookedThrough(t *testing.T) {
	tile := &pb.Tile{Layering: &pb.Layering{}}
	for range 100_000 {
		tile.Layering.Layers = append(tile.Layering.Layers, &pb.Layer{})
	}
	var all FieldErrors
	if err := check(&pb.CreateTileRequest{Parent: "studios/test", Tile: tile}); !errors.As(err, &all) || len(all.Listed) > 20 || all.More > 0 {
		t.Errorf("%v", err)
	}
}

// anything finds whatever has an id.
type anything struct{}

func (anything) find(kind store.Kind, parent, called string) (string, error) {
	id := strings.TrimSpace(called)
	if !validID(id) {
		return "", allowed("an id")
	}
	return nameOf(store.Key{Studio: "test", Kind: kind, Parent: parent, ID: id}), nil
}

// readSound reads the lines of a file that have no fault.
func readSound(file string) (lines []*tileLine, faults fileFaults, err error) {
	err = readTiles(file, "test", anything{}, &faults, func(l *tileLine) error {
		if l.sound() {
			lines = append(lines, l)
		}
		return nil
	})
	return lines, faults, err
}

// FuzzTileCSV: what is read from a file is written to one that reads the same.
func FuzzTileCSV(f *testing.F) {
	w := newTileWriter()
	for _, tile := range everyTile() {
		tidy(tile)
		if err := w.write(tile); err != nil {
			f.Fatal(err)
		}
	}
	f.Add(w.take())
	f.Add(handWritten)
	f.Add("layer1_glaze,firing_plan_json,outcome,notes\na,\"{\"\"cone\"\":{\"\"cone\"\":\"\"6\"\"}}\",ran_off,'=x\n")
	f.Fuzz(func(t *testing.T, file string) {
		lines, _, err := readSound(file)
		if err != nil || len(lines) == 0 {
			return
		}
		w := newTileWriter()
		for _, l := range lines {
			if err := w.write(l.tile); err != nil {
				t.Fatal(err)
			}
		}
		written := w.take()
		again, faults, err := readSound(written)
		if err != nil || faults.any() || len(again) != len(lines) {
			t.Fatalf("%q was read, and written as %q, which is not: %v %v", file, written, faults, err)
		}
		for i := range lines {
			if !proto.Equal(lines[i].tile, again[i].tile) {
				t.Fatalf("line %d of %q:\n%v\nthen\n%v", i, file, lines[i].tile, again[i].tile)
			}
		}
	})
}

func TestTilesKeepTheirDay(t *testing.T) {
	w := newStudio(t)
	tile := must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: aTile()}))(t)
	was := must(glazeOfTheDay(tile.GlazesOfTheDay[0]))(t)
	if was.DisplayName != "Clear" || was.Composition.GetLoiPercent() < 10 || tile.GlazesOfTheDay[0].MoleFractions["SiO2"] < 0.5 {
		t.Errorf("glaze of the day %v", was)
	}
	seger := &pb.Glaze_Seger{Seger: &pb.SegerFormula{Moles: map[string]float64{"CaO": 1, "SiO2": 4}}}
	must(w.glazes.UpdateGlaze(w, &pb.UpdateGlazeRequest{Glaze: &pb.Glaze{Name: "studios/test/glazes/clear", Chemistry: seger}}))(t)
	must(w.firings.UpdateFiring(w, &pb.UpdateFiringRequest{Firing: &pb.Firing{Name: "studios/test/firings/cone-6", Plan: conePlan("7")}}))(t)
	must(w.glazes.DeleteGlaze(w, &pb.DeleteGlazeRequest{Name: "studios/test/glazes/amber"}))(t)
	// What is not touched stays as it was, though a glaze of it is gone.
	mended := must(w.tiles.UpdateTile(w, &pb.UpdateTileRequest{Tile: &pb.Tile{Name: tile.Name, Outcome: &pb.Tile_RunMm{RunMm: 13}}}))(t)
	if !proto.Equal(mended.FiringOfTheDay, tile.FiringOfTheDay) || !proto.Equal(&pb.Tile{GlazesOfTheDay: mended.GlazesOfTheDay}, &pb.Tile{GlazesOfTheDay: tile.GlazesOfTheDay}) || mended.GetRunMm() != 13 {
		t.Errorf("mended %v", mended)
	}
	// A layer more is of today, the others of then.
	layering := proto.Clone(tile.Layering).(*pb.Layering)
	layering.Layers = append(layering.Layers, &pb.Layer{Glaze: "studios/test/glazes/clear"})
	mended = must(w.tiles.UpdateTile(w, &pb.UpdateTileRequest{Tile: &pb.Tile{Name: tile.Name, Layering: layering}}))(t)
	if len(mended.GlazesOfTheDay) != 3 || !proto.Equal(mended.GlazesOfTheDay[0], tile.GlazesOfTheDay[0]) || math.Abs(mended.GlazesOfTheDay[2].MoleFractions["SiO2"]-0.8) > 1e-12 {
		t.Errorf("mended %v", mended.GlazesOfTheDay)
	}
	// A lot with a chemistry of its own is kept with that.
	must(w.glazes.CreateLot(w, &pb.CreateLotRequest{Parent: "studios/test/glazes/clear", LotId: "own", Lot: &pb.Lot{DisplayName: "own",
		Chemistry: &pb.Lot_Seger{Seger: &pb.SegerFormula{Moles: map[string]float64{"CaO": 1, "SiO2": 1}}}}}))(t)
	next := aTile()
	next.Layering.Layers = next.Layering.Layers[:1]
	next.Layering.Layers[0].Lot = "studios/test/glazes/clear/lots/own"
	tile = must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: next}))(t)
	if tile.GlazesOfTheDay[0].MoleFractions["SiO2"] != 0.5 || tile.FiringOfTheDay.GetCone().Cone != "7" {
		t.Errorf("tile %v", tile)
	}
}

func TestPredictionIsOfWhatWasSaidBeforehand(t *testing.T) {
	w := newStudio(t)
	tile := must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: aTile()}))(t)
	// As if the studio's calibration had said so.
	said := &pb.TilePrediction{MedianRunMm: 10}
	key := must(parseName("name", tile.Name, store.KindTile))(t)
	kept := proto.Clone(tile).(*pb.Tile)
	kept.Prediction = said
	rec := must(w.api.tiles.record(key, kept, tileLabels(kept)))(t)
	must(w.api.store.Write(w, store.Write{Ops: []store.Op{store.Replace(rec)}}))(t)
	mended := must(w.tiles.UpdateTile(w, &pb.UpdateTileRequest{Tile: &pb.Tile{Name: tile.Name, Notes: "read again", Outcome: &pb.Tile_RunMm{RunMm: 11}}}))(t)
	if !proto.Equal(mended.Prediction, said) {
		t.Errorf("prediction %v", mended.Prediction)
	}
	// Nobody can say afterwards what was said beforehand.
	mended = must(w.tiles.UpdateTile(w, &pb.UpdateTileRequest{Tile: &pb.Tile{Name: tile.Name, Prediction: &pb.TilePrediction{MedianRunMm: 11}},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"prediction.median_run_mm", "prediction"}}}))(t)
	if !proto.Equal(mended.Prediction, said) {
		t.Errorf("prediction %v", mended.Prediction)
	}
	mended = must(w.tiles.UpdateTile(w, &pb.UpdateTileRequest{Tile: &pb.Tile{Name: tile.Name, FiringSource: &pb.Tile_FiringPlan{FiringPlan: conePlan("5")}}}))(t)
	if mended.Prediction != nil {
		t.Errorf("the prediction for another firing stayed: %v", mended.Prediction)
	}
}

func BenchmarkImport(b *testing.B) {
	var file strings.Builder
	file.WriteString("layer1_glaze,layer1_coats,firing,run_mm\n")
	for i := range 10_000 {
		fmt.Fprintf(&file, "clear,2,cone-6,%d\n", i%100)
	}
	for b.Loop() {
		if lines, faults, err := readSound(file.String()); len(lines) != 10_000 || faults.any() || err != nil {
			b.Fatal(len(lines), faults, err)
		}
	}
}
