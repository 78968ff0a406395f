package commit

import (
	"reflect"
	"testing"
	"time"

	"github.com/catchline/catchline/server/store"
)

func example() store.Record {
	return store.Record{
		Key:        store.Key{Studio: "s", Kind: store.KindLot, Parent: "g", ID: "1"},
		Sequence:   300,
		Revision:   1 << 40,
		CreateTime: time.UnixMicro(-1).UTC(),
		UpdateTime: time.UnixMicro(1709121600123456).UTC(),
		Labels:     []string{"glaze=a", "x", "ä"},
		Body:       []byte{0, 1, 2, 255},
	}
}

// TestStoredForm pins the bytes, which a few lines of another language have put together from the layout and
// the definition of varints (Protocol Buffers documentation, "Encoding"): they are in the files of those who use this. A change of the layout needs a
// new version byte and the old one to be read still.
func TestStoredForm(t *testing.T) {
	const want = "\x01\xd8\x04\x80\x80\x80\x80\x80\x40\x01\x80\xc9\xd3\x9d\xfc\x9b\x89\x06\x04\x00\x01\x02\xff\x12\x01\x67\x01\x31\x03\x07\x67\x6c\x61\x7a\x65\x3d\x61\x01\x78\x02\xc3\xa4"
	r := example()
	if got := string(AppendRecord(nil, &r)); got != want {
		t.Fatalf("got  %q\nwant %q", got, want)
	}
}

func TestEveryCutAndExtensionIsNoticed(t *testing.T) {
	r := example()
	whole := AppendRecord(nil, &r)
	got, err := DecodeRecord("s", store.KindLot, whole)
	if err != nil || !reflect.DeepEqual(got, r) {
		t.Fatalf("got %+v, %v", got, err)
	}
	for n := range whole {
		if _, err := DecodeRecord("s", store.KindLot, whole[:n]); err == nil {
			t.Errorf("%d of %d bytes were taken for a record", n, len(whole))
		}
	}
	if _, err := DecodeRecord("s", store.KindLot, append(whole, 0)); err == nil {
		t.Error("a byte too many was not noticed")
	}
}

// FuzzDecode checks that whatever is read as a record or an answer is, once written, read as the same.
func FuzzDecode(f *testing.F) {
	r := example()
	f.Add(AppendRecord(nil, &r))
	f.Add(AppendAnswer(nil, []store.Record{r, {Key: r.Key}}))
	f.Fuzz(func(t *testing.T, b []byte) {
		if r, err := DecodeRecord("s", "k", b); err == nil {
			again, err := DecodeRecord("s", "k", AppendRecord(nil, &r))
			if err != nil || !reflect.DeepEqual(r, again) {
				t.Fatalf("%+v became %+v, %v", r, again, err)
			}
		}
		if a, err := DecodeAnswer("s", b); err == nil {
			again, err := DecodeAnswer("s", AppendAnswer(nil, a))
			if err != nil || !reflect.DeepEqual(a, again) {
				t.Fatalf("%+v became %+v, %v", a, again, err)
			}
		}
	})
}
