package api

import (
	"math"

	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/catchline/catchline/server/store"
)

// limit is what the contract allows for a field. A test reads the contract's comments and holds this table to them.
type limit struct {
	output   bool // filled by the server; what a request holds there is ignored
	required bool // may not be empty: texts, messages, lists, groups of alternatives

	number   bool // least and most hold for each value
	above    bool // more than least, not equal to it
	zeroOK   bool // 0 stands for unset
	least    float64
	most     float64
	text     bool // longest and lines hold
	longest  int  // characters
	lines    bool // line breaks and tabs are allowed
	fewest   int  // items of a list or map
	mostOf   int  // 0: not limited here
	kind     store.Kind
	isOption bool // enumeration that must not be the unspecified value
}

func outputOnly() limit                 { return limit{output: true} }
func between(least, most float64) limit { return limit{number: true, least: least, most: most} }
func moreThan(least, most float64) limit {
	return limit{number: true, above: true, least: least, most: most}
}
func oneLine(longest int) limit    { return limit{text: true, longest: longest} }
func freeText(longest int) limit   { return limit{text: true, lines: true, longest: longest} }
func named(kind store.Kind) limit  { return limit{kind: kind} }
func sized(fewest, most int) limit { return limit{fewest: fewest, mostOf: most} }
func needed() limit                { return limit{required: true} }
func chosen() limit                { return limit{isOption: true} }

func (l limit) orZero() limit { l.zeroOK = true; return l }
func (l limit) needed() limit { l.required = true; return l }
func (l limit) of(fewest, most int) limit {
	l.fewest, l.mostOf = fewest, most
	return l
}

