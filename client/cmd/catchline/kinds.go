package main

import (
	"iter"
	"math"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// kinds are the kinds of thing that are kept by the same commands.
var kinds []kind

func init() {
	kinds = []kind{
		{
			noun: "studio", collection: "studios",
			make: func() proto.Message { return &pb.Studio{} },
			list: func(a *app, c *client.Client, _ string) iter.Seq2[proto.Message, error] {
				return messages(c.AllStudios(a))
			},
			get: func(a *app, c *client.Client, name string) (proto.Message, error) {
				return c.Studios.GetStudio(a, &pb.GetStudioRequest{Name: name})
			},
			create: func(a *app, c *client.Client, _, id string, m proto.Message) (proto.Message, error) {
				return c.Studios.CreateStudio(a, &pb.CreateStudioRequest{StudioId: id, Studio: m.(*pb.Studio)})
			},
			update: func(a *app, c *client.Client, m proto.Message, mask *fieldmaskpb.FieldMask) (proto.Message, error) {
				return c.Studios.UpdateStudio(a, &pb.UpdateStudioRequest{Studio: m.(*pb.Studio), UpdateMask: mask})
			},
			delete: func(a *app, c *client.Client, name, etag string, force bool) error {
				_, err := c.Studios.DeleteStudio(a, &pb.DeleteStudioRequest{Name: name, Etag: etag, Force: force})
				return err
			},
			head: []string{"tolerated_risk", "calibration", "invented"},
			row: func(one proto.Message) []any {
				m := one.(*pb.Studio)
				tolerated := 0.05
				if t := m.Settings.GetToleratedRisk(); t > 0 {
					tolerated = t
				}
				return []any{percent(tolerated), idOf(m.ActiveCalibration), yesNo(m.Invented)}
			},
		},
		{
			noun: "glaze", collection: "glazes",
			make: func() proto.Message { return &pb.Glaze{} },
			list: func(a *app, c *client.Client, parent string) iter.Seq2[proto.Message, error] {
				return messages(c.AllGlazes(a, parent))
			},
			get: func(a *app, c *client.Client, name string) (proto.Message, error) {
				return c.Glazes.GetGlaze(a, &pb.GetGlazeRequest{Name: name})
			},
			create: func(a *app, c *client.Client, parent, id string, m proto.Message) (proto.Message, error) {
				return c.Glazes.CreateGlaze(a, &pb.CreateGlazeRequest{Parent: parent, GlazeId: id, Glaze: m.(*pb.Glaze)})
			},
			update: func(a *app, c *client.Client, m proto.Message, mask *fieldmaskpb.FieldMask) (proto.Message, error) {
				return c.Glazes.UpdateGlaze(a, &pb.UpdateGlazeRequest{Glaze: m.(*pb.Glaze), UpdateMask: mask})
			},
			delete: func(a *app, c *client.Client, name, etag string, _ bool) error {
				_, err := c.Glazes.DeleteGlaze(a, &pb.DeleteGlazeRequest{Name: name, Etag: etag})
				return err
			},
			head: []string{"chemistry", "surface", "cones", "loi_percent"},
			row: func(one proto.Message) []any {
				m := one.(*pb.Glaze)
				cones := m.ConeFrom
				if m.ConeTo != "" && m.ConeTo != m.ConeFrom {
					cones += " to " + m.ConeTo
				}
				var loi any = ""
				if m.Composition != nil {
					loi = m.Composition.LoiPercent
				}
				return []any{chemistryOf(m.Chemistry), word(m.Surface, "SURFACE_"), cones, loi}
			},
		},
		{
			noun: "lot", collection: "lots",
			make: func() proto.Message { return &pb.Lot{} },
			list: func(a *app, c *client.Client, parent string) iter.Seq2[proto.Message, error] {
				return messages(c.AllLots(a, parent))
			},
			get: func(a *app, c *client.Client, name string) (proto.Message, error) {
				return c.Glazes.GetLot(a, &pb.GetLotRequest{Name: name})
			},
			create: func(a *app, c *client.Client, parent, id string, m proto.Message) (proto.Message, error) {
				return c.Glazes.CreateLot(a, &pb.CreateLotRequest{Parent: parent, LotId: id, Lot: m.(*pb.Lot)})
			},
			update: func(a *app, c *client.Client, m proto.Message, mask *fieldmaskpb.FieldMask) (proto.Message, error) {
				return c.Glazes.UpdateLot(a, &pb.UpdateLotRequest{Lot: m.(*pb.Lot), UpdateMask: mask})
			},
			delete: func(a *app, c *client.Client, name, etag string, _ bool) error {
				_, err := c.Glazes.DeleteLot(a, &pb.DeleteLotRequest{Name: name, Etag: etag})
				return err
			},
			head: []string{"chemistry", "notes"},
			row: func(one proto.Message) []any {
				m := one.(*pb.Lot)
				chemistry := chemistryOf(m.Chemistry)
				if m.Chemistry == nil {
					chemistry = "the glaze's"
				}
				return []any{chemistry, m.Notes}
			},
		},
		{
			noun: "material", collection: "materials",
			make: func() proto.Message { return &pb.Material{} },
			list: func(a *app, c *client.Client, parent string) iter.Seq2[proto.Message, error] {
				return messages(c.AllMaterials(a, parent, a.Material.List.BuiltIn))
			},
			get: func(a *app, c *client.Client, name string) (proto.Message, error) {
				return c.Materials.GetMaterial(a, &pb.GetMaterialRequest{Name: name})
			},
			create: func(a *app, c *client.Client, parent, id string, m proto.Message) (proto.Message, error) {
				return c.Materials.CreateMaterial(a, &pb.CreateMaterialRequest{Parent: parent, MaterialId: id, Material: m.(*pb.Material)})
			},
			update: func(a *app, c *client.Client, m proto.Message, mask *fieldmaskpb.FieldMask) (proto.Message, error) {
				return c.Materials.UpdateMaterial(a, &pb.UpdateMaterialRequest{Material: m.(*pb.Material), UpdateMask: mask})
			},
			delete: func(a *app, c *client.Client, name, etag string, _ bool) error {
				_, err := c.Materials.DeleteMaterial(a, &pb.DeleteMaterialRequest{Name: name, Etag: etag})
				return err
			},
			head: []string{"loi_percent", "source"},
			row: func(one proto.Message) []any {
				m := one.(*pb.Material)
				return []any{m.GetLoiPercent(), m.Source}
			},
		},
		{
			noun: "body", collection: "bodies",
			make: func() proto.Message { return &pb.Body{} },
			list: func(a *app, c *client.Client, parent string) iter.Seq2[proto.Message, error] {
				return messages(c.AllBodies(a, parent))
			},
			get: func(a *app, c *client.Client, name string) (proto.Message, error) {
				return c.Bodies.GetBody(a, &pb.GetBodyRequest{Name: name})
			},
			create: func(a *app, c *client.Client, parent, id string, m proto.Message) (proto.Message, error) {
				return c.Bodies.CreateBody(a, &pb.CreateBodyRequest{Parent: parent, BodyId: id, Body: m.(*pb.Body)})
			},
			update: func(a *app, c *client.Client, m proto.Message, mask *fieldmaskpb.FieldMask) (proto.Message, error) {
				return c.Bodies.UpdateBody(a, &pb.UpdateBodyRequest{Body: m.(*pb.Body), UpdateMask: mask})
			},
			delete: func(a *app, c *client.Client, name, etag string, _ bool) error {
				_, err := c.Bodies.DeleteBody(a, &pb.DeleteBodyRequest{Name: name, Etag: etag})
				return err
			},
			head: []string{"absorption_percent", "notes"},
			row: func(one proto.Message) []any {
				m := one.(*pb.Body)
				var absorption any = ""
				if m.BisqueAbsorptionPercent != nil {
					absorption = *m.BisqueAbsorptionPercent
				}
				return []any{absorption, m.Notes}
			},
		},
		{
			noun: "firing", collection: "firings",
			make: func() proto.Message { return &pb.Firing{} },
			list: func(a *app, c *client.Client, parent string) iter.Seq2[proto.Message, error] {
				return messages(c.AllFirings(a, parent))
			},
			get: func(a *app, c *client.Client, name string) (proto.Message, error) {
				return c.Firings.GetFiring(a, &pb.GetFiringRequest{Name: name})
			},
			create: func(a *app, c *client.Client, parent, id string, m proto.Message) (proto.Message, error) {
				return c.Firings.CreateFiring(a, &pb.CreateFiringRequest{Parent: parent, FiringId: id, Firing: m.(*pb.Firing)})
			},
			update: func(a *app, c *client.Client, m proto.Message, mask *fieldmaskpb.FieldMask) (proto.Message, error) {
				return c.Firings.UpdateFiring(a, &pb.UpdateFiringRequest{Firing: m.(*pb.Firing), UpdateMask: mask})
			},
			delete: func(a *app, c *client.Client, name, etag string, _ bool) error {
				_, err := c.Firings.DeleteFiring(a, &pb.DeleteFiringRequest{Name: name, Etag: etag})
				return err
			},
			head: []string{"equivalent_cone", "peak_c", "atmosphere", "kiln"},
			row: func(one proto.Message) []any {
				m := one.(*pb.Firing)
				return []any{m.HeatWork.GetEquivalentCone(), math.Round(m.HeatWork.GetPeakC()), atmosphereOf(m.Plan.GetAtmosphere()), m.Kiln}
			},
		},
		{
			noun: "ware", collection: "wares",
			make: func() proto.Message { return &pb.Ware{} },
			list: func(a *app, c *client.Client, parent string) iter.Seq2[proto.Message, error] {
				return messages(c.AllWares(a, parent))
			},
			get: func(a *app, c *client.Client, name string) (proto.Message, error) {
				return c.Wares.GetWare(a, &pb.GetWareRequest{Name: name})
			},
			create: func(a *app, c *client.Client, parent, id string, m proto.Message) (proto.Message, error) {
				return c.Wares.CreateWare(a, &pb.CreateWareRequest{Parent: parent, WareId: id, Ware: m.(*pb.Ware)})
			},
			update: func(a *app, c *client.Client, m proto.Message, mask *fieldmaskpb.FieldMask) (proto.Message, error) {
				return c.Wares.UpdateWare(a, &pb.UpdateWareRequest{Ware: m.(*pb.Ware), UpdateMask: mask})
			},
			delete: func(a *app, c *client.Client, name, etag string, _ bool) error {
				_, err := c.Wares.DeleteWare(a, &pb.DeleteWareRequest{Name: name, Etag: etag})
				return err
			},
			head: []string{"shape", "wall_length_mm"},
			row: func(one proto.Message) []any {
				m := one.(*pb.Ware)
				return []any{shapeOf(m.Shape), math.Round(m.WallLengthMm)}
			},
		},
		{
			noun: "sheet", collection: "sheets",
			make: func() proto.Message { return &pb.Sheet{} },
			list: func(a *app, c *client.Client, parent string) iter.Seq2[proto.Message, error] {
				return messages(c.AllSheets(a, parent))
			},
			get: func(a *app, c *client.Client, name string) (proto.Message, error) {
				return c.Sheets.GetSheet(a, &pb.GetSheetRequest{Name: name})
			},
			create: func(a *app, c *client.Client, parent, id string, m proto.Message) (proto.Message, error) {
				return c.Sheets.CreateSheet(a, &pb.CreateSheetRequest{Parent: parent, SheetId: id, Sheet: m.(*pb.Sheet)})
			},
			update: func(a *app, c *client.Client, m proto.Message, mask *fieldmaskpb.FieldMask) (proto.Message, error) {
				return c.Sheets.UpdateSheet(a, &pb.UpdateSheetRequest{Sheet: m.(*pb.Sheet), UpdateMask: mask})
			},
			delete: func(a *app, c *client.Client, name, etag string, _ bool) error {
				_, err := c.Sheets.DeleteSheet(a, &pb.DeleteSheetRequest{Name: name, Etag: etag})
				return err
			},
			head: []string{"positions", "firings", "scores"},
			row: func(one proto.Message) []any {
				m := one.(*pb.Sheet)
				scores := len(m.Plan.GetFirings())
				for _, p := range m.Plan.GetPositions() {
					scores *= len(p.Choices)
				}
				return []any{len(m.Plan.GetPositions()), len(m.Plan.GetFirings()), scores}
			},
		},
		{
			noun: "tile", collection: "tiles",
			make: func() proto.Message { return &pb.Tile{} },
			get: func(a *app, c *client.Client, name string) (proto.Message, error) {
				return c.Tiles.GetTile(a, &pb.GetTileRequest{Name: name})
			},
			delete: func(a *app, c *client.Client, name, etag string, _ bool) error {
				_, err := c.Tiles.DeleteTile(a, &pb.DeleteTileRequest{Name: name, Etag: etag})
				return err
			},
			head: []string{"fire_date", "layers", "tester"},
			row: func(one proto.Message) []any {
				m := one.(*pb.Tile)
				return []any{m.FireDate, layers(m.Layering), m.Tester}
			},
		},
	}
}

// chemistryOf says how a glaze or a lot is known.
func chemistryOf(c any) string {
	switch c.(type) {
	case *pb.Glaze_Recipe, *pb.Lot_Recipe:
		return "recipe"
	case *pb.Glaze_Analysis, *pb.Lot_Analysis:
		return "analysis"
	case *pb.Glaze_Seger, *pb.Lot_Seger:
		return "Seger formula"
	}
	return "described"
}

func atmosphereOf(a *pb.Atmosphere) string {
	if a.GetKind() == pb.AtmosphereKind_ATMOSPHERE_KIND_UNSPECIFIED {
		return "oxidation"
	}
	return word(a.Kind, "ATMOSPHERE_KIND_")
}

func shapeOf(s *pb.WareShape) string {
	switch s.GetKind().(type) {
	case *pb.WareShape_Tile:
		return "tile"
	case *pb.WareShape_Cylinder:
		return "cylinder"
	case *pb.WareShape_Bowl:
		return "bowl"
	case *pb.WareShape_Bottle:
		return "bottle"
	case *pb.WareShape_Plate:
		return "plate"
	}
	return "profile"
}
