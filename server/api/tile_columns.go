package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// mostLayers is how many a file has columns for: as many as a layering may have.
const mostLayers = 8

// column is one column of a file of tiles: how a tile is written into it and read from it. An empty cell is not read.
type column struct {
	name  string
	write func(t *pb.Tile) (string, error)
	read  func(t *pb.Tile, cell string, find names) error
	paths []string // the fields of a tile whose faults belong to the column
	rests string   // the column without which this one cannot be read; empty: none
}

// names finds what a cell calls by its id or display name.
type names interface {
	find(kind store.Kind, parent, called string) (name string, err error)
}

var columns = func() []column {
	all := []column{
		textColumn("fire_date", func(t *pb.Tile) *string { return &t.FireDate }),
		textColumn("tester", func(t *pb.Tile) *string { return &t.Tester }),
		textColumn("kiln", func(t *pb.Tile) *string { return &t.Kiln }),
		{"firing", func(t *pb.Tile) (string, error) { return lastPart(t.GetFiring()), nil }, readFiring, []string{"firing", "firing_source"}, ""},
		{"firing_plan_json", writeFiringPlan, readFiringPlan, []string{"firing_plan", "firing_of_the_day"}, ""},
		{"witness_cone", func(t *pb.Tile) (string, error) { return t.WitnessCone.GetCone(), nil }, readWitness, []string{"witness_cone"}, ""},
		{"witness_cone_size", writeWitnessSize, readWitnessSize, []string{"witness_cone.cone_type"}, ""},
		{"body", func(t *pb.Tile) (string, error) { return lastPart(t.Layering.GetBody()), nil }, readBody, []string{"layering.body"}, ""},
	}
	for i := range mostLayers {
		all = append(all, layerColumns(i)...)
	}
	return append(all,
		column{"wall_angle_deg", writeAngle, readAngle, []string{"placement.angle_deg"}, ""},
		column{"ware", func(t *pb.Tile) (string, error) { return lastPart(t.Placement.GetWare()), nil }, readWare, []string{"placement.ware"}, ""},
		column{"shape_json", writeShape, readShape, []string{"placement.shape"}, ""},
		numberColumn("band_height_mm", "placement.band_height_mm", func(t *pb.Tile, make bool) **float64 { return inPlacement(t, make, bandHeight) }),
		numberColumn("clearance_mm", "placement.clearance_mm", func(t *pb.Tile, make bool) **float64 { return inPlacement(t, make, clearance) }),
		column{"lower_bands_json", writeBands, readBands, []string{"placement.lower_bands"}, ""},
		column{"outcome", writeOutcome, readOutcome, []string{"outcome"}, ""},
		column{"run_mm", writeRun, readRun, []string{"run_mm"}, ""},
		column{"run_from_mm", writeRunFrom, readRunFrom, []string{"run_interval.from_mm"}, ""},
		column{"run_to_mm", writeRunTo, readRunTo, []string{"run_interval.to_mm"}, ""},
		numberColumn("mean_front_mm", "mean_front_mm", func(t *pb.Tile, _ bool) **float64 { return &t.MeanFrontMm }),
		numberColumn("reading_error_mm", "reading_error_mm", func(t *pb.Tile, _ bool) **float64 { return &t.ReadingErrorMm }),
		textColumn("notes", func(t *pb.Tile) *string { return &t.Notes }),
		textColumn("photo_uri", func(t *pb.Tile) *string { return &t.PhotoUri }),
		column{"set_aside", writeSetAside, readSetAside, []string{"set_aside"}, ""},
	)
}()

func textColumn(name string, of func(*pb.Tile) *string) column {
	return column{
		name:  name,
		write: func(t *pb.Tile) (string, error) { return asText(*of(t)), nil },
		read:  func(t *pb.Tile, cell string, _ names) error { *of(t) = fromText(cell); return nil },
		paths: []string{name},
	}
}

func numberColumn(name, path string, of func(t *pb.Tile, make bool) **float64) column {
	return column{
		name: name,
		write: func(t *pb.Tile) (string, error) {
			if p := of(t, false); p != nil && *p != nil {
				return plain(**p), nil
			}
			return "", nil
		},
		read: func(t *pb.Tile, cell string, _ names) error {
			x, err := readNumber(cell)
			if err != nil {
				return err
			}
			*of(t, true) = &x
			return nil
		},
		paths: []string{path},
	}
}

func bandHeight(p *pb.Placement) **float64 { return &p.BandHeightMm }
func clearance(p *pb.Placement) **float64  { return &p.ClearanceMm }

func inPlacement(t *pb.Tile, make bool, of func(*pb.Placement) **float64) **float64 {
	if t.Placement == nil {
		if !make {
			return nil
		}
		t.Placement = &pb.Placement{}
	}
	return of(t.Placement)
}

