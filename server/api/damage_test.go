package api

import (
	"database/sql"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	_ "modernc.org/sqlite"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// damage flips one bit in the middle of what is stored of a record, and lets the studio be read anew.
func (w *world) damage(kind store.Kind, parent, id string) {
	w.t.Helper()
	db, err := sql.Open("sqlite", "file:"+w.path+"?_pragma=busy_timeout(5000)")
	if err != nil {
		w.t.Fatal(err)
	}
	defer db.Close()
	studio := "test"
	if kind == store.KindStudio {
		studio = store.System
	}
	const where = " WHERE studio = ? AND kind = ? AND parent = ? AND id = ?"
	var data []byte
	if err := db.QueryRow("SELECT data FROM record"+where, studio, string(kind), parent, id).Scan(&data); err != nil {
		w.t.Fatal(err)
	}
	data[len(data)/2] ^= 4
	if _, err := db.Exec("UPDATE record SET data = ?"+where, data, studio, string(kind), parent, id); err != nil {
		w.t.Fatal(err)
	}
	w.api.cache.mu.Lock()
	defer w.api.cache.mu.Unlock()
	clear(w.api.cache.byID)
}

// lists gives for each list of the studio how many are on it, and who is damaged.
func (w *world) lists() map[string][]string {
	w.t.Helper()
	const parent = "studios/test"
	glazes := must(w.glazes.ListGlazes(w, &pb.ListGlazesRequest{Parent: parent}))(w.t)
	lots := must(w.glazes.ListLots(w, &pb.ListLotsRequest{Parent: parent + "/glazes/clear"}))(w.t)
	bodies := must(w.bodies.ListBodies(w, &pb.ListBodiesRequest{Parent: parent}))(w.t)
	firings := must(w.firings.ListFirings(w, &pb.ListFiringsRequest{Parent: parent}))(w.t)
	wares := must(w.wares.ListWares(w, &pb.ListWaresRequest{Parent: parent}))(w.t)
	tiles := must(w.tiles.ListTiles(w, &pb.ListTilesRequest{Parent: parent}))(w.t)
	materials := must(w.materials.ListMaterials(w, &pb.ListMaterialsRequest{Parent: parent}))(w.t)
	calibrations := must(w.calibrations.ListCalibrations(w, &pb.ListCalibrationsRequest{Parent: parent}))(w.t)
	keys := must(w.keys.ListKeys(w, &pb.ListKeysRequest{Parent: parent}))(w.t)
	studios := must(w.studios.ListStudios(w, &pb.ListStudiosRequest{}))(w.t)
	return map[string][]string{
		"glazes":       append(glazes.Unreadable, strings.Repeat(".", len(glazes.Glazes))),
		"lots":         append(lots.Unreadable, strings.Repeat(".", len(lots.Lots))),
		"bodies":       append(bodies.Unreadable, strings.Repeat(".", len(bodies.Bodies))),
		"firings":      append(firings.Unreadable, strings.Repeat(".", len(firings.Firings))),
		"wares":        append(wares.Unreadable, strings.Repeat(".", len(wares.Wares))),
		"tiles":        append(tiles.Unreadable, strings.Repeat(".", len(tiles.Tiles))),
		"materials":    append(materials.Unreadable, strings.Repeat(".", len(materials.Materials))),
		"calibrations": append(calibrations.Unreadable, strings.Repeat(".", len(calibrations.Calibrations))),
		"keys":         append(keys.Unreadable, strings.Repeat(".", len(keys.Keys))),
		"studios":      append(studios.Unreadable, strings.Repeat(".", len(studios.Studios))),
	}
}

func (w *world) scoreOf(layering *pb.Layering) (*pb.Score, error) {
	return w.scores.ScoreLayering(w, &pb.ScoreLayeringRequest{
		Parent: "studios/test", Layering: layering,
		FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: "studios/test/firings/cone-6"},
	})
}

func oneCoat(glaze string) *pb.Layering {
	return &pb.Layering{Layers: []*pb.Layer{{Glaze: "studios/test/glazes/" + glaze, Amount: &pb.Layer_Coats{Coats: 2}}}}
}

