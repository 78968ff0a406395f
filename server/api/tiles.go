package api

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"
	"unicode/utf8"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"

	"github.com/catchline/catchline/model/fault"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

type tiles struct {
	pb.UnimplementedTileServiceServer
	*resource[*pb.Tile]
}

func newTiles(a *API) *tiles {
	s := &tiles{}
	s.resource = &resource[*pb.Tile]{api: a, kind: store.KindTile, field: "tile", order: store.NewestFirst, settle: s.log}
	return s
}

func (s *tiles) GetTile(ctx context.Context, r *pb.GetTileRequest) (*pb.Tile, error) {
	return s.get(ctx, r.Name)
}

func (s *tiles) ListTiles(ctx context.Context, r *pb.ListTilesRequest) (*pb.ListTilesResponse, error) {
	var labels []string
	if r.Glaze != "" {
		labels = append(labels, "glaze="+lastPart(r.Glaze))
	}
	if r.Firing != "" {
		labels = append(labels, "firing="+lastPart(r.Firing))
	}
	all, unreadable, next, err := s.list(ctx, r, r.Parent, labels...)
	if err != nil {
		return nil, err
	}
	return &pb.ListTilesResponse{Tiles: all, NextPageToken: next, Unreadable: unreadable}, nil
}

func (s *tiles) CreateTile(ctx context.Context, r *pb.CreateTileRequest) (*pb.Tile, error) {
	return s.create(ctx, r, r.Parent, r.TileId, r.RequestId, r.Tile)
}

func (s *tiles) UpdateTile(ctx context.Context, r *pb.UpdateTileRequest) (*pb.Tile, error) {
	return s.update(ctx, r, r.Tile, r.UpdateMask, r.RequestId)
}

func (s *tiles) DeleteTile(ctx context.Context, r *pb.DeleteTileRequest) (*emptypb.Empty, error) {
	return s.remove(ctx, r, r.Name, r.Etag, r.RequestId)
}

func lastPart(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

// log completes a tile: what it was made of and how it was fired that day, and what was said beforehand.
func (s *tiles) log(ctx context.Context, key store.Key, old, next *pb.Tile) ([]string, []store.Op, error) {
	today, err := s.api.today(ctx, key.Studio)
	if err != nil {
		return nil, nil, err
	}
	labels, err := s.complete(ctx, today, old, next)
	return labels, nil, under("tile", err)
}

func (s *tiles) complete(ctx context.Context, d *day, old, next *pb.Tile) ([]string, error) {
	tidy(next)
	if old == nil {
		old = &pb.Tile{}
	}
	changed, err := s.keepDay(ctx, d, old, next)
	if err != nil {
		return nil, err
	}
	switch {
	case old.Layering == nil:
		if next.Prediction, err = s.api.predictTile(ctx, d, next); err != nil {
			return nil, renamed(err, func(field string) string { return strings.TrimPrefix(field, "tile.") })
		}
	case changed:
		// What was said was said of another tile. Said now, it would not be beforehand.
		next.Prediction = nil
	}
	return tileLabels(next), nil
}

// keepDay checks a tile, with every fault at once, and keeps what it was made of and how it was fired that day. It reports whether that is
// another than what the old one was.
func (s *tiles) keepDay(ctx context.Context, d *day, old, next *pb.Tile) (changed bool, err error) {
	if next.FireDate == "" {
		next.FireDate = s.api.now().Format(time.DateOnly)
	}
	var faults FieldErrors
	for _, check := range []func() (bool, error){
		func() (bool, error) { return false, checkOutcome(next) },
		func() (bool, error) { return false, s.checkDate(next.FireDate) },
		func() (bool, error) { return false, checkPhoto(next.PhotoUri) },
		func() (bool, error) { return s.keepGlazes(ctx, d, old, next) },
		func() (bool, error) { return s.keepFiring(ctx, d, old, next) },
		func() (bool, error) { return s.checkPlacement(ctx, d, old, next) },
	} {
		another, err := check()
		if err := faults.collect(err); err != nil {
			return false, err
		}
		changed = changed || another
	}
	return changed, faults.or()
}

// tidy brings a tile into the one form that an export can give back.
func tidy(t *pb.Tile) {
	t.Notes = strings.ReplaceAll(t.Notes, "\r\n", "\n")
	if t.Placement != nil && proto.Size(t.Placement) == 0 {
		t.Placement = nil
	}
}

func checkOutcome(t *pb.Tile) error {
	longest := 2000.0
	switch o := t.Outcome.(type) {
	case *pb.Tile_RunMm:
		longest = o.RunMm
	case *pb.Tile_RunInterval:
		if !(o.RunInterval.ToMm > o.RunInterval.FromMm) {
			return fieldError("run_interval.to_mm", o.RunInterval.ToMm, "more than from_mm, which is "+plain(o.RunInterval.FromMm))
		}
		longest = o.RunInterval.ToMm
	case *pb.Tile_DidNotMove:
		longest = 0
	}
	if t.MeanFrontMm != nil && *t.MeanFrontMm > longest {
		return fieldError("mean_front_mm", *t.MeanFrontMm, "0 to the longest drip, which is "+plain(longest))
	}
	return nil
}

// checkDate takes tomorrow too: where the tile was fired it may be tomorrow already.
func (s *tiles) checkDate(date string) error {
	day, err := time.Parse(time.DateOnly, date)
	last := s.api.now().AddDate(0, 0, 1).Format(time.DateOnly)
	if err != nil || day.Year() < 1900 || date > last {
		return &fault.Error{Field: "fire_date", Value: quoted(date), Limit: "a day as YYYY-MM-DD from 1900-01-01 to today"}
	}
	return nil
}

func checkPhoto(uri string) error {
	if uri == "" {
		return nil
	}
	u, err := url.Parse(uri)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" {
		return &fault.Error{Field: "photo_uri", Value: quoted(uri), Limit: "a link that starts with http:// or https://"}
	}
	return nil
}