// layerColumns are the columns of layer i, counted from 0; their names count from 1.
func layerColumns(i int) []column {
	prefix, path := fmt.Sprintf("layer%d_", i+1), fmt.Sprintf("layering.layers[%d]", i)
	write := func(f func(*pb.Layer) string) func(*pb.Tile) (string, error) {
		return func(t *pb.Tile) (string, error) {
			if i >= len(t.Layering.GetLayers()) {
				return "", nil
			}
			return f(t.Layering.Layers[i]), nil
		}
	}
	layer := func(t *pb.Tile) *pb.Layer {
		if t.Layering == nil {
			t.Layering = &pb.Layering{}
		}
		for len(t.Layering.Layers) <= i {
			t.Layering.Layers = append(t.Layering.Layers, &pb.Layer{})
		}
		return t.Layering.Layers[i]
	}
	amount := func(set func(*pb.Layer, float64)) func(*pb.Tile, string, names) error {
		return func(t *pb.Tile, cell string, _ names) error {
			x, err := readNumber(cell)
			if err != nil {
				return err
			}
			if layer(t).Amount != nil {
				return allowed("only one of coats, thickness_um and dry_mass_g_per_cm2 for a layer")
			}
			set(layer(t), x)
			return nil
		}
	}
	return []column{
		{prefix + "glaze", write(func(l *pb.Layer) string { return lastPart(l.Glaze) }),
			func(t *pb.Tile, cell string, find names) (err error) {
				layer(t).Glaze, err = find.find(store.KindGlaze, "", cell)
				return err
			}, []string{path + ".glaze", path}, ""},
		{prefix + "lot", write(func(l *pb.Layer) string { return lastPart(l.Lot) }),
			func(t *pb.Tile, cell string, find names) (err error) {
				if layer(t).Glaze == "" {
					return allowed("empty where there is no glaze")
				}
				layer(t).Lot, err = find.find(store.KindLot, lastPart(layer(t).Glaze), cell)
				return err
			}, []string{path + ".lot"}, prefix + "glaze"},
		{prefix + "coats", write(func(l *pb.Layer) string {
			if c, ok := l.Amount.(*pb.Layer_Coats); ok {
				return plain(c.Coats)
			}
			return ""
		}), amount(func(l *pb.Layer, x float64) { l.Amount = &pb.Layer_Coats{Coats: x} }), []string{path + ".coats"}, ""},
		{prefix + "thickness_um", write(func(l *pb.Layer) string {
			if c, ok := l.Amount.(*pb.Layer_ThicknessUm); ok {
				return plain(c.ThicknessUm)
			}
			return ""
		}), amount(func(l *pb.Layer, x float64) { l.Amount = &pb.Layer_ThicknessUm{ThicknessUm: x} }), []string{path + ".thickness_um"}, ""},
		{prefix + "dry_mass_g_per_cm2", write(func(l *pb.Layer) string {
			if c, ok := l.Amount.(*pb.Layer_DryMassGPerCm2); ok {
				return plain(c.DryMassGPerCm2)
			}
			return ""
		}), amount(func(l *pb.Layer, x float64) { l.Amount = &pb.Layer_DryMassGPerCm2{DryMassGPerCm2: x} }), []string{path + ".dry_mass_g_per_cm2"}, ""},
		{prefix + "method", write(func(l *pb.Layer) string {
			return wordOf(pb.ApplicationMethod_name, int32(l.Method), "APPLICATION_METHOD_")
		}),
			func(t *pb.Tile, cell string, _ names) error {
				n, err := numberOf(pb.ApplicationMethod_value, "APPLICATION_METHOD_", cell)
				layer(t).Method = pb.ApplicationMethod(n)
				return err
			}, []string{path + ".method"}, ""},
	}
}

// cellError says what a cell may hold; the line and the column are put to it later.
type cellError struct{ limit string }

func (e *cellError) Error() string { return "allowed: " + e.limit }

func allowed(limit string) error { return &cellError{limit} }

func readNumber(cell string) (float64, error) {
	x, err := strconv.ParseFloat(strings.TrimSpace(cell), 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		return 0, allowed("a number such as 12.5, with a point")
	}
	return x, nil
}

// wordOf is the word of an enumeration's value: APPLICATION_METHOD_BRUSH is brush, and the unspecified value is empty.
func wordOf(values map[int32]string, n int32, prefix string) string {
	if n == 0 {
		return ""
	}
	return strings.ToLower(strings.TrimPrefix(values[n], prefix))
}

