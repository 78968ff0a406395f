package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

type tileCommands struct {
	Log    tileLogCommand    `cmd:"" help:"Log a tile out of the kiln."`
	List   tileListCommand   `cmd:"" help:"List tiles, the last logged first."`
	Show   showCommand       `cmd:"" help:"Show a tile."`
	Delete deleteCommand     `cmd:"" help:"Delete a tile."`
	Import tileImportCommand `cmd:"" help:"Log the tiles of a CSV file, all or none."`
	Export tileExportCommand `cmd:"" help:"Write all tiles as CSV, oldest first, in the form that an import takes."`
}

type tileLogCommand struct {
	layeringFlags
	firingFlags
	placementFlags

	Ran        *length `name:"run" placeholder:"LENGTH" group:"What came out" help:"How far the longest drip ran below the band."`
	Between    string  `placeholder:"FROM..TO" group:"What came out" help:"Or between what it lies, such as 10..15."`
	RanOff     bool    `group:"What came out" help:"Or it left the wall."`
	DidNotMove bool    `group:"What came out" help:"Or no movement was seen."`

	MeanFront    *length `placeholder:"LENGTH" help:"Mean front below the band, if it was read."`
	ReadingError *length `placeholder:"LENGTH" help:"Error of the reading. Default: 1 mm."`
	Date         string  `placeholder:"YYYY-MM-DD" help:"Day of the firing. Default: today."`
	Notes        string  `help:"What else there is to say."`
	Photo        string  `placeholder:"URL" help:"Link to a photo."`
	SetAside     bool    `help:"Keep the tile but do not learn from it."`
	File         string  `placeholder:"FILE" help:"JSON of a tile; - is the standard input. Other flags are not read then."`
}

