package api

import (
	"fmt"
	"sync"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

func TestSameRequestGetsTheFirstAnswer(t *testing.T) {
	w := newStudio(t)
	create := &pb.CreateTileRequest{Parent: "studios/test", Tile: aTile(), RequestId: "one"}
	first := must(w.tiles.CreateTile(w, create))(t)
	must(w.tiles.UpdateTile(w, &pb.UpdateTileRequest{Tile: &pb.Tile{Name: first.Name, Notes: "later"}}))(t)
	if again := must(w.tiles.CreateTile(w, create))(t); !proto.Equal(again, first) {
		t.Errorf("got %v, want %v", again, first)
	}
	create.Tile.Notes = "another"
	_, err := w.tiles.CreateTile(w, create)
	refused(t, err, codes.AlreadyExists, "request id")

	update := &pb.UpdateTileRequest{Tile: &pb.Tile{Name: first.Name, Notes: "twice"}, RequestId: "two"}
	changed := must(w.tiles.UpdateTile(w, update))(t)
	if again := must(w.tiles.UpdateTile(w, update))(t); !proto.Equal(again, changed) {
		t.Errorf("got %v, want %v", again, changed)
	}
	remove := &pb.DeleteTileRequest{Name: first.Name, RequestId: "three"}
	must(w.tiles.DeleteTile(w, remove))(t)
	must(w.tiles.DeleteTile(w, remove))(t)
	_, err = w.tiles.DeleteTile(w, &pb.DeleteTileRequest{Name: first.Name})
	refused(t, err, codes.NotFound, first.Name)
}

func TestSameRequestAtOnceIsDoneOnce(t *testing.T) {
	w := newStudio(t)
	const callers = 8
	answers := make([]*pb.Body, callers)
	errs := make([]error, callers)
	var group sync.WaitGroup
	for i := range callers {
		group.Go(func() {
			answers[i], errs[i] = w.bodies.CreateBody(w, &pb.CreateBodyRequest{Parent: "studios/test", Body: &pb.Body{DisplayName: "Porcelain"}, RequestId: "same"})
		})
	}
	group.Wait()
	for i := range callers {
		if errs[i] != nil || !proto.Equal(answers[i], answers[0]) {
			t.Errorf("caller %d got %v, %v; another %v", i, answers[i], errs[i], answers[0])
		}
	}
	if list := must(w.bodies.ListBodies(w, &pb.ListBodiesRequest{Parent: "studios/test"}))(t); len(list.Bodies) != 2 {
		t.Errorf("bodies %v", list)
	}
}

func TestIDsComeFromNames(t *testing.T) {
	w := newStudio(t)
	for _, c := range []struct{ display, id string }{
		{"Élan Blue No. 2", "elan-blue-no-2"},
		{"Élan Blue No. 2", "elan-blue-no-2-2"},
		{"  --A--  ", "a"},
	} {
		b := must(w.bodies.CreateBody(w, &pb.CreateBodyRequest{Parent: "studios/test", Body: &pb.Body{DisplayName: c.display}}))(t)
		if b.Name != "studios/test/bodies/"+c.id {
			t.Errorf("%q became %s, want %s", c.display, b.Name, c.id)
		}
	}
	b := must(w.bodies.CreateBody(w, &pb.CreateBodyRequest{Parent: "studios/test", Body: &pb.Body{DisplayName: "青磁"}}))(t)
	if !validID(lastPart(b.Name)) {
		t.Errorf("name %q", b.Name)
	}
	_, err := w.bodies.CreateBody(w, &pb.CreateBodyRequest{Parent: "studios/test", BodyId: "a", Body: &pb.Body{DisplayName: "B"}})
	refused(t, err, codes.AlreadyExists, "studios/test/bodies/a exists already")
	_, err = w.bodies.CreateBody(w, &pb.CreateBodyRequest{Parent: "studios/test", BodyId: "-A", Body: &pb.Body{DisplayName: "B"}})
	refused(t, err, codes.InvalidArgument, `body_id is "-A"; allowed: 1 to 63 of a-z`)
	_, err = w.bodies.CreateBody(w, &pb.CreateBodyRequest{Parent: "studios/none", Body: &pb.Body{DisplayName: "B"}})
	refused(t, err, codes.NotFound, "studios/none does not exist")
}

func TestEtagGuardsChanges(t *testing.T) {
	w := newStudio(t)
	name := "studios/test/glazes/clear"
	read := must(w.glazes.GetGlaze(w, &pb.GetGlazeRequest{Name: name}))(t)
	changed := must(w.glazes.UpdateGlaze(w, &pb.UpdateGlazeRequest{Glaze: &pb.Glaze{Name: name, Notes: "thin", Etag: read.Etag}}))(t)
	if changed.Etag == read.Etag || changed.Notes != "thin" || changed.DisplayName != "Clear" || changed.GetRecipe() == nil {
		t.Errorf("changed to %v", changed)
	}
	_, err := w.glazes.UpdateGlaze(w, &pb.UpdateGlazeRequest{Glaze: &pb.Glaze{Name: name, Notes: "thick", Etag: read.Etag}})
	refused(t, err, codes.Aborted, name)
	_, err = w.glazes.DeleteGlaze(w, &pb.DeleteGlazeRequest{Name: name, Etag: read.Etag})
	refused(t, err, codes.Aborted, name)
	must(w.glazes.DeleteGlaze(w, &pb.DeleteGlazeRequest{Name: name, Etag: changed.Etag}))(t)
	_, err = w.glazes.GetLot(w, &pb.GetLotRequest{Name: name + "/lots/bucket-2"})
	refused(t, err, codes.NotFound, name+"/lots/bucket-2 does not exist")
}

// TestConcurrentChangesWithoutEtagAllHappen: whoever sends no etag changes whatever is there, and nobody's field is lost.
func TestConcurrentChangesWithoutEtagAllHappen(t *testing.T) {
	w := newStudio(t)
	name := "studios/test/firings/cone-6"
	var group sync.WaitGroup
	errs := make([]error, 3)
	for i, f := range []*pb.Firing{{Name: name, Notes: "n"}, {Name: name, Kiln: "k"}, {Name: name, DisplayName: "d"}} {
		group.Go(func() { _, errs[i] = w.firings.UpdateFiring(w, &pb.UpdateFiringRequest{Firing: f}) })
	}
	group.Wait()
	got := must(w.firings.GetFiring(w, &pb.GetFiringRequest{Name: name}))(t)
	if got.Notes != "n" || got.Kiln != "k" || got.DisplayName != "d" {
		t.Errorf("got %v, errors %v", got, errs)
	}
}

func TestMaskSaysWhatChanges(t *testing.T) {
	w := newStudio(t)
	update := func(s *pb.Studio, paths ...string) (*pb.Studio, error) {
		s.Name = "studios/test"
		return w.studios.UpdateStudio(w, &pb.UpdateStudioRequest{Studio: s, UpdateMask: &fieldmaskpb.FieldMask{Paths: paths}})
	}
	settings := &pb.StudioSettings{ToleratedRisk: proto.Float64(0.1), CookieDiametersMm: []float64{120, 100}, Costs: &pb.Costs{LoseWare: proto.Float64(50)}}
	s := must(update(&pb.Studio{Settings: settings, DisplayName: "ignored"}, "settings"))(t)
	if s.DisplayName != "Test" || s.Settings.GetToleratedRisk() != 0.1 || s.Settings.CookieDiametersMm[0] != 100 {
		t.Errorf("studio %v", s)
	}
	s = must(update(&pb.Studio{Settings: &pb.StudioSettings{Costs: &pb.Costs{}}}, "settings.costs.lose_ware", "settings.tolerated_risk"))(t)
	if s.Settings.Costs.LoseWare != nil || s.Settings.ToleratedRisk != nil || len(s.Settings.CookieDiametersMm) != 2 {
		t.Errorf("studio %v", s)
	}
	// Without a mask all that is set is changed, lists as a whole.
	s = must(update(&pb.Studio{Settings: &pb.StudioSettings{CookieDiametersMm: []float64{90}}}))(t)
	if s.DisplayName != "Test" || len(s.Settings.CookieDiametersMm) != 1 {
		t.Errorf("studio %v", s)
	}
	// What only the server says is not read.
	s = must(update(&pb.Studio{ActiveCalibration: "studios/test/calibrations/7", DisplayName: "T"}, "active_calibration", "name", "etag", "create_time", "display_name"))(t)
	if s.ActiveCalibration != "" || s.DisplayName != "T" || s.Name != "studios/test" {
		t.Errorf("studio %v", s)
	}
	for _, path := range []string{"colour", "settings.colour", "display_name.x", "settings.cookie_diameters_mm.x", ""} {
		_, err := update(&pb.Studio{Settings: settings}, "display_name", path)
		refused(t, err, codes.InvalidArgument, "update_mask.paths[1] is "+quoted(path), "a field of a studio, such as display_name, settings")
	}
	_, err := update(&pb.Studio{}, "display_name")
	refused(t, err, codes.InvalidArgument, "studio.display_name is empty")
	_, err = update(&pb.Studio{Settings: &pb.StudioSettings{Thresholds: &pb.RiskThresholds{Low: proto.Float64(0.3)}}})
	refused(t, err, codes.InvalidArgument, "studio.settings.thresholds.moderate is 0.2; allowed: not less than low, which is 0.3")
	_, err = w.studios.UpdateStudio(w, &pb.UpdateStudioRequest{Studio: &pb.Studio{DisplayName: "x"}})
	refused(t, err, codes.InvalidArgument, "studio.name is empty; allowed: a name of the form studios/{studio}")
}

func TestStudioThatHoldsSomethingIsNotDeletedByMistake(t *testing.T) {
	w := newStudio(t)
	_, err := w.studios.DeleteStudio(w, &pb.DeleteStudioRequest{Name: "studios/test"})
	refused(t, err, codes.FailedPrecondition, "studios/test", "still holds glazes")
	must(w.studios.DeleteStudio(w, &pb.DeleteStudioRequest{Name: "studios/test", Force: true}))(t)
	_, err = w.glazes.GetGlaze(w, &pb.GetGlazeRequest{Name: "studios/test/glazes/clear"})
	refused(t, err, codes.NotFound, "does not exist")
	must(w.studios.CreateStudio(w, &pb.CreateStudioRequest{StudioId: "empty", Studio: &pb.Studio{DisplayName: "E"}}))(t)
	must(w.studios.DeleteStudio(w, &pb.DeleteStudioRequest{Name: "studios/empty"}))(t)
	_, err = w.studios.DeleteStudio(w, &pb.DeleteStudioRequest{Name: "studios/empty"})
	refused(t, err, codes.NotFound, "studios/empty")
}

func TestMaterialsAreUsedByName(t *testing.T) {
	w := newStudio(t)
	create := func(m *pb.Material) (*pb.Material, error) {
		return w.materials.CreateMaterial(w, &pb.CreateMaterialRequest{Parent: "studios/test", Material: m})
	}
	spar := must(create(&pb.Material{DisplayName: "Our Spar", OxidesPercent: map[string]float64{"SiO2": 70, "Al2O3": 18, "K2O": 12}}))(t)
	glaze := must(w.glazes.CreateGlaze(w, &pb.CreateGlazeRequest{Parent: "studios/test", Glaze: &pb.Glaze{DisplayName: "Own", Chemistry: &pb.Glaze_Recipe{
		Recipe: &pb.Recipe{Ingredients: []*pb.Ingredient{{Material: "our  spar", Amount: 100}}}}}}))(t)
	// 12/94.196 : 18/101.961 of K2O and Al2O3.
	if got, want := glaze.Composition.Seger["Al2O3"], (18/101.961)/(12/94.196); got < want*0.9999 || got > want*1.0001 {
		t.Errorf("Al2O3 %v, want %v", got, want)
	}
	_, err := create(&pb.Material{DisplayName: "OUR SPAR", OxidesPercent: map[string]float64{"SiO2": 100}})
	refused(t, err, codes.InvalidArgument, "material.display_name", "a name that no other material of the studio has")
	_, err = w.materials.DeleteMaterial(w, &pb.DeleteMaterialRequest{Name: spar.Name})
	refused(t, err, codes.FailedPrecondition, spar.Name, glaze.Name)
	_, err = w.materials.UpdateMaterial(w, &pb.UpdateMaterialRequest{Material: &pb.Material{Name: spar.Name, DisplayName: "Else"}})
	refused(t, err, codes.FailedPrecondition, spar.Name, glaze.Name)
	// Glazes follow their materials.
	must(w.materials.UpdateMaterial(w, &pb.UpdateMaterialRequest{Material: &pb.Material{Name: spar.Name, OxidesPercent: map[string]float64{"SiO2": 70, "Al2O3": 15, "K2O": 15}}}))(t)
	again := must(w.glazes.GetGlaze(w, &pb.GetGlazeRequest{Name: glaze.Name}))(t)
	if again.Composition.Seger["Al2O3"] >= glaze.Composition.Seger["Al2O3"] {
		t.Errorf("the glaze did not follow: %v", again.Composition)
	}
	must(w.glazes.DeleteGlaze(w, &pb.DeleteGlazeRequest{Name: glaze.Name}))(t)
	must(w.materials.UpdateMaterial(w, &pb.UpdateMaterialRequest{Material: &pb.Material{Name: spar.Name, DisplayName: "Else"}}))(t)
	must(create(&pb.Material{DisplayName: "Our Spar", OxidesPercent: map[string]float64{"SiO2": 100}}))(t)
	must(w.materials.DeleteMaterial(w, &pb.DeleteMaterialRequest{Name: spar.Name}))(t)
	for _, c := range []struct {
		m     *pb.Material
		words string
	}{
		{&pb.Material{DisplayName: "M", OxidesPercent: map[string]float64{"SiO2": 90, "Al2O3": 20}}, "material.oxides_percent is 110; allowed: at most 102"},
		{&pb.Material{DisplayName: "M", OxidesPercent: map[string]float64{"XO": 90}}, `material.oxides_percent["XO"]`},
		{&pb.Material{DisplayName: "M", OxidesPercent: map[string]float64{"SiO2": 90}, LoiPercent: proto.Float64(-31)}, "material.loi_percent is -31; allowed: -30 to 99"},
	} {
		_, err := create(c.m)
		refused(t, err, codes.InvalidArgument, c.words)
	}
	// A gum has no oxides: all of it leaves.
	must(create(&pb.Material{DisplayName: "Gum"}))(t)
	all := must(w.materials.ListMaterials(w, &pb.ListMaterialsRequest{Parent: "studios/test", IncludeBuiltIn: true}))(t)
	if len(all.Materials) < 30 || all.Materials[0].BuiltIn || !all.Materials[5].BuiltIn || all.Materials[5].Name != "" {
		t.Errorf("materials %d", len(all.Materials))
	}
}

// TestTwoMaterialsOfOneNameAtOnce: a studio with two could not say which of them a recipe means.
func TestTwoMaterialsOfOneNameAtOnce(t *testing.T) {
	w := newStudio(t)
	const callers = 6
	errs := make([]error, callers)
	var group sync.WaitGroup
	for i := range callers {
		group.Go(func() {
			_, errs[i] = w.materials.CreateMaterial(w, &pb.CreateMaterialRequest{Parent: "studios/test", MaterialId: fmt.Sprint("m", i),
				Material: &pb.Material{DisplayName: "Sand", OxidesPercent: map[string]float64{"SiO2": 100}}})
		})
	}
	group.Wait()
	made := 0
	for _, err := range errs {
		if err == nil {
			made++
		} else {
			refused(t, err, codes.InvalidArgument, "material.display_name")
		}
	}
	if made != 1 {
		t.Errorf("%d were made", made)
	}
}
