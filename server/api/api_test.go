package api

import (
	"context"
	"io"
	"log/slog"
	"math"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/proto"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store/sqlite"
)

// world is a server over a store of its own, with a client.
type world struct {
	t *testing.T
	context.Context
	api  *API
	path string // of the store's file

	studios   pb.StudioServiceClient
	glazes    pb.GlazeServiceClient
	materials pb.MaterialServiceClient
	bodies    pb.BodyServiceClient
	firings   pb.FiringServiceClient
	wares     pb.WareServiceClient
	tiles     pb.TileServiceClient
	sheets    pb.SheetServiceClient
	keys      pb.KeyServiceClient

	scores       pb.ScoreServiceClient
	calibrations pb.CalibrationServiceClient
}

// noon is when everything happens in these tests.
var noon = time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)

func newWorld(t *testing.T) *world {
	t.Helper()
	ctx := t.Context()
	path := filepath.Join(t.TempDir(), "studio.db")
	if err := sqlite.Create(ctx, path); err != nil {
		t.Fatal(err)
	}
	db, err := sqlite.Open(ctx, path, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	a := New(Options{Store: db, Now: func() time.Time { return noon }, Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	server := grpc.NewServer(grpc.MaxRecvMsgSize(16 << 20))
	a.Register(server)
	listener := bufconn.Listen(1 << 20)
	go server.Serve(listener)
	t.Cleanup(server.Stop)
	conn, err := grpc.NewClient("passthrough:///test", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(16<<20), grpc.MaxCallSendMsgSize(16<<20)),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return &world{
		t: t, Context: ctx, api: a, path: path,
		studios: pb.NewStudioServiceClient(conn), glazes: pb.NewGlazeServiceClient(conn), materials: pb.NewMaterialServiceClient(conn),
		bodies: pb.NewBodyServiceClient(conn), firings: pb.NewFiringServiceClient(conn), wares: pb.NewWareServiceClient(conn),
		tiles: pb.NewTileServiceClient(conn), sheets: pb.NewSheetServiceClient(conn), keys: pb.NewKeyServiceClient(conn),
		scores: pb.NewScoreServiceClient(conn), calibrations: pb.NewCalibrationServiceClient(conn),
	}
}

// newStudio is a world with a studio that has a bit of everything. All of it is invented.
func newStudio(t *testing.T) *world {
	w := newWorld(t)
	must(w.studios.CreateStudio(w, &pb.CreateStudioRequest{Studio: &pb.Studio{DisplayName: "Test", Invented: true}}))(t)
	for _, g := range []*pb.Glaze{
		{DisplayName: "Clear", Chemistry: &pb.Glaze_Recipe{Recipe: &pb.Recipe{Ingredients: []*pb.Ingredient{
			{Material: "orthoclase", Amount: 40}, {Material: "quartz", Amount: 25}, {Material: "calcite", Amount: 20}, {Material: "kaolinite", Amount: 15},
		}}}},
		{DisplayName: "Amber", Chemistry: &pb.Glaze_Seger{Seger: &pb.SegerFormula{Moles: map[string]float64{
			"Na2O": 0.3, "CaO": 0.7, "Al2O3": 0.35, "B2O3": 0.3, "SiO2": 3, "Fe2O3": 0.1}}}},
		{DisplayName: "Jar", Chemistry: &pb.Glaze_Described{Described: &pb.DescribedGlaze{Behaviour: pb.Behaviour_BEHAVIOUR_MOBILE}}, ConeFrom: "5", ConeTo: "6"},
	} {
		must(w.glazes.CreateGlaze(w, &pb.CreateGlazeRequest{Parent: "studios/test", Glaze: g}))(t)
	}
	must(w.glazes.CreateLot(w, &pb.CreateLotRequest{Parent: "studios/test/glazes/clear", Lot: &pb.Lot{DisplayName: "Bucket 2"}}))(t)
	must(w.bodies.CreateBody(w, &pb.CreateBodyRequest{Parent: "studios/test", Body: &pb.Body{DisplayName: "Stoneware"}}))(t)
	must(w.firings.CreateFiring(w, &pb.CreateFiringRequest{Parent: "studios/test", Firing: &pb.Firing{
		DisplayName: "Cone 6", Kiln: "big", Plan: conePlan("6")}}))(t)
	must(w.wares.CreateWare(w, &pb.CreateWareRequest{Parent: "studios/test", Ware: &pb.Ware{
		DisplayName: "Mug", Shape: &pb.WareShape{Kind: &pb.WareShape_Cylinder{Cylinder: &pb.CylinderShape{HeightMm: 100, DiameterMm: 80}}}}}))(t)
	return w
}

func conePlan(cone string) *pb.FiringPlan {
	return &pb.FiringPlan{Heat: &pb.FiringPlan_Cone{Cone: &pb.ConeFiring{Cone: cone}}}
}

// aTile is two coats of amber over two of clear that ran 12 mm.
func aTile() *pb.Tile {
	return &pb.Tile{
		Layering: &pb.Layering{Layers: []*pb.Layer{
			{Glaze: "studios/test/glazes/clear", Lot: "studios/test/glazes/clear/lots/bucket-2", Amount: &pb.Layer_Coats{Coats: 2}},
			{Glaze: "studios/test/glazes/amber", Amount: &pb.Layer_Coats{Coats: 2}, Method: pb.ApplicationMethod_APPLICATION_METHOD_DIP},
		}, Body: "studios/test/bodies/stoneware"},
		FiringSource: &pb.Tile_Firing{Firing: "studios/test/firings/cone-6"},
		Outcome:      &pb.Tile_RunMm{RunMm: 12},
		Tester:       "tester one",
	}
}

// must gives the answer of a call that has to succeed.
func must[T any](answer T, err error) func(*testing.T) T {
	return func(t *testing.T) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return answer
	}
}

// refused checks that a call fails with a code and a text that holds all the given words.
func refused(t *testing.T, err error, code codes.Code, words ...string) {
	t.Helper()
	s := status.Convert(err)
	if s.Code() != code {
		t.Fatalf("got %v, want %v with %q", err, code, words)
	}
	for _, word := range words {
		if !strings.Contains(s.Message(), word) {
			t.Fatalf("the text %q lacks %q", s.Message(), word)
		}
	}
}

func TestWholeStudio(t *testing.T) {
	w := newStudio(t)
	g := must(w.glazes.GetGlaze(w, &pb.GetGlazeRequest{Name: "studios/test/glazes/clear"}))(t)
	// 20 of calcite lose 43.97 % and 15 of kaolinite 13.96 %, by their formulas.
	if want := 20*0.4397 + 15*0.1396; math.Abs(g.Composition.GetLoiPercent()-want) > 0.01 || g.Etag == "" {
		t.Errorf("glaze %v, want a loss of %v", g, want)
	}
	// A self-supporting cone 6 at 60 °C/h is down at 1222 °C by the published table.
	f := must(w.firings.GetFiring(w, &pb.GetFiringRequest{Name: "studios/test/firings/cone-6"}))(t)
	if math.Abs(f.HeatWork.GetPeakC()-1222) > 0.01 || f.HeatWork.EquivalentCone != "6" {
		t.Errorf("firing %v", f.HeatWork)
	}
	ware := must(w.wares.GetWare(w, &pb.GetWareRequest{Name: "studios/test/wares/mug"}))(t)
	if ware.WallLengthMm != 100 {
		t.Errorf("ware %v", ware)
	}
	tile := must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: aTile()}))(t)
	if tile.FireDate != "2026-03-14" || tile.Kiln != "big" || len(tile.GlazesOfTheDay) != 2 || tile.FiringOfTheDay.GetCone().GetCone() != "6" {
		t.Errorf("tile %v", tile)
	}
	list := must(w.tiles.ListTiles(w, &pb.ListTilesRequest{Parent: "studios/test", Glaze: "studios/test/glazes/amber"}))(t)
	if len(list.Tiles) != 1 || !proto.Equal(list.Tiles[0], tile) {
		t.Errorf("list %v", list)
	}
}