// keepGlazes keeps the glazes as they are today. A tile that is mended keeps those of its own day as far as it still has them.
func (s *tiles) keepGlazes(ctx context.Context, d *day, old, next *pb.Tile) (changed bool, err error) {
	if proto.Equal(old.Layering, next.Layering) && sameBands(old, next) {
		return false, nil
	}
	kept := map[layerGlaze]*pb.GlazeOfTheDay{}
	for _, g := range old.GlazesOfTheDay {
		kept[layerGlaze{g.Glaze, g.Lot}] = g
	}
	var faults FieldErrors
	all, err := d.layering(ctx, "layering", next.Layering, kept)
	if err := faults.collect(err); err != nil {
		return false, err
	}
	for i, band := range next.Placement.GetLowerBands() {
		more, err := d.layering(ctx, fmt.Sprintf("placement.lower_bands[%d].layering", i), band.Layering, kept)
		if err := faults.collect(err); err != nil {
			return false, err
		}
		all = append(all, more...)
	}
	if err := faults.or(); err != nil {
		return false, err
	}
	next.GlazesOfTheDay = nil
	listed := map[layerGlaze]bool{}
	for _, g := range all {
		if id := (layerGlaze{g.Glaze, g.Lot}); !listed[id] {
			listed[id] = true
			next.GlazesOfTheDay = append(next.GlazesOfTheDay, g)
		}
	}
	return true, nil
}

func sameBands(a, b *pb.Tile) bool {
	return proto.Equal(&pb.Placement{LowerBands: a.Placement.GetLowerBands()}, &pb.Placement{LowerBands: b.Placement.GetLowerBands()})
}

// keepFiring keeps the firing as it is today.
func (s *tiles) keepFiring(ctx context.Context, d *day, old, next *pb.Tile) (changed bool, err error) {
	same := old.GetFiring() == next.GetFiring() && proto.Equal(old.GetFiringPlan(), next.GetFiringPlan())
	if same && proto.Equal(old.WitnessCone, next.WitnessCone) {
		return false, nil
	}
	if err := checkWitness("witness_cone", next.WitnessCone); err != nil {
		return false, err
	}
	source := "firing_plan"
	if next.FiringSource == nil {
		return true, nil // of a line whose firing could not be read, which is told already
	}
	if !same {
		next.FiringOfTheDay = next.GetFiringPlan()
		if name := next.GetFiring(); name != "" {
			f, err := d.firing(ctx, "firing", name)
			if err != nil {
				return false, err
			}
			next.FiringOfTheDay = f.Plan
			if next.Kiln == "" {
				next.Kiln = f.Kiln
			}
		}
	}
	err = d.heat(next.FiringOfTheDay, next.WitnessCone)
	return true, renamed(err, func(field string) string {
		if next.WitnessCone != nil && strings.HasPrefix(field, "witness_cone") {
			return field
		}
		if next.GetFiring() != "" {
			return "firing"
		}
		return source + "." + field
	})
}

