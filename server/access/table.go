package access

import (
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// need is what a method needs of its caller.
type need int

const (
	anybody  need = iota + 1 // no key
	anyKey                   // any valid key; the service shows each caller only its own
	view                     // a key of the studio that may view, or more
	record                   // that may record, or more
	manage                   // that may manage
	operator                 // the operator's key
)

// rule is one line of the table.
type rule struct {
	need need
	// studio is the path of the request's field that names the studio or something in it. Empty: none does.
	studio string
}

const v1 = "/catchline.v1."

// table has a line for every method that is served. A method without one is refused, and a test fails.
var table = map[string]rule{
	v1 + "StudioService/GetStudio":    {view, "name"},
	v1 + "StudioService/ListStudios":  {anyKey, ""},
	v1 + "StudioService/CreateStudio": {operator, ""},
	v1 + "StudioService/UpdateStudio": {manage, "studio.name"},
	// All that a studio has goes with it, so not even who manages it may do that alone.
	v1 + "StudioService/DeleteStudio": {operator, "name"},

	v1 + "KeyService/ListKeys":  {manage, "parent"},
	v1 + "KeyService/CreateKey": {manage, "parent"},
	v1 + "KeyService/DeleteKey": {manage, "name"},

	v1 + "GlazeService/GetGlaze":         {view, "name"},
	v1 + "GlazeService/ListGlazes":       {view, "parent"},
	v1 + "GlazeService/CreateGlaze":      {manage, "parent"},
	v1 + "GlazeService/UpdateGlaze":      {manage, "glaze.name"},
	v1 + "GlazeService/DeleteGlaze":      {manage, "name"},
	v1 + "GlazeService/GetLot":           {view, "name"},
	v1 + "GlazeService/ListLots":         {view, "parent"},
	v1 + "GlazeService/CreateLot":        {manage, "parent"},
	v1 + "GlazeService/UpdateLot":        {manage, "lot.name"},
	v1 + "GlazeService/DeleteLot":        {manage, "name"},
	v1 + "GlazeService/DescribeMelt":     {view, "parent"},
	v1 + "GlazeService/PredictViscosity": {anyKey, ""}, // of a melt that belongs to no studio

	v1 + "MaterialService/GetMaterial":    {view, "name"},
	v1 + "MaterialService/ListMaterials":  {view, "parent"},
	v1 + "MaterialService/CreateMaterial": {manage, "parent"},
	v1 + "MaterialService/UpdateMaterial": {manage, "material.name"},
	v1 + "MaterialService/DeleteMaterial": {manage, "name"},

	v1 + "BodyService/GetBody":    {view, "name"},
	v1 + "BodyService/ListBodies": {view, "parent"},
	v1 + "BodyService/CreateBody": {manage, "parent"},
	v1 + "BodyService/UpdateBody": {manage, "body.name"},
	v1 + "BodyService/DeleteBody": {manage, "name"},

	v1 + "FiringService/GetFiring":     {view, "name"},
	v1 + "FiringService/ListFirings":   {view, "parent"},
	v1 + "FiringService/CreateFiring":  {manage, "parent"},
	v1 + "FiringService/UpdateFiring":  {manage, "firing.name"},
	v1 + "FiringService/DeleteFiring":  {manage, "name"},
	v1 + "FiringService/PreviewFiring": {view, "parent"},

	v1 + "WareService/GetWare":      {view, "name"},
	v1 + "WareService/ListWares":    {view, "parent"},
	v1 + "WareService/CreateWare":   {manage, "parent"},
	v1 + "WareService/UpdateWare":   {manage, "ware.name"},
	v1 + "WareService/DeleteWare":   {manage, "name"},
	v1 + "WareService/TraceProfile": {view, "parent"},

	v1 + "TileService/GetTile":     {view, "name"},
	v1 + "TileService/ListTiles":   {view, "parent"},
	v1 + "TileService/CreateTile":  {record, "parent"},
	v1 + "TileService/UpdateTile":  {record, "tile.name"},
	v1 + "TileService/DeleteTile":  {record, "name"},
	v1 + "TileService/ImportTiles": {record, "parent"},
	v1 + "TileService/ExportTiles": {view, "parent"},

	v1 + "SheetService/GetSheet":    {view, "name"},
	v1 + "SheetService/ListSheets":  {view, "parent"},
	v1 + "SheetService/CreateSheet": {record, "parent"},
	v1 + "SheetService/UpdateSheet": {record, "sheet.name"},
	v1 + "SheetService/DeleteSheet": {record, "name"},

	v1 + "ScoreService/ScoreLayering":  {view, "parent"},
	v1 + "ScoreService/ScoreSheet":     {view, "parent"},
	v1 + "ScoreService/AdviseLayering": {view, "parent"},
	v1 + "ScoreService/DrawWall":       {view, "parent"},
	v1 + "ScoreService/PlanShelf":      {view, "parent"},

	v1 + "CalibrationService/GetCalibration":      {view, "name"},
	v1 + "CalibrationService/ListCalibrations":    {view, "parent"},
	v1 + "CalibrationService/FitCalibration":      {manage, "parent"},
	v1 + "CalibrationService/ActivateCalibration": {manage, "name"},
	v1 + "CalibrationService/GetRecord":           {view, "parent"},
	v1 + "CalibrationService/CompareLots":         {view, "parent"},
	v1 + "CalibrationService/SuggestTiles":        {view, "parent"},

	"/grpc.health.v1.Health/Check":                                   {anybody, ""},
	"/grpc.health.v1.Health/List":                                    {anybody, ""},
	"/grpc.health.v1.Health/Watch":                                   {anybody, ""},
	"/grpc.reflection.v1.ServerReflection/ServerReflectionInfo":      {anyKey, ""},
	"/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo": {anyKey, ""},
}

// Computing returns the methods that keep a processor busy rather than wait for storage.
func Computing() map[string]bool {
	computing := map[string]bool{}
	for name := range table {
		if strings.HasPrefix(name, v1+"ScoreService/") {
			computing[name] = true
		}
	}
	for _, name := range []string{
		"GlazeService/DescribeMelt", "GlazeService/PredictViscosity", "FiringService/PreviewFiring", "WareService/TraceProfile",
	} {
		computing[v1+name] = true
	}
	// A part of a sheet waits for its turn by itself.
	delete(computing, v1+"ScoreService/ScoreSheet")
	return computing
}

// ComputingLong returns the methods that keep a processor busy for a time that grows with the studio's log.
func ComputingLong() map[string]bool {
	return map[string]bool{
		v1 + "CalibrationService/FitCalibration": true, v1 + "CalibrationService/GetRecord": true,
		v1 + "CalibrationService/CompareLots": true, v1 + "CalibrationService/SuggestTiles": true,
	}
}

// Methods returns the full names of all methods in the table.
func Methods() []string {
	names := make([]string, 0, len(table))
	for name := range table {
		names = append(names, name)
	}
	return names
}

// least is the role that a key has to have at least. Only for view, record and manage.
func (n need) least() pb.Role {
	switch n {
	case view:
		return pb.Role_ROLE_VIEW
	case record:
		return pb.Role_ROLE_RECORD
	}
	return pb.Role_ROLE_MANAGE
}

// named returns what the field of the request at path holds, empty if it is not set.
func named(m proto.Message, path string) string {
	r := m.ProtoReflect()
	for {
		head, rest, deeper := strings.Cut(path, ".")
		fd := r.Descriptor().Fields().ByName(protoreflect.Name(head))
		if !deeper {
			return r.Get(fd).String()
		}
		r, path = r.Get(fd).Message(), rest
	}
}

// studioOf returns the studio in a resource's name.
func studioOf(name string) (studio string, ok bool) {
	rest, ok := strings.CutPrefix(name, "studios/")
	if !ok {
		return "", false
	}
	studio, _, _ = strings.Cut(rest, "/")
	return studio, studio != ""
}