// limits are the limits of every field that a request may hold, by message and field. Fields that are not here hold messages,
// enumerations or truth values that need no more than their own parts' limits.
var limits = func() map[protoreflect.FullName]limit {
	// Texts of the same meaning have the same length everywhere.
	var (
		displayName = oneLine(120).needed()
		notes       = freeText(4000)
		person      = oneLine(60)
		cone        = oneLine(8)
		requestID   = oneLine(64)
		newID       = oneLine(maxID)
		etag        = oneLine(64)
		token       = oneLine(1024)
		pages       = between(0, math.MaxInt32)
		csvBytes    = 8_000_000
		anyOxide    = 40 // more than there are
	)

	return map[protoreflect.FullName]limit{
		"Studio.name":                          outputOnly(), // read by the methods that need it
		"Studio.display_name":                  displayName,
		"Studio.create_time":                   outputOnly(),
		"Studio.update_time":                   outputOnly(),
		"Studio.etag":                          etag,
		"Studio.active_calibration":            outputOnly(),
		"StudioSettings.tolerated_risk":        between(0.001, 0.5),
		"StudioSettings.cookie_diameters_mm":   between(20, 600).of(0, 20),
		"StudioSettings.cookie_thicknesses_mm": between(3, 50).of(0, 10),
		"StudioSettings.stirring":              between(1, 200),
		"RiskThresholds.low":                   between(0, 1),
		"RiskThresholds.moderate":              between(0, 1),
		"RiskThresholds.high":                  between(0, 1),
		"Costs.grind_shelf":                    between(0, 1e6),
		"Costs.lose_shelf":                     between(0, 1e6),
		"Costs.lose_ware":                      between(0, 1e6),
		"Costs.plain_cookie":                   between(0, 1e6),
		"Costs.dished_cookie":                  between(0, 1e6),
		"Hand.brush_um_per_coat":               between(10, 2000),
		"Hand.dip_um_per_coat":                 between(10, 2000),
		"Hand.spray_um_per_coat":               between(10, 2000),
		"GetStudioRequest.name":                named(store.KindStudio).needed(),
		"ListStudiosRequest.page_size":         pages,
		"ListStudiosRequest.page_token":        token,
		"CreateStudioRequest.studio_id":        newID,
		"CreateStudioRequest.studio":           needed(),
		"CreateStudioRequest.request_id":       requestID,
		"UpdateStudioRequest.studio":           needed(),
		"UpdateStudioRequest.request_id":       requestID,
		"DeleteStudioRequest.name":             named(store.KindStudio).needed(),
		"DeleteStudioRequest.etag":             etag,
		"DeleteStudioRequest.request_id":       requestID,

		"Glaze.name":                    outputOnly(), // read by the methods that need it
		"Glaze.display_name":            displayName,
		"Glaze.chemistry":               needed(),
		"Glaze.cone_from":               cone,
		"Glaze.cone_to":                 cone,
		"Glaze.notes":                   notes,
		"Glaze.composition":             outputOnly(),
		"Glaze.create_time":             outputOnly(),
		"Glaze.update_time":             outputOnly(),
		"Glaze.etag":                    etag,
		"Recipe.ingredients":            sized(1, 64),
		"Ingredient.material":           oneLine(120).needed(),
		"Ingredient.amount":             moreThan(0, 1e6),
		"OxideAnalysis.oxides_percent":  between(0, 100).of(1, anyOxide),
		"OxideAnalysis.loi_percent":     between(0, 60),
		"SegerFormula.moles":            between(0, 100).of(1, anyOxide),
		"SegerFormula.loi_percent":      between(0, 60),
		"GetGlazeRequest.name":          named(store.KindGlaze).needed(),
		"ListGlazesRequest.parent":      named(store.KindStudio).needed(),
		"ListGlazesRequest.page_size":   pages,
		"ListGlazesRequest.page_token":  token,
		"CreateGlazeRequest.parent":     named(store.KindStudio).needed(),
		"CreateGlazeRequest.glaze_id":   newID,
		"CreateGlazeRequest.glaze":      needed(),
		"CreateGlazeRequest.request_id": requestID,
		"UpdateGlazeRequest.glaze":      needed(),
		"UpdateGlazeRequest.request_id": requestID,
		"DeleteGlazeRequest.name":       named(store.KindGlaze).needed(),
		"DeleteGlazeRequest.etag":       etag,
		"DeleteGlazeRequest.request_id": requestID,

		"Lot.name":                    outputOnly(), // read by the methods that need it
		"Lot.display_name":            displayName,
		"Lot.notes":                   notes,
		"Lot.composition":             outputOnly(),
		"Lot.create_time":             outputOnly(),
		"Lot.update_time":             outputOnly(),
		"Lot.etag":                    etag,
		"GetLotRequest.name":          named(store.KindLot).needed(),
		"ListLotsRequest.parent":      named(store.KindGlaze).needed(),
		"ListLotsRequest.page_size":   pages,
		"ListLotsRequest.page_token":  token,
		"CreateLotRequest.parent":     named(store.KindGlaze).needed(),
		"CreateLotRequest.lot_id":     newID,
		"CreateLotRequest.lot":        needed(),
		"CreateLotRequest.request_id": requestID,
		"UpdateLotRequest.lot":        needed(),
		"UpdateLotRequest.request_id": requestID,
		"DeleteLotRequest.name":       named(store.KindLot).needed(),
		"DeleteLotRequest.etag":       etag,
		"DeleteLotRequest.request_id": requestID,

		"DescribeMeltRequest.parent":      named(store.KindStudio).needed(),
		"DescribeMeltRequest.source":      needed(),
		"DescribeMeltRequest.glaze":       named(store.KindGlaze),
		"DescribeMeltRequest.lot":         named(store.KindLot),
		"DescribeMeltRequest.from_c":      between(500, 1500),
		"DescribeMeltRequest.to_c":        between(500, 1700),
		"DescribeMeltRequest.points":      between(2, 400),
		"PredictViscosityRequest.samples": sized(1, 10_000),
		"MeltSample.mole_fractions":       between(0, 1).of(1, anyOxide),
		"MeltSample.temperature_k":        between(600, 2300),

		"Material.name":                     outputOnly(), // read by the methods that need it
		"Material.display_name":             displayName,
		"Material.oxides_percent":           between(0, 100).of(0, anyOxide),
		"Material.loi_percent":              between(-30, 99),
		"Material.built_in":                 outputOnly(),
		"Material.source":                   oneLine(400),
		"Material.create_time":              outputOnly(),
		"Material.update_time":              outputOnly(),
		"Material.etag":                     etag,
		"GetMaterialRequest.name":           named(store.KindMaterial).needed(),
		"ListMaterialsRequest.parent":       named(store.KindStudio).needed(),
		"ListMaterialsRequest.page_size":    pages,
		"ListMaterialsRequest.page_token":   token,
		"CreateMaterialRequest.parent":      named(store.KindStudio).needed(),
		"CreateMaterialRequest.material_id": newID,
		"CreateMaterialRequest.material":    needed(),
		"CreateMaterialRequest.request_id":  requestID,
		"UpdateMaterialRequest.material":    needed(),
		"UpdateMaterialRequest.request_id":  requestID,
		"DeleteMaterialRequest.name":        named(store.KindMaterial).needed(),
		"DeleteMaterialRequest.etag":        etag,
		"DeleteMaterialRequest.request_id":  requestID,

		"Body.name":                      outputOnly(), // read by the methods that need it
		"Body.display_name":              displayName,
		"Body.bisque_absorption_percent": between(0, 40),
		"Body.notes":                     notes,
		"Body.create_time":               outputOnly(),
		"Body.update_time":               outputOnly(),
		"Body.etag":                      etag,
		"GetBodyRequest.name":            named(store.KindBody).needed(),
		"ListBodiesRequest.parent":       named(store.KindStudio).needed(),
		"ListBodiesRequest.page_size":    pages,
		"ListBodiesRequest.page_token":   token,
		"CreateBodyRequest.parent":       named(store.KindStudio).needed(),
		"CreateBodyRequest.body_id":      newID,
		"CreateBodyRequest.body":         needed(),
		"CreateBodyRequest.request_id":   requestID,
		"UpdateBodyRequest.body":         needed(),
		"UpdateBodyRequest.request_id":   requestID,
		"DeleteBodyRequest.name":         named(store.KindBody).needed(),
		"DeleteBodyRequest.etag":         etag,
		"DeleteBodyRequest.request_id":   requestID,

		"Firing.name":                    outputOnly(), // read by the methods that need it
		"Firing.display_name":            displayName,
		"Firing.plan":                    needed(),
		"Firing.kiln":                    person,
		"Firing.notes":                   notes,
		"Firing.heat_work":               outputOnly(),
		"Firing.create_time":             outputOnly(),
		"Firing.update_time":             outputOnly(),
		"Firing.etag":                    etag,
		"FiringPlan.heat":                needed(),
		"FiringPlan.cooling_c_per_h":     between(10, 2000),
		"ConeFiring.cone":                cone.needed(),
		"ConeFiring.final_ramp_c_per_h":  between(5, 600),
		"ConeFiring.hold_min":            between(0, 1440),
		"ConeFiring.drop_c":              between(0, 400),
		"ConeFiring.drop_hold_min":       between(0, 1440),
		"SegmentFiring.segments":         sized(1, 50),
		"Segment.ramp_c_per_h":           between(1, 2000),
		"Segment.target_c":               between(0, 1450),
		"Segment.hold_min":               between(0, 2880),
		"KilnLog.csv":                    freeText(2_000_000).needed(),
		"Atmosphere.co2_to_co":           between(0.1, 10_000),
		"WitnessCone.cone":               cone.needed(),
		"GetFiringRequest.name":          named(store.KindFiring).needed(),
		"ListFiringsRequest.parent":      named(store.KindStudio).needed(),
		"ListFiringsRequest.page_size":   pages,
		"ListFiringsRequest.page_token":  token,
		"CreateFiringRequest.parent":     named(store.KindStudio).needed(),
		"CreateFiringRequest.firing_id":  newID,
		"CreateFiringRequest.firing":     needed(),
		"CreateFiringRequest.request_id": requestID,
		"UpdateFiringRequest.firing":     needed(),
		"UpdateFiringRequest.request_id": requestID,
		"DeleteFiringRequest.name":       named(store.KindFiring).needed(),
		"DeleteFiringRequest.etag":       etag,
		"DeleteFiringRequest.request_id": requestID,
		"PreviewFiringRequest.parent":    named(store.KindStudio).needed(),
		"PreviewFiringRequest.plan":      needed(),

		"Ware.name":                     outputOnly(), // read by the methods that need it
		"Ware.display_name":             displayName,
		"Ware.shape":                    needed(),
		"Ware.value":                    between(0, 1e6),
		"Ware.notes":                    notes,
		"Ware.profile":                  outputOnly(),
		"Ware.wall_length_mm":           outputOnly(),
		"Ware.create_time":              outputOnly(),
		"Ware.update_time":              outputOnly(),
		"Ware.etag":                     etag,
		"WareShape.kind":                needed(),
		"Profile.points":                sized(2, 2000),
		"ProfilePoint.height_mm":        between(0, 2000),
		"ProfilePoint.radius_mm":        between(0, 2000),
		"TileShape.height_mm":           moreThan(0, 2000),
		"TileShape.width_mm":            moreThan(0, 2000),
		"TileShape.angle_deg":           between(0, 90),
		"CylinderShape.height_mm":       moreThan(0, 2000),
		"CylinderShape.diameter_mm":     moreThan(0, 2000),
		"BowlShape.height_mm":           moreThan(0, 2000),
		"BowlShape.rim_diameter_mm":     moreThan(0, 2000),
		"BowlShape.foot_diameter_mm":    moreThan(0, 2000),
		"BottleShape.height_mm":         moreThan(0, 2000),
		"BottleShape.foot_diameter_mm":  moreThan(0, 2000),
		"BottleShape.belly_diameter_mm": moreThan(0, 2000),
		"BottleShape.neck_diameter_mm":  moreThan(0, 2000),
		"BottleShape.belly_height_mm":   between(0, 2000),
		"PlateShape.height_mm":          moreThan(0, 500),
		"PlateShape.rim_diameter_mm":    moreThan(0, 2000),
		"PlateShape.foot_diameter_mm":   moreThan(0, 2000),
		"GetWareRequest.name":           named(store.KindWare).needed(),
		"ListWaresRequest.parent":       named(store.KindStudio).needed(),
		"ListWaresRequest.page_size":    pages,
		"ListWaresRequest.page_token":   token,
		"CreateWareRequest.parent":      named(store.KindStudio).needed(),
		"CreateWareRequest.ware_id":     newID,
		"CreateWareRequest.ware":        needed(),
		"CreateWareRequest.request_id":  requestID,
		"UpdateWareRequest.ware":        needed(),
		"UpdateWareRequest.request_id":  requestID,
		"DeleteWareRequest.name":        named(store.KindWare).needed(),
		"DeleteWareRequest.etag":        etag,
		"DeleteWareRequest.request_id":  requestID,
		"SvgPath.d":                     freeText(100_000).needed(),
		"SvgPath.mm_per_unit":           moreThan(0, 1000),
		"SvgPath.axis_x":                between(-1e6, 1e6),
		"TraceProfileRequest.parent":    named(store.KindStudio).needed(),
		"TraceProfileRequest.source":    needed(),
		"TraceProfileRequest.csv":       freeText(1_000_000),

		"Layer.glaze":              named(store.KindGlaze).needed(),
		"Layer.lot":                named(store.KindLot),
		"Layer.coats":              moreThan(0, 20),
		"Layer.thickness_um":       between(1, 5000),
		"Layer.dry_mass_g_per_cm2": between(0.001, 1),
		"Layering.layers":          sized(1, 8),
		"Layering.body":            named(store.KindBody),
		"LowerBand.layering":       needed(),
		"LowerBand.from_foot_mm":   between(0, 2000),
		"LowerBand.band_height_mm": moreThan(0, 2000),
		"Placement.angle_deg":      between(0, 90),
		"Placement.ware":           named(store.KindWare),
		"Placement.band_height_mm": moreThan(0, 2000),
		"Placement.clearance_mm":   between(0, 2000),
		"Placement.lower_bands":    sized(0, 7),

		"Tile.name":                     outputOnly(), // read by the methods that need it
		"Tile.layering":                 needed(),
		"Tile.firing_source":            needed(),
		"Tile.firing":                   named(store.KindFiring),
		"Tile.kiln":                     person,
		"Tile.outcome":                  needed(),
		"Tile.run_mm":                   between(0, 2000),
		"Tile.mean_front_mm":            between(0, 2000),
		"Tile.reading_error_mm":         between(0.1, 20),
		"Tile.tester":                   person,
		"Tile.fire_date":                oneLine(10),
		"Tile.notes":                    notes,
		"Tile.photo_uri":                oneLine(2000),
		"Tile.glazes_of_the_day":        outputOnly(),
		"Tile.firing_of_the_day":        outputOnly(),
		"Tile.prediction":               outputOnly(),
		"Tile.create_time":              outputOnly(),
		"Tile.update_time":              outputOnly(),
		"Tile.etag":                     etag,
		"RunInterval.from_mm":           between(0, 2000),
		"RunInterval.to_mm":             moreThan(0, 2000),
		"GetTileRequest.name":           named(store.KindTile).needed(),
		"ListTilesRequest.parent":       named(store.KindStudio).needed(),
		"ListTilesRequest.page_size":    pages,
		"ListTilesRequest.page_token":   token,
		"ListTilesRequest.glaze":        named(store.KindGlaze),
		"ListTilesRequest.firing":       named(store.KindFiring),
		"CreateTileRequest.parent":      named(store.KindStudio).needed(),
		"CreateTileRequest.tile_id":     newID,
		"CreateTileRequest.tile":        needed(),
		"CreateTileRequest.request_id":  requestID,
		"UpdateTileRequest.tile":        needed(),
		"UpdateTileRequest.request_id":  requestID,
		"DeleteTileRequest.name":        named(store.KindTile).needed(),
		"DeleteTileRequest.etag":        etag,
		"DeleteTileRequest.request_id":  requestID,
		"ImportTilesRequest.parent":     named(store.KindStudio).needed(),
		"ImportTilesRequest.csv":        freeText(csvBytes).needed(),
		"ImportTilesRequest.request_id": requestID,
		"ExportTilesRequest.parent":     named(store.KindStudio).needed(),

		"Sheet.name":                    outputOnly(), // read by the methods that need it
		"Sheet.display_name":            displayName,
		"Sheet.plan":                    needed(),
		"Sheet.create_time":             outputOnly(),
		"Sheet.update_time":             outputOnly(),
		"Sheet.etag":                    etag,
		"SheetPlan.positions":           sized(1, 4),
		"SheetPlan.body":                named(store.KindBody),
		"SheetPlan.firings":             named(store.KindFiring).of(1, 50),
		"SheetPlan.kiln":                person,
		"SheetPosition.choices":         sized(1, 2000),
		"GetSheetRequest.name":          named(store.KindSheet).needed(),
		"ListSheetsRequest.parent":      named(store.KindStudio).needed(),
		"ListSheetsRequest.page_size":   pages,
		"ListSheetsRequest.page_token":  token,
		"CreateSheetRequest.parent":     named(store.KindStudio).needed(),
		"CreateSheetRequest.sheet_id":   newID,
		"CreateSheetRequest.sheet":      needed(),
		"CreateSheetRequest.request_id": requestID,
		"UpdateSheetRequest.sheet":      needed(),
		"UpdateSheetRequest.request_id": requestID,
		"DeleteSheetRequest.name":       named(store.KindSheet).needed(),
		"DeleteSheetRequest.etag":       etag,
		"DeleteSheetRequest.request_id": requestID,

		"Key.name":                   outputOnly(),
		"Key.display_name":           displayName,
		"Key.role":                   chosen(),
		"Key.create_time":            outputOnly(),
		"ListKeysRequest.parent":     named(store.KindStudio).needed(),
		"ListKeysRequest.page_size":  pages,
		"ListKeysRequest.page_token": token,
		"CreateKeyRequest.parent":    named(store.KindStudio).needed(),
		"CreateKeyRequest.key":       needed(),
		"DeleteKeyRequest.name":      named(store.KindKey).needed(),

		"GetCalibrationRequest.name":          named(store.KindCalibration).needed(),
		"ListCalibrationsRequest.parent":      named(store.KindStudio).needed(),
		"ListCalibrationsRequest.page_size":   pages,
		"ListCalibrationsRequest.page_token":  token,
		"FitCalibrationRequest.parent":        named(store.KindStudio).needed(),
		"FitCalibrationRequest.request_id":    requestID,
		"ActivateCalibrationRequest.name":     named(store.KindCalibration).needed(),
		"GetRecordRequest.parent":             named(store.KindStudio).needed(),
		"CompareLotsRequest.parent":           named(store.KindGlaze).needed(),
		"CompareLotsRequest.old_lot":          named(store.KindLot).needed(),
		"CompareLotsRequest.new_lot":          named(store.KindLot).needed(),
		"CompareLotsRequest.firing":           named(store.KindFiring).needed(),
		"CompareLotsRequest.amount_mm":        between(0, 200),
		"SuggestTilesRequest.parent":          named(store.KindStudio).needed(),
		"SuggestTilesRequest.candidates":      needed(),
		"SuggestTilesRequest.count":           between(1, 50).orZero(),
		"ScoreLayeringRequest.parent":         named(store.KindStudio), // in advice and drawings the outer one counts
		"ScoreLayeringRequest.layering":       needed(),
		"ScoreLayeringRequest.firing_source":  needed(),
		"ScoreLayeringRequest.firing":         named(store.KindFiring),
		"ScoreLayeringRequest.kiln":           person,
		"ScoreLayeringRequest.tester":         person,
		"ScoreLayeringRequest.tolerated_risk": between(0.001, 0.5),
		"ScoreLayeringRequest.calibration":    named(store.KindCalibration),
		"ScoreSheetRequest.parent":            named(store.KindStudio).needed(),
		"ScoreSheetRequest.source":            needed(),
		"ScoreSheetRequest.sheet":             named(store.KindSheet),
		"ScoreSheetRequest.chunk_size":        between(1, 10_000).orZero(),
		"ScoreSheetRequest.tolerated_risk":    between(0.001, 0.5),
		"AdviseLayeringRequest.parent":        named(store.KindStudio).needed(),
		"AdviseLayeringRequest.score":         needed(),
		"AdviseLayeringRequest.allowed":       chosen(),
		"DrawWallRequest.parent":              named(store.KindStudio).needed(),
		"DrawWallRequest.score":               needed(),
		"PlanShelfRequest.parent":             named(store.KindStudio).needed(),
		"PlanShelfRequest.pieces":             sized(1, 500),
		"PlanShelfRequest.firing_source":      needed(),
		"PlanShelfRequest.firing":             named(store.KindFiring),
		"PlanShelfRequest.kiln":               person,
		"ShelfPiece.label":                    displayName,
		"ShelfPiece.count":                    between(1, 1000).orZero(),
		"ShelfPiece.layering":                 needed(),
		"ShelfPiece.shelf":                    between(1, 20).orZero(),
	}
}()