func (s *tiles) checkPlacement(ctx context.Context, d *day, old, next *pb.Tile) (changed bool, err error) {
	if proto.Equal(old.Placement, next.Placement) {
		return false, nil
	}
	return true, d.placement(ctx, "placement", next.Placement)
}

// tileLabels are what lists of tiles are filtered by.
func tileLabels(t *pb.Tile) []string {
	var labels []string
	for _, l := range t.Layering.GetLayers() {
		labels = append(labels, "glaze="+lastPart(l.Glaze))
	}
	if f := t.GetFiring(); f != "" {
		labels = append(labels, "firing="+lastPart(f))
	}
	return labels
}

const (
	exportPage  = 500       // tiles are read at once
	exportBytes = 1_000_000 // of lines are sent at once, or a little more; of a longer line a part
)

// sendLines sends lines in chunks that every client takes.
func sendLines(stream pb.TileService_ExportTilesServer, lines string) error {
	for len(lines) > 2*exportBytes {
		end := exportBytes
		for !utf8.RuneStart(lines[end]) {
			end--
		}
		if err := stream.Send(&pb.ExportTilesResponse{Csv: lines[:end]}); err != nil {
			return err
		}
		lines = lines[end:]
	}
	return stream.Send(&pb.ExportTilesResponse{Csv: lines})
}

func (s *tiles) ExportTiles(r *pb.ExportTilesRequest, stream pb.TileService_ExportTilesServer) error {
	ctx := stream.Context()
	parent, err := parseName("parent", r.Parent, store.KindStudio)
	if err != nil {
		return err
	}
	if _, err := s.api.read(ctx, parent); err != nil {
		return err
	}
	q := store.Query{Studio: parent.ID, Kind: store.KindTile, Order: store.OldestFirst, Limit: exportPage, Bytes: pageBytes}
	w := newTileWriter()
	for {
		page, err := s.api.store.List(ctx, q)
		if err != nil {
			return err
		}
		for _, rec := range page.Records {
			t, err := s.decode(rec)
			if err != nil {
				return err
			}
			if err := w.write(t); err != nil {
				return err
			}
			if w.held() > exportBytes {
				if err := sendLines(stream, w.take()); err != nil {
					return err
				}
			}
		}
		q.After = page.Last
		if err := sendLines(stream, w.take()); err != nil {
			return err
		}
		if err := sendUnreadable(stream, page.Damaged); err != nil {
			return err
		}
		if !page.More {
			return nil
		}
	}
}

// sendUnreadable names the tiles that an export has to leave out.
func sendUnreadable(stream pb.TileService_ExportTilesServer, damaged store.DamagedRecords) error {
	if len(damaged) == 0 {
		return nil
	}
	chunk := &pb.ExportTilesResponse{}
	for _, d := range damaged {
		chunk.Unreadable = append(chunk.Unreadable, nameOf(d.Key))
	}
	return stream.Send(chunk)
}

// kindImport holds the answer to an import that had a request id, so that a repeated request gets it again.
const kindImport store.Kind = "import"