func numberOf(values map[string]int32, prefix, word string) (int32, error) {
	n := values[prefix+strings.ToUpper(strings.TrimSpace(word))]
	if n != 0 {
		return n, nil
	}
	var all []string
	for name, n := range values {
		if n != 0 {
			all = append(all, strings.ToLower(strings.TrimPrefix(name, prefix)))
		}
	}
	slices.Sort(all)
	return 0, allowed("one of " + strings.Join(all, ", "))
}

// isFormula reports whether a spreadsheet would run the text, once any apostrophes before it are gone. Some take blanks away first, some take
// the wide forms of East Asian keyboards for the plain ones, and some start programs by a bar.
func isFormula(s string) bool {
	s = strings.TrimLeft(s, "'")
	if strings.HasPrefix(s, "\t") || strings.HasPrefix(s, "\r") {
		return true
	}
	first, _ := utf8.DecodeRuneInString(strings.TrimLeftFunc(s, unicode.IsSpace))
	return strings.ContainsRune("=+-@|＝＋－＠｜", first)
}

// asText keeps a text from being run by a spreadsheet; fromText gives it back.
func asText(s string) string {
	if isFormula(s) {
		return "'" + s
	}
	return s
}

func fromText(s string) string {
	if strings.HasPrefix(s, "'") && isFormula(s) {
		return s[1:]
	}
	return s
}

// jsonCell writes a message on one line, always in the same way.
func jsonCell(m proto.Message) (string, error) {
	b, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
	if err != nil {
		return "", err
	}
	var compact bytes.Buffer // protojson puts blanks at random
	err = json.Compact(&compact, b)
	return compact.String(), err
}

func readJSON(cell string, m proto.Message) error {
	if err := protojson.Unmarshal([]byte(cell), m); err != nil {
		return allowed("JSON of a " + words(string(m.ProtoReflect().Descriptor().Name())))
	}
	return nil
}

func readFiring(t *pb.Tile, cell string, find names) error {
	name, err := find.find(store.KindFiring, "", cell)
	t.FiringSource = &pb.Tile_Firing{Firing: name}
	return err
}

func writeFiringPlan(t *pb.Tile) (string, error) {
	if t.GetFiringPlan() == nil {
		return "", nil
	}
	return jsonCell(t.GetFiringPlan())
}

func readFiringPlan(t *pb.Tile, cell string, _ names) error {
	if t.FiringSource != nil {
		return allowed("empty where the column firing names a firing")
	}
	p := &pb.FiringPlan{}
	t.FiringSource = &pb.Tile_FiringPlan{FiringPlan: p}
	return readJSON(cell, p)
}

func readWitness(t *pb.Tile, cell string, _ names) error {
	t.WitnessCone = &pb.WitnessCone{Cone: strings.TrimSpace(cell)}
	return nil
}

func writeWitnessSize(t *pb.Tile) (string, error) {
	return wordOf(pb.ConeType_name, int32(t.WitnessCone.GetConeType()), "CONE_TYPE_"), nil
}

func readWitnessSize(t *pb.Tile, cell string, _ names) error {
	if t.WitnessCone == nil {
		return allowed("empty where there is no witness_cone")
	}
	n, err := numberOf(pb.ConeType_value, "CONE_TYPE_", cell)
	t.WitnessCone.ConeType = pb.ConeType(n)
	return err
}

func readBody(t *pb.Tile, cell string, find names) (err error) {
	if t.Layering == nil {
		t.Layering = &pb.Layering{}
	}
	t.Layering.Body, err = find.find(store.KindBody, "", cell)
	return err
}

// placementOf gives the placement to put a wall in, of which there may be one.
func placementOf(t *pb.Tile) (*pb.Placement, error) {
	if t.Placement == nil {
		t.Placement = &pb.Placement{}
	}
	if t.Placement.Wall != nil {
		return nil, allowed("only one of wall_angle_deg, ware and shape_json")
	}
	return t.Placement, nil
}

func writeAngle(t *pb.Tile) (string, error) {
	if a, ok := t.Placement.GetWall().(*pb.Placement_AngleDeg); ok {
		return plain(a.AngleDeg), nil
	}
	return "", nil
}

func readAngle(t *pb.Tile, cell string, _ names) error {
	x, err := readNumber(cell)
	if err != nil {
		return err
	}
	p, err := placementOf(t)
	if err != nil {
		return err
	}
	p.Wall = &pb.Placement_AngleDeg{AngleDeg: x}
	return nil
}

func readWare(t *pb.Tile, cell string, find names) error {
	p, err := placementOf(t)
	if err != nil {
		return err
	}
	name, err := find.find(store.KindWare, "", cell)
	p.Wall = &pb.Placement_Ware{Ware: name}
	return err
}

func writeShape(t *pb.Tile) (string, error) {
	if t.Placement.GetShape() == nil {
		return "", nil
	}
	return jsonCell(t.Placement.GetShape())
}

