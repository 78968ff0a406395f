package api

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// strange is the binary form of a field that no version has, as a newer client or server might write it (Protocol Buffers documentation,
// "Encoding").
func strange(n protowire.Number, text string) []byte {
	return protowire.AppendString(protowire.AppendTag(nil, n, protowire.BytesType), text)
}

func withStrange[M proto.Message](m M, n protowire.Number, text string) M {
	m.ProtoReflect().SetUnknown(strange(n, text))
	return m
}

func clearTile() *pb.Tile {
	return &pb.Tile{
		Layering:     &pb.Layering{Layers: []*pb.Layer{{Glaze: "studios/test/glazes/clear", Amount: &pb.Layer_Coats{Coats: 2}}}},
		FiringSource: &pb.Tile_Firing{Firing: "studios/test/firings/cone-6"},
		Outcome:      &pb.Tile_RunMm{RunMm: 5},
	}
}

// TestUnknownFieldsAreRefused puts a field that the contract does not have at every depth of requests, also into what only the server says and
// into messages that are none of the contract.
func TestUnknownFieldsAreRefused(t *testing.T) {
	w := newStudio(t)
	create := func(change func(*pb.CreateTileRequest)) error {
		r := &pb.CreateTileRequest{Parent: "studios/test", Tile: clearTile()}
		change(r)
		_, err := w.tiles.CreateTile(w, r)
		return err
	}
	for want, change := range map[string]func(*pb.CreateTileRequest){
		"999 is the number of an unknown field":                        func(r *pb.CreateTileRequest) { withStrange(r, 999, "x") },
		"tile.999 is the number of an unknown field":                   func(r *pb.CreateTileRequest) { withStrange(r.Tile, 999, "x") },
		"tile.layering.layers[0].77 is the number of an unknown field": func(r *pb.CreateTileRequest) { withStrange(r.Tile.Layering.Layers[0], 77, "x") },
		"tile.prediction.78 is the number of an unknown field":         func(r *pb.CreateTileRequest) { r.Tile.Prediction = withStrange(&pb.TilePrediction{}, 78, "x") },
		"tile.glazes_of_the_day[1].79 is the number of an unknown field": func(r *pb.CreateTileRequest) {
			r.Tile.GlazesOfTheDay = []*pb.GlazeOfTheDay{{}, withStrange(&pb.GlazeOfTheDay{}, 79, "x")}
		},
	} {
		refused(t, create(change), codes.InvalidArgument, want, "allowed: the fields of this version's contract")
	}
	_, err := w.tiles.UpdateTile(w, &pb.UpdateTileRequest{Tile: &pb.Tile{Name: "studios/test/tiles/x"}, UpdateMask: withStrange(&fieldmaskpb.FieldMask{}, 80, "x")})
	refused(t, err, codes.InvalidArgument, "update_mask.80 is the number of an unknown field")
	stream := must(w.scores.ScoreSheet(w, withStrange(&pb.ScoreSheetRequest{Parent: "studios/test"}, 81, "x")))(t)
	_, err = stream.Recv()
	refused(t, err, codes.InvalidArgument, "81 is the number of an unknown field")
}

// TestReservedNumbersAreDropped: what the contract had once does no harm. No message of the contract has reserved a number yet, so the test
// makes one that has.
func TestReservedNumbersAreDropped(t *testing.T) {
	text := func(s string) *string { return &s }
	number := func(n int32) *int32 { return &n }
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: text("old.proto"), Syntax: text("proto3"),
		MessageType: []*descriptorpb.DescriptorProto{{
			Name:          text("Old"),
			ReservedRange: []*descriptorpb.DescriptorProto_ReservedRange{{Start: number(3), End: number(5)}},
		}},
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	old := func(raw ...[]byte) (protoreflect.Message, FieldErrors) {
		m := dynamicpb.NewMessage(file.Messages().Get(0)).ProtoReflect()
		for _, b := range raw {
			m.SetUnknown(append(m.GetUnknown(), b...))
		}
		c := &checker{}
		c.unknown(m)
		return m, c.faults
	}
	if m, faults := old(strange(3, "a"), strange(4, "b"), strange(3, "c")); len(faults.Listed) != 0 || len(m.GetUnknown()) != 0 {
		t.Errorf("%v, left %x", faults, m.GetUnknown())
	}
	if _, faults := old(strange(3, "a"), strange(5, "b")); len(faults.Listed) != 1 || faults.Listed[0].Field != "5" {
		t.Errorf("%v", faults)
	}
}