func (s *tiles) ImportTiles(ctx context.Context, r *pb.ImportTilesRequest) (*pb.ImportTilesResponse, error) {
	parent, err := parseName("parent", r.Parent, store.KindStudio)
	if err != nil {
		return nil, err
	}
	studio := parent.ID
	once, err := requestOf(r, r.RequestId)
	if err != nil {
		return nil, err
	}
	if answer, done, err := s.api.answered(ctx, studio, once); done {
		if err != nil {
			return nil, err
		}
		return importAnswer(answer)
	}
	if _, err := s.api.read(ctx, parent); err != nil {
		return nil, err
	}
	today, err := s.api.today(ctx, studio)
	if err != nil {
		return nil, err
	}
	known, err := s.knownTiles(ctx, studio)
	if err != nil {
		return nil, err
	}
	var ops []store.Op
	var faults fileFaults
	find := &finder{ctx: ctx, api: s.api, studio: studio}
	err = readTiles(r.Csv, studio, find, &faults, func(line *tileLine) error {
		if !line.sound() {
			_, err := s.keepDay(ctx, today, &pb.Tile{}, line.tile)
			return line.collect(err)
		}
		labels, err := s.complete(ctx, today, nil, line.tile)
		if err := line.collect(err); err != nil || !line.sound() {
			return err
		}
		if twin, err := known.add(line); err != nil || twin && r.SkipDuplicates {
			return err
		}
		rec, err := s.record(store.Key{Studio: studio, Kind: store.KindTile, ID: randomID()}, line.tile, labels)
		if err := line.collect(err); err != nil || !line.sound() {
			return err
		}
		ops = append(ops, store.Insert(rec))
		return nil
	})
	if err != nil {
		return nil, err
	}
	response := &pb.ImportTilesResponse{Imported: int32(len(ops)), Faults: faults.listed, MoreFaults: int32(faults.more), Duplicates: known.listed, MoreDuplicates: int32(known.more)}
	if faults.any() && !r.KeepGoodLines || len(ops) == 0 {
		response.Imported = 0
		return response, nil
	}
	if r.ValidateOnly {
		return response, nil
	}
	if r.RequestId != "" {
		body, err := encode(response)
		if err != nil {
			return nil, err
		}
		kept := store.Record{Key: store.Key{Studio: studio, Kind: kindImport, ID: randomID()}, Body: body}
		ops = append(ops, store.Insert(kept))
	}
	answer, err := s.api.write(ctx, store.Write{Request: once, Ops: ops})
	switch {
	case errors.Is(err, store.ErrNotFound):
		return nil, &NotFoundError{r.Parent}
	case err != nil:
		return nil, err
	case answer.Replayed:
		return importAnswer(answer)
	}
	return response, nil
}

// knownTiles are the lines that an export of the studio's tiles has, by hash: a line that would be exported as one of them is a duplicate. The
// first mostListed duplicates are kept, the rest are counted.
type knownTiles struct {
	writer *tileWriter
	lines  map[[sha256.Size]byte]*pb.LineDuplicate // where each line is already
	listed []*pb.LineDuplicate
	more   int
}

func (s *tiles) knownTiles(ctx context.Context, studio string) (*knownTiles, error) {
	known := &knownTiles{writer: newTileWriter(), lines: map[[sha256.Size]byte]*pb.LineDuplicate{}}
	known.writer.take() // the header
	err := s.api.store.Scan(ctx, studio, store.KindTile, func(rec store.Record) error {
		t, err := s.decode(rec)
		if err != nil {
			return err
		}
		line, err := known.hash(t)
		known.lines[line] = &pb.LineDuplicate{Tile: t.Name}
		return err
	})
	return known, err
}

func (k *knownTiles) hash(t *pb.Tile) ([sha256.Size]byte, error) {
	err := k.writer.write(t)
	return sha256.Sum256([]byte(k.writer.take())), err
}

// add tells whether a line is a duplicate, and knows it from then on.
func (k *knownTiles) add(line *tileLine) (bool, error) {
	hash, err := k.hash(line.tile)
	if err != nil {
		return false, err
	}
	twin := k.lines[hash]
	switch {
	case twin == nil:
		k.lines[hash] = &pb.LineDuplicate{EarlierLine: int32(line.number)}
	case len(k.listed) == mostListed:
		k.more++
	default:
		k.listed = append(k.listed, &pb.LineDuplicate{Line: int32(line.number), Tile: twin.Tile, EarlierLine: twin.EarlierLine})
	}
	return twin != nil, nil
}

func importAnswer(answer store.Answer) (*pb.ImportTilesResponse, error) {
	response := &pb.ImportTilesResponse{}
	return response, proto.Unmarshal(answer.Records[len(answer.Records)-1].Body, response)
}
