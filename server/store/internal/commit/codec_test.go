package commit

import (
	"errors"
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
// new version byte and the old one to be read still. The checksum is by a table-free loop over bits written in Python from the
// polynomial in RFC 3720, whose own example ("32 bytes of zeroes": aa 36 91 8a) that loop gives too.
func TestStoredForm(t *testing.T) {
	const old = "\x01\xd8\x04\x80\x80\x80\x80\x80\x40\x01\x80\xc9\xd3\x9d\xfc\x9b\x89\x06\x04\x00\x01\x02\xff\x12\x01\x67\x01\x31\x03\x07\x67\x6c\x61\x7a\x65\x3d\x61\x01\x78\x02\xc3\xa4"
	want := "\x02" + old[1:] + "\x73\xca\x14\xdb"
	r := example()
	if got := string(AppendRecord(nil, &r)); got != want {
		t.Fatalf("got  %q\nwant %q", got, want)
	}
	if got, err := DecodeRecord("s", store.KindLot, []byte(old)); err != nil || !reflect.DeepEqual(got, r) {
		t.Errorf("the old version: %+v, %v", got, err)
	}
	for _, from := range []string{old, want} {
		if got := string(AddChecksum("s", store.KindLot, []byte(from))); got != want {
			t.Errorf("got  %q\nwant %q", got, want)
		}
	}
	if got := string(AddChecksum("s", store.KindLot, []byte(old[:40]))); got != old[:40] {
		t.Errorf("what cannot be read became %q", got)
	}
}

// TestEveryFlippedByteIsNoticed changes each byte to each of the 255 others. A checksum of 32 bits notices any error within one byte.
func TestEveryFlippedByteIsNoticed(t *testing.T) {
	r := example()
	whole := AppendRecord(nil, &r)
	for i := range whole {
		for by := 1; by < 256; by++ {
			whole[i] ^= byte(by)
			if got, err := DecodeRecord("s", store.KindLot, whole); !errors.Is(err, store.ErrDamaged) {
				t.Errorf("byte %d xor %d: %+v, %v", i, by, got, err)
			}
			whole[i] ^= byte(by)
		}
	}
	for _, place := range []store.Key{{Studio: "t", Kind: store.KindLot}, {Studio: "s", Kind: store.KindGlaze}, {Studio: "slot", Kind: ""}} {
		if _, err := DecodeRecord(place.Studio, place.Kind, whole); !errors.Is(err, store.ErrDamaged) {
			t.Errorf("in %v: %v", place, err)
		}
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