// Run logs a tile.
func (t *tileLogCommand) Run(a *app) error {
	tile, err := t.tile(a)
	if err != nil {
		return err
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	logged, err := c.Tiles.CreateTile(a, &pb.CreateTileRequest{Parent: a.studioName(), Tile: tile})
	if err != nil {
		return err
	}
	return a.show(logged, func() *table { return tilesTable(a.Units, []*pb.Tile{logged}) }, func(w io.Writer) error {
		p := &printer{w: w}
		p.line("Logged %s: %s, %s.", idOf(logged.Name), layers(logged.Layering), outcomeOf(a.Units, logged))
		if said := logged.Prediction; said != nil {
			p.line("Said beforehand: %s (80 %% of the time %s), %s to leave the wall.", a.Units.Say(said.MedianRunMm), a.Units.Between(said.RunP10Mm, said.RunP90Mm), sayPercent(said.ExceedProbability))
		}
		p.line("catchline fit learns from it.")
		return p.err
	})
}

func (t *tileLogCommand) tile(a *app) (*pb.Tile, error) {
	tile := &pb.Tile{}
	if t.File != "" {
		if err := a.readJSON(t.File, tile); err != nil {
			return nil, err
		}
		return tile, a.qualify(tile.ProtoReflect())
	}
	if len(t.Layer) == 0 {
		return nil, faultf("What is put on? Give at least one --layer, or --file.")
	}
	tile.Kiln, tile.Tester, tile.FireDate, tile.Notes, tile.PhotoUri, tile.SetAside = t.Kiln, t.Tester, t.Date, t.Notes, t.Photo, t.SetAside
	if tile.FireDate == "" {
		tile.FireDate = time.Now().Format(time.DateOnly)
	}
	var err error
	if tile.Layering, err = t.layering(a); err != nil {
		return nil, err
	}
	name, plan, err := t.plan(a)
	switch {
	case err != nil:
		return nil, err
	case plan != nil:
		tile.FiringSource = &pb.Tile_FiringPlan{FiringPlan: plan}
	default:
		tile.FiringSource = &pb.Tile_Firing{Firing: name}
	}
	if t.Witness != "" {
		tile.WitnessCone = &pb.WitnessCone{Cone: t.Witness}
	}
	if tile.Placement, err = t.placement(a); err != nil {
		return nil, err
	}
	if tile.MeanFrontMm, err = optionalMM(t.MeanFront, "--mean-front", a.Units); err != nil {
		return nil, err
	}
	if tile.ReadingErrorMm, err = optionalMM(t.ReadingError, "--reading-error", a.Units); err != nil {
		return nil, err
	}
	return tile, t.outcome(a, tile)
}

// outcome reads what came out, of which there is one.
func (t *tileLogCommand) outcome(a *app, tile *pb.Tile) error {
	given := 0
	if t.Ran != nil {
		given++
		run, err := t.Ran.mm("--run", a.Units)
		if err != nil {
			return err
		}
		tile.Outcome = &pb.Tile_RunMm{RunMm: run}
	}
	if t.Between != "" {
		given++
		from, to, ok := strings.Cut(t.Between, "..")
		if !ok {
			return fieldFault("--between", strconv.Quote(t.Between), "FROM..TO, such as 10..15")
		}
		low, err := (&length{from}).mm("--between", a.Units)
		if err != nil {
			return err
		}
		high, err := (&length{to}).mm("--between", a.Units)
		if err != nil {
			return err
		}
		tile.Outcome = &pb.Tile_RunInterval{RunInterval: &pb.RunInterval{FromMm: low, ToMm: high}}
	}
	if t.RanOff {
		given++
		tile.Outcome = &pb.Tile_RanOff{RanOff: &pb.RanOff{}}
	}
	if t.DidNotMove {
		given++
		tile.Outcome = &pb.Tile_DidNotMove{DidNotMove: &pb.DidNotMove{}}
	}
	if given != 1 {
		return faultf("What came out? Give one of --run, --between, --ran-off and --did-not-move.")
	}
	return nil
}

// outcomeOf says what came out.
func outcomeOf(u units, t *pb.Tile) string {
	switch o := t.Outcome.(type) {
	case *pb.Tile_RunMm:
		return "ran " + u.Say(o.RunMm)
	case *pb.Tile_RunInterval:
		return "ran " + u.Between(o.RunInterval.FromMm, o.RunInterval.ToMm)
	case *pb.Tile_RanOff:
		return "ran off"
	}
	return "did not move"
}

func tilesTable(u units, tiles []*pb.Tile) *table {
	t := &table{head: []string{"tile", "fire_date", "layers", "firing", "outcome", u.column("said"), u.column("said_p10"), u.column("said_p90"), "tester"}}
	for _, one := range tiles {
		firing := idOf(one.GetFiring())
		if firing == "" {
			firing = "cone " + one.GetFiringPlan().GetCone().GetCone()
		}
		said := []any{"", "", ""}
		if p := one.Prediction; p != nil {
			said = []any{mm(p.MedianRunMm), mm(p.RunP10Mm), mm(p.RunP90Mm)}
		}
		t.add(append(append([]any{idOf(one.Name), one.FireDate, layers(one.Layering), firing, outcomeOf(u, one)}, said...), one.Tester)...)
	}
	return t
}

type tileListCommand struct {
	Glaze  string `placeholder:"GLAZE" help:"Only tiles with this glaze."`
	Firing string `placeholder:"FIRING" help:"Only tiles of this stored firing."`
	Most   int    `default:"50" placeholder:"N" help:"At most so many; 0: all. Default: ${default}."`
}

// Run lists tiles.
func (l *tileListCommand) Run(a *app) error {
	c, err := a.client()
	if err != nil {
		return err
	}
	r := &pb.ListTilesRequest{Parent: a.studioName(), PageSize: 1000}
	if l.Most > 0 && l.Most < 1000 {
		r.PageSize = int32(l.Most)
	}
	if r.Glaze, err = a.named("glazes", l.Glaze); err != nil {
		return err
	}
	if r.Firing, err = a.named("firings", l.Firing); err != nil {
		return err
	}
	all := &pb.ListTilesResponse{}
	for {
		page, err := c.Tiles.ListTiles(a, r)
		if err != nil {
			return err
		}
		all.Tiles = append(all.Tiles, page.Tiles...)
		if r.PageToken = page.NextPageToken; r.PageToken == "" || l.Most > 0 && len(all.Tiles) >= l.Most {
			break
		}
	}
	if l.Most > 0 && len(all.Tiles) > l.Most {
		all.Tiles = all.Tiles[:l.Most]
	}
	return a.show(all, func() *table { return tilesTable(a.Units, all.Tiles) }, nil)
}

type tileImportCommand struct {
	File          string `arg:"" help:"CSV file with a header line, columns as in an export; - is the standard input."`
	KeepGoodLines bool   `help:"Log the good lines and tell of the bad ones, instead of all or none."`
}

// Run imports tiles.
func (i *tileImportCommand) Run(a *app) error {
	text, err := a.text(i.File)
	if err != nil {
		return err
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(a, longWork)
	defer cancel()
	answer, err := c.Tiles.ImportTiles(ctx, &pb.ImportTilesRequest{Parent: a.studioName(), Csv: string(text), KeepGoodLines: i.KeepGoodLines})
	if err != nil {
		return err
	}
	if a.Format == "json" {
		if err := writeJSON(a.out, answer); err != nil {
			return err
		}
	} else {
		fmt.Fprintf(a.out, "%s logged.\n", counted(answer.Imported, "tile"))
	}
	for _, f := range answer.Faults {
		fmt.Fprintf(a.err, "%s, line %d: %s\n", i.File, f.Line, stopped(f.Sentence))
	}
	if answer.MoreFaults > 0 {
		fmt.Fprintf(a.err, "%s: %s more\n", i.File, counted(answer.MoreFaults, "fault"))
	}
	switch n := int32(len(answer.Faults)) + answer.MoreFaults; {
	case n > 0 && answer.Imported == 0:
		return faultf("%s; no tile was logged.", counted(n, "fault"))
	case n > 0:
		return faultf("%s; the other lines were logged.", counted(n, "fault"))
	}
	return nil
}

type tileExportCommand struct {
	Out string `short:"o" default:"-" placeholder:"FILE" help:"File to write; - is the standard output. Default: ${default}."`
}

// Run exports tiles.
func (e *tileExportCommand) Run(a *app) error {
	c, err := a.client()
	if err != nil {
		return err
	}
	stream, err := c.Tiles.ExportTiles(a, &pb.ExportTilesRequest{Parent: a.studioName()})
	if err != nil {
		return err
	}
	// The file is made only once there is something to write into it.
	chunk, err := stream.Recv()
	if err != nil && err != io.EOF {
		return err
	}
	out, failure := a.output(e.Out)
	if failure != nil {
		return failure
	}
	var unreadable []string
	for err == nil {
		unreadable = append(unreadable, chunk.Unreadable...)
		if _, failure := io.WriteString(out, chunk.Csv); failure != nil {
			out.Close()
			return failure
		}
		chunk, err = stream.Recv()
	}
	if err != io.EOF {
		out.Close()
		return err
	}
	if err := out.Close(); err != nil || len(unreadable) == 0 {
		return err
	}
	return &client.UnreadableError{Names: unreadable}
}