// TestOneDamagedOfEachKind: each kind's list gives the rest and names the damaged one, a get of it is DATA_LOSS, and all other lists are whole.
func TestOneDamagedOfEachKind(t *testing.T) {
	w := newStudio(t)
	must(w.materials.CreateMaterial(w, &pb.CreateMaterialRequest{Parent: "studios/test", Material: &pb.Material{
		DisplayName: "Ash", OxidesPercent: map[string]float64{"SiO2": 60, "CaO": 40}}}))(t)
	key := must(w.keys.CreateKey(w, &pb.CreateKeyRequest{Parent: "studios/test", Key: &pb.Key{DisplayName: "k", Role: pb.Role_ROLE_VIEW}}))(t).Key
	tile := must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: aTile(), TileId: "one"}))(t)
	must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: aTile(), TileId: "two"}))(t)
	must(w.calibrations.FitCalibration(w, &pb.FitCalibrationRequest{Parent: "studios/test"}))(t)
	whole := w.lists()
	for _, c := range []struct {
		list, name string
		kind       store.Kind
		parent, id string
		get        func() error
	}{
		{"tiles", tile.Name, store.KindTile, "", "one", func() error { _, err := w.tiles.GetTile(w, &pb.GetTileRequest{Name: tile.Name}); return err }},
		{"keys", key.Name, store.KindKey, "", lastPart(key.Name), nil},
		{"lots", "studios/test/glazes/clear/lots/bucket-2", store.KindLot, "clear", "bucket-2", func() error {
			_, err := w.glazes.GetLot(w, &pb.GetLotRequest{Name: "studios/test/glazes/clear/lots/bucket-2"})
			return err
		}},
		{"glazes", "studios/test/glazes/clear", store.KindGlaze, "", "clear", func() error {
			_, err := w.glazes.GetGlaze(w, &pb.GetGlazeRequest{Name: "studios/test/glazes/clear"})
			return err
		}},
		{"bodies", "studios/test/bodies/stoneware", store.KindBody, "", "stoneware", nil},
		{"firings", "studios/test/firings/cone-6", store.KindFiring, "", "cone-6", nil},
		{"wares", "studios/test/wares/mug", store.KindWare, "", "mug", nil},
		{"materials", "studios/test/materials/ash", store.KindMaterial, "", "ash", nil},
		{"calibrations", "studios/test/calibrations/1", store.KindCalibration, "", "1", func() error {
			_, err := w.calibrations.GetCalibration(w, &pb.GetCalibrationRequest{Name: "studios/test/calibrations/1"})
			return err
		}},
		{"studios", "studios/test", store.KindStudio, "", "test", func() error {
			_, err := w.studios.GetStudio(w, &pb.GetStudioRequest{Name: "studios/test"})
			return err
		}},
	} {
		w.damage(c.kind, c.parent, c.id)
		whole[c.list] = append([]string{c.name}, whole[c.list][len(whole[c.list])-1][1:])
		got := w.lists()
		for list := range whole {
			if !slices.Equal(got[list], whole[list]) {
				t.Errorf("with %s damaged the list of %s is %q, want %q", c.name, list, got[list], whole[list])
			}
		}
		if c.get != nil {
			refused(t, c.get(), codes.DataLoss, c.name)
		}
	}
}