// TestNewerFieldsOutliveAnUpdate writes records as a newer server would, and updates them by this one: by masks, as a whole, and with lists that
// are replaced.
func TestNewerFieldsOutliveAnUpdate(t *testing.T) {
	w := newStudio(t)
	tile := must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: clearTile()}))(t)
	key, _ := keyOf(tile.Name, store.KindTile)
	rec := must(w.api.store.Get(w, key))(t)
	stored := &pb.Tile{}
	if err := proto.Unmarshal(rec.Body, stored); err != nil {
		t.Fatal(err)
	}
	withStrange(stored, 900, "of the tile")
	withStrange(stored.Layering, 901, "of the layering")
	withStrange(stored.Layering.Layers[0], 902, "of the layer,")
	rec.Body = must(encode(stored))(t)
	must(w.api.store.Write(w, store.Write{Ops: []store.Op{store.Replace(rec)}}))(t)

	read := must(w.tiles.GetTile(w, &pb.GetTileRequest{Name: tile.Name}))(t)
	listed := must(w.tiles.ListTiles(w, &pb.ListTilesRequest{Parent: "studios/test"}))(t)
	for _, shown := range []*pb.Tile{read, listed.Tiles[0]} {
		if b := must(encode(shown))(t); strings.Contains(string(b), "of the ") {
			t.Errorf("an answer shows what the contract does not have: %q", b)
		}
	}
	keeps := func(want ...string) {
		t.Helper()
		body := string(must(w.api.store.Get(w, key))(t).Body)
		for _, part := range []string{"of the tile", "of the layering", "of the layer,"} {
			if has := strings.Contains(body, part); has != slices.Contains(want, part) {
				t.Errorf("%q is stored: %v", part, has)
			}
		}
	}
	keeps("of the tile", "of the layering", "of the layer,")
	update := func(change func(*pb.Tile), paths ...string) {
		t.Helper()
		next := must(w.tiles.GetTile(w, &pb.GetTileRequest{Name: tile.Name}))(t)
		change(next)
		must(w.tiles.UpdateTile(w, &pb.UpdateTileRequest{Tile: next, UpdateMask: &fieldmaskpb.FieldMask{Paths: paths}}))(t)
	}
	update(func(t *pb.Tile) { t.Notes = "by mask" }, "notes")
	keeps("of the tile", "of the layering", "of the layer,")
	update(func(t *pb.Tile) { t.Notes = "whole" })
	keeps("of the tile", "of the layering", "of the layer,")
	update(func(t *pb.Tile) {}, "layering")
	keeps("of the tile", "of the layering", "of the layer,")
	update(func(t *pb.Tile) { t.Layering.Layers[0].Amount = &pb.Layer_Coats{Coats: 3} }, "layering.layers")
	keeps("of the tile", "of the layering") // another layer
}

// TestListsFitWhatGRPCTakes lists records that together are more than gRPC takes by default, by a client with that default, and one that is
// more alone, as an earlier version has stored it.
func TestListsFitWhatGRPCTakes(t *testing.T) {
	w := newStudio(t)
	var log strings.Builder
	log.WriteString("minutes,temperature_c,note\n")
	for i := range 1000 {
		fmt.Fprintf(&log, "%d,%d,%01300d\n", i, 20+i, 0)
	}
	plan := &pb.FiringPlan{Heat: &pb.FiringPlan_Log{Log: &pb.KilnLog{Csv: log.String()}}}
	tile := clearTile()
	tile.FiringSource = &pb.Tile_FiringPlan{FiringPlan: plan}
	const n = 4
	for range n {
		must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: tile}))(t)
	}
	small := grpc.MaxCallRecvMsgSize(4 << 20) // gRPC's default
	var names []string
	for token := ""; ; {
		r, err := w.tiles.ListTiles(w, &pb.ListTilesRequest{Parent: "studios/test", PageToken: token}, small)
		if err != nil {
			t.Fatal(err)
		}
		for _, tile := range r.Tiles {
			names = append(names, tile.Name)
		}
		if token = r.NextPageToken; token == "" {
			break
		}
	}
	if len(names) != n {
		t.Errorf("%d tiles, want %d", len(names), n)
	}
	// One that an earlier version took.
	key, _ := keyOf(names[1], store.KindTile)
	rec := must(w.api.store.Get(w, key))(t)
	huge := must(w.api.tiles.decode(rec))(t)
	huge.Notes = strings.Repeat("n", 5<<20)
	rec.Body = must(encode(huge))(t)
	must(w.api.store.Write(w, store.Write{Ops: []store.Op{store.Replace(rec)}}))(t)
	var shown, unreadable int
	for token := ""; ; {
		r, err := w.tiles.ListTiles(w, &pb.ListTilesRequest{Parent: "studios/test", PageToken: token}, small)
		if err != nil {
			t.Fatal(err)
		}
		shown += len(r.Tiles)
		for _, name := range r.Unreadable {
			if unreadable++; name != names[1] {
				t.Errorf("%s is said to be unreadable", name)
			}
		}
		if token = r.NextPageToken; token == "" {
			break
		}
	}
	if shown != n-1 || unreadable != 1 {
		t.Errorf("%d tiles and %d unreadable", shown, unreadable)
	}
	_, err := w.tiles.GetTile(w, &pb.GetTileRequest{Name: names[1]}, small)
	refused(t, err, codes.FailedPrecondition, names[1], "an answer holds at most 4100000")
	must(w.tiles.DeleteTile(w, &pb.DeleteTileRequest{Name: names[1]}))(t)

	export := must(w.tiles.ExportTiles(w, &pb.ExportTilesRequest{Parent: "studios/test"}, small))(t)
	var all strings.Builder
	for {
		chunk, err := export.Recv()
		if err != nil {
			break
		}
		all.WriteString(chunk.Csv)
	}
	if lines := strings.Count(all.String(), "\n"); lines != n {
		t.Errorf("an export of %d lines", lines)
	}
}

// TestLargeRecordsAreRefused logs a tile whose firing is kept with it and makes it too large.
func TestLargeRecordsAreRefused(t *testing.T) {
	w := newStudio(t)
	var log strings.Builder
	log.WriteString("minutes,temperature_c,note\n")
	for i := range 1000 {
		fmt.Fprintf(&log, "%d,%d,%01900d\n", i, 20+i, 0)
	}
	tile := clearTile()
	tile.FiringSource = &pb.Tile_FiringPlan{FiringPlan: &pb.FiringPlan{Heat: &pb.FiringPlan_Log{Log: &pb.KilnLog{Csv: log.String()}}}}
	_, err := w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: tile})
	refused(t, err, codes.InvalidArgument, "tile is 38", "bytes as it is stored; allowed: at most 3000000 bytes")
}