func readShape(t *pb.Tile, cell string, _ names) error {
	p, err := placementOf(t)
	if err != nil {
		return err
	}
	s := &pb.WareShape{}
	p.Wall = &pb.Placement_Shape{Shape: s}
	return readJSON(cell, s)
}

func writeBands(t *pb.Tile) (string, error) {
	if len(t.Placement.GetLowerBands()) == 0 {
		return "", nil
	}
	return jsonCell(&pb.Placement{LowerBands: t.Placement.LowerBands})
}

func readBands(t *pb.Tile, cell string, _ names) error {
	p := &pb.Placement{}
	if err := readJSON(cell, p); err != nil {
		return err
	}
	if !proto.Equal(p, &pb.Placement{LowerBands: p.LowerBands}) {
		return allowed("JSON of a placement with nothing but lower_bands")
	}
	if t.Placement == nil {
		t.Placement = &pb.Placement{}
	}
	t.Placement.LowerBands = p.LowerBands
	return nil
}

// The words of the column outcome.
const (
	outcomeRun        = "run"
	outcomeInterval   = "interval"
	outcomeRanOff     = "ran_off"
	outcomeDidNotMove = "did_not_move"
)

func writeOutcome(t *pb.Tile) (string, error) {
	switch t.Outcome.(type) {
	case *pb.Tile_RunMm:
		return outcomeRun, nil
	case *pb.Tile_RunInterval:
		return outcomeInterval, nil
	case *pb.Tile_RanOff:
		return outcomeRanOff, nil
	case *pb.Tile_DidNotMove:
		return outcomeDidNotMove, nil
	}
	return "", nil
}

// readOutcome may leave the numbers to the columns after it.
func readOutcome(t *pb.Tile, cell string, _ names) error {
	switch strings.TrimSpace(cell) {
	case outcomeRun:
		t.Outcome = &pb.Tile_RunMm{RunMm: math.NaN()}
	case outcomeInterval:
		t.Outcome = &pb.Tile_RunInterval{RunInterval: &pb.RunInterval{FromMm: math.NaN(), ToMm: math.NaN()}}
	case outcomeRanOff:
		t.Outcome = &pb.Tile_RanOff{RanOff: &pb.RanOff{}}
	case outcomeDidNotMove:
		t.Outcome = &pb.Tile_DidNotMove{DidNotMove: &pb.DidNotMove{}}
	default:
		return allowed("one of run, interval, ran_off, did_not_move")
	}
	return nil
}

func writeRun(t *pb.Tile) (string, error) {
	if r, ok := t.Outcome.(*pb.Tile_RunMm); ok {
		return plain(r.RunMm), nil
	}
	return "", nil
}

func readRun(t *pb.Tile, cell string, _ names) error {
	// Before the number is read, so that a bad one is not told as a missing outcome too.
	if t.Outcome == nil {
		t.Outcome = &pb.Tile_RunMm{RunMm: math.NaN()}
	}
	r, ok := t.Outcome.(*pb.Tile_RunMm)
	if !ok {
		return allowed("empty where outcome is not run")
	}
	x, err := readNumber(cell)
	if err == nil {
		r.RunMm = x
	}
	return err
}

func writeRunFrom(t *pb.Tile) (string, error) {
	if r := t.GetRunInterval(); r != nil {
		return plain(r.FromMm), nil
	}
	return "", nil
}

func writeRunTo(t *pb.Tile) (string, error) {
	if r := t.GetRunInterval(); r != nil {
		return plain(r.ToMm), nil
	}
	return "", nil
}

func readRunFrom(t *pb.Tile, cell string, _ names) error {
	return readEnd(t, cell, func(r *pb.RunInterval, x float64) { r.FromMm = x })
}

func readRunTo(t *pb.Tile, cell string, _ names) error {
	return readEnd(t, cell, func(r *pb.RunInterval, x float64) { r.ToMm = x })
}

func readEnd(t *pb.Tile, cell string, set func(*pb.RunInterval, float64)) error {
	if t.Outcome == nil {
		t.Outcome = &pb.Tile_RunInterval{RunInterval: &pb.RunInterval{FromMm: math.NaN(), ToMm: math.NaN()}}
	}
	if t.GetRunInterval() == nil {
		return allowed("empty where outcome is not interval")
	}
	x, err := readNumber(cell)
	if err == nil {
		set(t.GetRunInterval(), x)
	}
	return err
}

func writeSetAside(t *pb.Tile) (string, error) {
	if t.SetAside {
		return "yes", nil
	}
	return "", nil
}

func readSetAside(t *pb.Tile, cell string, _ names) error {
	switch strings.ToLower(strings.TrimSpace(cell)) {
	case "yes", "true", "1":
		t.SetAside = true
	case "no", "false", "0":
	default:
		return allowed("yes or no")
	}
	return nil
}
