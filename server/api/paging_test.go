package api

import (
	"encoding/hex"
	"fmt"
	"slices"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// TestListHashIsPinned keeps page tokens that are out in the world alive: whoever changes these breaks them. The hashes are what
// sha256sum says of the type's name and the fields, as in: printf 'catchline.v1.ListTilesRequest\n1 "studios/demo"\n' | sha256sum
func TestListHashIsPinned(t *testing.T) {
	for _, c := range []struct {
		request proto.Message
		hash    string
	}{
		{&pb.ListTilesRequest{Parent: "studios/demo", PageSize: 5, PageToken: "x"}, "9cba6a7c04e8ccc7"},
		{&pb.ListTilesRequest{Parent: "studios/demo", Glaze: "studios/demo/glazes/a"}, "5545402c0401e7e9"},
		{&pb.ListMaterialsRequest{Parent: "studios/demo", IncludeBuiltIn: true}, "c80db8804dd6005d"},
		{&pb.ListStudiosRequest{}, "1761dcece2e3b207"},
	} {
		hash := listHash(c.request)
		if got := hex.EncodeToString(hash[:]); got != c.hash {
			t.Errorf("%v: %s, want %s", c.request, got, c.hash)
		}
	}
	token := pageToken(&pb.ListTilesRequest{Parent: "studios/demo"}, &store.Cursor{Sequence: 300, Parent: "a", ID: "b-2"})
	if want := "AZy6anwE6MzHrAIBYWItMg"; token != want {
		t.Errorf("token %s, want %s", token, want)
	}
}

func TestTokenOfAnotherListIsRefused(t *testing.T) {
	w := newStudio(t)
	for i := range 3 {
		must(w.bodies.CreateBody(w, &pb.CreateBodyRequest{Parent: "studios/test", Body: &pb.Body{DisplayName: fmt.Sprint("Body ", i)}}))(t)
	}
	first := must(w.bodies.ListBodies(w, &pb.ListBodiesRequest{Parent: "studios/test", PageSize: 2}))(t)
	_, err := w.glazes.ListGlazes(w, &pb.ListGlazesRequest{Parent: "studios/test", PageToken: first.NextPageToken})
	refused(t, err, codes.InvalidArgument, "page_token", "the same list with the same filters")
	_, err = w.bodies.ListBodies(w, &pb.ListBodiesRequest{Parent: "studios/test", PageToken: "nonsense"})
	refused(t, err, codes.InvalidArgument, `page_token is "nonsense"; allowed: a page token of this server`)
	_, err = w.bodies.ListBodies(w, &pb.ListBodiesRequest{Parent: "studios/test", PageSize: -1})
	refused(t, err, codes.InvalidArgument, "page_size is -1")
	_, err = w.bodies.ListBodies(w, &pb.ListBodiesRequest{Parent: "studios/none"})
	refused(t, err, codes.NotFound, "studios/none does not exist")
	// Another page size is no other list.
	must(w.bodies.ListBodies(w, &pb.ListBodiesRequest{Parent: "studios/test", PageSize: 1, PageToken: first.NextPageToken}))(t)
}

func TestPagesMeetEverythingOnceInOrder(t *testing.T) {
	w := newStudio(t)
	var want []string
	for range 7 {
		tile := must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: aTile()}))(t)
		want = append([]string{tile.Name}, want...)
	}
	var got []string
	for token := ""; ; {
		page := must(w.tiles.ListTiles(w, &pb.ListTilesRequest{Parent: "studios/test", PageSize: 3, PageToken: token, Glaze: "studios/test/glazes/clear"}))(t)
		for _, tile := range page.Tiles {
			got = append(got, tile.Name)
		}
		// What is logged meanwhile is newer than what is still to come.
		must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: aTile()}))(t)
		if token = page.NextPageToken; token == "" {
			break
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// FuzzPageToken: whatever is taken is a cursor that can be asked for, and makes the same token again.
func FuzzPageToken(f *testing.F) {
	request := &pb.ListTilesRequest{Parent: "studios/demo"}
	f.Add(pageToken(request, &store.Cursor{Sequence: 12}))
	f.Add(pageToken(request, &store.Cursor{Parent: "clear", ID: "lot-2"}))
	f.Add("AQ")
	f.Fuzz(func(t *testing.T, token string) {
		c, err := cursorOf(request, token)
		if err != nil || token == "" {
			return
		}
		if q := (&store.Query{Studio: "demo", Kind: store.KindTile, Limit: 1, After: c}); q.Check() != nil {
			t.Fatalf("%q is taken, but %v", token, q.Check())
		}
		if again, err := cursorOf(request, pageToken(request, c)); err != nil || *again != *c {
			t.Fatalf("%q is %v, then %v, %v", token, c, again, err)
		}
	})
}
