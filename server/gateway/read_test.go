package gateway

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"pgregory.net/rapid"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// What is read without protojson is what protojson reads.
func TestReadIsThatOfProtojson(t *testing.T) {
	usual, all := 0, 0
	protoregistry.GlobalTypes.RangeMessages(func(mt protoreflect.MessageType) bool {
		if mt.Descriptor().ParentFile().Package() != contract || mt.Descriptor().IsMapEntry() {
			return true
		}
		rapid.Check(t, func(t *rapid.T) {
			m := mt.New()
			drawMessage(t, m, 0)
			text, err := protojson.MarshalOptions{
				Multiline: rapid.Bool().Draw(t, "lines"), UseProtoNames: rapid.Bool().Draw(t, "names"), EmitDefaultValues: rapid.Bool().Draw(t, "zeros"),
			}.Marshal(m.Interface())
			if err != nil {
				t.Fatal(err)
			}
			want, got := mt.New(), mt.New()
			if err := protojson.Unmarshal(text, want.Interface()); err != nil {
				t.Fatal(err)
			}
			all++
			if !readUsual(string(text), got.Interface()) {
				return
			}
			usual++
			if !proto.Equal(got.Interface(), want.Interface()) && !strings.Contains(string(text), "NaN") {
				t.Fatalf("%s\nis read as\n%v\nnot\n%v", text, got, want)
			}
		})
		return true
	})
	if usual < all/20 {
		t.Errorf("only %d of %d were usual", usual, all)
	}
}

const aRequest = `{"layering": {"layers": [{"glaze": "studios/s/glazes/a", "coats": 2}, {"glaze":"studios/s/glazes/b", "thicknessUm":4e2,"method":"APPLICATION_METHOD_DIP"}]},
	"firing": "studios/s/firings/f", "placement":{"clearance_mm":-0.5, "angleDeg": 90}, "view": "SCORE_VIEW_NUMBERS"}`

func TestAUsualRequestNeedsNoProtojson(t *testing.T) {
	if !readUsual(aRequest, new(pb.ScoreLayeringRequest)) {
		t.Error("it was not read")
	}
}

// What may be wrong, or of another form, is left to protojson.
func TestUnusualTextsAreNotRead(t *testing.T) {
	for _, text := range []string{
		``, ` `, `{`, `{}x`, `{} {}`, `[]`, `null`, `{"kiln":"a",}`, `{"kiln" "a"}`, `{"kiln":"a" "tester":"b"}`, `{"kiln":'a'}`, `{kiln:"a"}`,
		`{"kiln":"a","kiln":"b"}`, `{"kiln":null}`, `{"kiln":1}`, "{\"kiln\":\"a\nb\"}", "{\"kiln\":\"\xff\"}", `{"kiln":"a\u0041"}`, `{"kiln":"a`,
		`{"unknown":1}`, `{"Kiln":"a"}`, `{"view":"NONE"}`, `{"view":1}`,
		`{"firing":"f","firingPlan":{}}`, `{"placement":{"angleDeg":1,"ware":"w"}}`, `{"placement":{"bandHeightMm":1,"band_height_mm":1}}`, `{"placement":[]}`,
		`{"placement":{"bandHeightMm":"1"}}`, `{"placement":{"bandHeightMm":01}}`, `{"placement":{"bandHeightMm":+1}}`, `{"placement":{"bandHeightMm":.5}}`,
		`{"placement":{"bandHeightMm":1.}}`, `{"placement":{"bandHeightMm":1e}}`, `{"placement":{"bandHeightMm":0x10}}`, `{"placement":{"bandHeightMm":-}}`,
		`{"placement":{"bandHeightMm":NaN}}`, `{"placement":{"bandHeightMm":1e999}}`, `{"placement":{"bandHeightMm":1_0}}`, `{"placement":{"bandHeightMm":infinity}}`,
		`{"layering":{"layers":{}}}`, `{"layering":{"layers":[{},]}}`, `{"layering":{"layers":[{}}`, `{"layering":{"layers":[null]}}`,
	} {
		if readUsual(text, new(pb.ScoreLayeringRequest)) {
			t.Errorf("read: %s", text)
		}
	}
	for _, text := range []string{`{"pageSize":1.0}`, `{"pageSize":1e1}`, `{"pageSize":2147483648}`, `{"pageSize":"1"}`} {
		if readUsual(text, new(pb.ListTilesRequest)) {
			t.Errorf("read: %s", text)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add(aRequest)
	f.Add(`{"layering":{"body":"b","layers":[]},"toleratedRisk":1E-2,"placement":{"lowerBands":[{"fromFootMm":-0}]}}`)
	f.Fuzz(func(t *testing.T, text string) {
		got, want := new(pb.ScoreLayeringRequest), new(pb.ScoreLayeringRequest)
		if !readUsual(text, got) {
			return
		}
		if err := protojson.Unmarshal([]byte(text), want); err != nil {
			t.Fatalf("protojson refuses it: %v", err)
		}
		if !proto.Equal(got, want) {
			t.Fatalf("read as %v, not %v", got, want)
		}
	})
}

func BenchmarkUnmarshal(b *testing.B) {
	form := newJSONForm()
	for name, f := range map[string]func([]byte, any) error{
		"ours":      form.Unmarshal,
		"protojson": func(text []byte, m any) error { return form.UnmarshalOptions.Unmarshal(text, m.(proto.Message)) },
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := f([]byte(aRequest), new(pb.ScoreLayeringRequest)); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
