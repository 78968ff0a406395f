package limits

import (
	"bytes"
	"errors"
	"io"
	"math"
	"runtime"
	"strings"
	"testing"
	"testing/synctest"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

const mb = 1 << 20

func boundedBy(bytes int64) *Limits {
	o := roomy
	o.BodyBytes, o.LargestBody = bytes, 9*mb
	return New(o, nil)
}

func (g *gate) taken() int64 {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.seats - g.free
}

// pipe is a body of which as much comes as is let through.
type pipe struct {
	*io.PipeReader
	read int // so far
}

func (p *pipe) Read(b []byte) (int, error) {
	n, err := p.PipeReader.Read(b)
	p.read += n
	return n, err
}

// Bodies that come at the same time are read only as far as there is memory; the rest is turned away and may come again.
func TestBodiesTakeNoMoreThanThereIs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := boundedBy(64 * mb)
		type result struct {
			body *Body
			n    int
			err  error
		}
		results := make(chan result)
		var senders []*io.PipeWriter
		for range 48 {
			r, w := io.Pipe()
			senders = append(senders, w)
			go func() {
				b := l.Body("")
				text, err := b.Read(t.Context(), &pipe{PipeReader: r}, 9_000_000)
				r.CloseWithError(io.ErrClosedPipe)
				if err != nil {
					b.Free()
				}
				results <- result{b, len(text), err}
			}()
		}
		chunk := make([]byte, 1<<20)
		for _, w := range senders {
			go func() {
				for left := 9_000_000; left > 0; left -= len(chunk) {
					if _, err := w.Write(chunk[:min(left, len(chunk))]); err != nil {
						return
					}
				}
				w.Close()
			}()
		}
		whole := 0
		for range senders {
			r := <-results
			if held := l.bodies.taken(); held > 48*mb {
				t.Fatalf("%d bytes are held", held)
			}
			if r.err != nil {
				if reason, retry := why(t, r.err); reason != "LIMIT_BODIES" || retry == 0 {
					t.Fatalf("turned away with %v", r.err)
				}
				continue
			}
			if whole++; r.n != 9_000_000 {
				t.Errorf("%d bytes were read", r.n)
			}
			defer r.body.Free()
		}
		if whole == 0 || whole > 5 {
			t.Errorf("%d bodies of 9 MB were read into 48 MB", whole)
		}
		// Small ones have a part of their own, and so has another studio.
		small := l.Body("studio")
		if _, err := small.Read(t.Context(), strings.NewReader("{}"), 2); err != nil {
			t.Errorf("a small body meanwhile: %v", err)
		}
		small.Free()
	})
}

func TestStudioTakesHalfOfTheMemory(t *testing.T) {
	l := boundedBy(64 * mb)
	first, second := l.Body("loud"), l.Body("loud")
	if err := first.Hold(t.Context(), 20*mb); err != nil {
		t.Fatal(err)
	}
	if err := second.Hold(t.Context(), 20*mb); status.Code(err) != codes.ResourceExhausted {
		t.Errorf("40 of 64 MB: %v", err)
	}
	other := l.Body("quiet")
	if err := other.Hold(t.Context(), 20*mb); err != nil {
		t.Errorf("another studio: %v", err)
	}
	if err := other.Hold(t.Context(), 33*mb); status.Code(err) != codes.InvalidArgument {
		t.Errorf("more than there will ever be: %v", err)
	}
	first.Free()
	second.Free()
	other.Free()
	if l.bodies.free != 64*mb {
		t.Errorf("%d bytes are free", l.bodies.free)
	}
}

func TestBodyIsReadWhole(t *testing.T) {
	l := boundedBy(64 * mb)
	for _, n := range []int{0, 1, 4095, 4096, 4097, 70_000, 3 << 20, 9 << 20} {
		text := bytes.Repeat([]byte("x"), n)
		for _, size := range []int64{int64(n), -1} {
			b := l.Body("")
			got, err := b.Read(t.Context(), bytes.NewReader(text), size)
			if err != nil || !bytes.Equal(got, text) {
				t.Errorf("%d bytes, told as %d: %d read, %v", n, size, len(got), err)
			}
			b.Free()
		}
	}
	broken := errors.New("broken")
	b := l.Body("")
	defer b.Free()
	if _, err := b.Read(t.Context(), io.MultiReader(strings.NewReader("abc"), brokenReader{broken}), 10); err != broken {
		t.Errorf("a broken body: %v", err)
	}
}

type brokenReader struct{ err error }

func (b brokenReader) Read([]byte) (int, error) { return 0, b.err }

// What a request is said to take is no less than what its message has, which is counted here by what reading it allocates.
func TestCostIsNoLessThanTheMessage(t *testing.T) {
	layers := &pb.ScoreLayeringRequest{Layering: &pb.Layering{}}
	for range 50_000 {
		layers.Layering.Layers = append(layers.Layering.Layers, &pb.Layer{})
	}
	sheet := &pb.SheetPlan{}
	for range 4 {
		p := &pb.SheetPosition{}
		for range 2000 {
			p.Choices = append(p.Choices, &pb.Layer{Glaze: "studios/demo/glazes/a", Amount: &pb.Layer_Coats{Coats: 2}})
		}
		sheet.Positions = append(sheet.Positions, p)
	}
	for what, m := range map[string]proto.Message{
		"empty layers": layers,
		"a sheet":      &pb.ScoreSheetRequest{Source: &pb.ScoreSheetRequest_Plan{Plan: sheet}},
		"a text":       &pb.ImportTilesRequest{Csv: strings.Repeat("a,\"b\"\n", 100_000)},
		"small":        &pb.ScoreLayeringRequest{Layering: &pb.Layering{Layers: layers.Layering.Layers[:1000]}},
	} {
		wire, err := proto.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		text, err := protojson.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		takes := allocated(func() {
			if err := proto.Unmarshal(wire, m.ProtoReflect().New().Interface()); err != nil {
				t.Fatal(err)
			}
		})
		if got := wireCost(wire, m.ProtoReflect().Descriptor()); got < takes || got > 30*takes {
			t.Errorf("%s in the binary form: %d bytes are counted, %d are taken", what, got, takes)
		}
		if got := JSONCost(text); got < takes || got > 60*takes {
			t.Errorf("%s as JSON: %d bytes are counted, %d are taken", what, got, takes)
		}
	}
}

// allocated returns the bytes that f allocates. It is the least of a few, as other tests may allocate meanwhile.
func allocated(f func()) int64 {
	least := uint64(math.MaxUint64)
	for range 5 {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		f()
		runtime.ReadMemStats(&after)
		least = min(least, after.TotalAlloc-before.TotalAlloc)
	}
	return int64(least)
}

func TestValuesOfJSON(t *testing.T) {
	for text, want := range map[string]int64{
		`{}`: 1, `{"a":1,"b":[1,2,{}]}`: 6, `{"a":"x,y{[\\"}`: 1, `{"a":"\",,,\\\"{{","b":2}`: 2, `"unended ,,,`: 0, `["\\",1]`: 2,
	} {
		if got := jsonValues([]byte(text)); got != want {
			t.Errorf("%s: %d values, want %d", text, got, want)
		}
	}
}