// TestScoresGoOnBesideDamage: what a score does not need may be damaged, and what it needs is named.
func TestScoresGoOnBesideDamage(t *testing.T) {
	w := newStudio(t)
	must(w.materials.CreateMaterial(w, &pb.CreateMaterialRequest{Parent: "studios/test", Material: &pb.Material{
		DisplayName: "Quartz", OxidesPercent: map[string]float64{"SiO2": 90, "Fe2O3": 10}}}))(t)
	for _, id := range []string{"one", "two", "three"} {
		must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: aTile(), TileId: id}))(t)
	}
	before := must(w.scoreOf(oneCoat("jar")))(t)

	w.damage(store.KindTile, "", "two")
	fitted := must(w.calibrations.FitCalibration(w, &pb.FitCalibrationRequest{Parent: "studios/test"}))(t)
	if !strings.Contains(fitted.Verdict, "Learnt from 2 tiles") || !strings.Contains(fitted.Verdict, "1 tile could not be read, the first of them studios/test/tiles/two") {
		t.Errorf("the verdict is %q", fitted.Verdict)
	}
	record := must(w.calibrations.GetRecord(w, &pb.GetRecordRequest{Parent: "studios/test"}))(t)
	if len(record.Points) != 2 || !slices.Equal(record.Unreadable, []string{"studios/test/tiles/two"}) {
		t.Errorf("the record has %d points, and names %q", len(record.Points), record.Unreadable)
	}
	export := must(w.tiles.ExportTiles(w, &pb.ExportTilesRequest{Parent: "studios/test"}))(t)
	chunk := must(export.Recv())(t)
	names := must(export.Recv())(t)
	if strings.Count(chunk.Csv, "\n") != 3 || !slices.Equal(names.Unreadable, []string{"studios/test/tiles/two"}) {
		t.Errorf("the export is %q, and names %q", chunk.Csv, names.Unreadable)
	}

	w.damage(store.KindGlaze, "", "amber")
	_, err := w.scoreOf(oneCoat("amber"))
	refused(t, err, codes.DataLoss, "studios/test/glazes/amber")
	must(w.scoreOf(oneCoat("jar")))(t)

	// The library has a quartz too, which is not the one that the studio's recipe means.
	w.damage(store.KindMaterial, "", "quartz")
	_, err = w.scoreOf(oneCoat("clear"))
	refused(t, err, codes.DataLoss, "studios/test/materials/quartz")
	must(w.scoreOf(oneCoat("jar")))(t)

	w.damage(store.KindCalibration, "", "1")
	_, err = w.scoreOf(oneCoat("jar"))
	refused(t, err, codes.DataLoss, "studios/test/calibrations/1", "fit a new one")
	again := must(w.calibrations.FitCalibration(w, &pb.FitCalibrationRequest{Parent: "studios/test"}))(t)
	if again.Number != 2 || !again.Active {
		t.Errorf("fitted again: number %d, active %v: %s", again.Number, again.Active, again.Verdict)
	}
	must(w.scoreOf(oneCoat("jar")))(t)

	w.damage(store.KindActive, "", "calibration")
	_, err = w.scoreOf(oneCoat("jar"))
	refused(t, err, codes.DataLoss, "activate")
	must(w.calibrations.ActivateCalibration(w, &pb.ActivateCalibrationRequest{Name: "studios/test/calibrations/2"}))(t)
	after := must(w.scoreOf(oneCoat("jar")))(t)
	if after.Calibration != "studios/test/calibrations/2" || before.Calibration != "" {
		t.Errorf("scored by %q, before by %q", after.Calibration, before.Calibration)
	}

	w.damage(store.KindFiring, "", "cone-6")
	_, err = w.scoreOf(oneCoat("jar"))
	refused(t, err, codes.DataLoss, "studios/test/firings/cone-6")
}

// TestDamagedIsDeletedAndMadeAnew is the way out without a backup.
func TestDamagedIsDeletedAndMadeAnew(t *testing.T) {
	w := newStudio(t)
	ash := &pb.Material{DisplayName: "Ash", OxidesPercent: map[string]float64{"SiO2": 60, "CaO": 40}}
	must(w.materials.CreateMaterial(w, &pb.CreateMaterialRequest{Parent: "studios/test", Material: ash}))(t)
	clear := must(w.glazes.GetGlaze(w, &pb.GetGlazeRequest{Name: "studios/test/glazes/clear"}))(t)
	w.damage(store.KindMaterial, "", "ash")
	w.damage(store.KindLot, "clear", "bucket-2")
	w.damage(store.KindGlaze, "", "clear")
	_, err := w.glazes.UpdateGlaze(w, &pb.UpdateGlazeRequest{Glaze: clear})
	refused(t, err, codes.DataLoss, clear.Name)
	_, err = w.glazes.DeleteGlaze(w, &pb.DeleteGlazeRequest{Name: clear.Name, Etag: clear.Etag})
	refused(t, err, codes.DataLoss, clear.Name)
	must(w.glazes.DeleteGlaze(w, &pb.DeleteGlazeRequest{Name: clear.Name}))(t)
	must(w.materials.DeleteMaterial(w, &pb.DeleteMaterialRequest{Name: "studios/test/materials/ash"}))(t)
	must(w.materials.CreateMaterial(w, &pb.CreateMaterialRequest{Parent: "studios/test", Material: ash}))(t)
	must(w.glazes.CreateGlaze(w, &pb.CreateGlazeRequest{Parent: "studios/test", Glaze: &pb.Glaze{DisplayName: "Clear", Chemistry: &pb.Glaze_Recipe{
		Recipe: &pb.Recipe{Ingredients: []*pb.Ingredient{{Material: "ash", Amount: 50}, {Material: "orthoclase", Amount: 50}}}}}}))(t)
	lists := w.lists()
	if got := lists["glazes"]; !slices.Equal(got, []string{"..."}) {
		t.Errorf("glazes %q", got)
	}
	if got := lists["lots"]; !slices.Equal(got, []string{""}) {
		t.Errorf("lots %q", got)
	}
}
