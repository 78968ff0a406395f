package gateway

import (
	"encoding/json"
	"math"
	"reflect"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// The reference is protojson, which is the standard's own implementation of the JSON mapping of Protocol Buffers.

// drawMessage fills a message of any type at random.
func drawMessage(t *rapid.T, m protoreflect.Message, depth int) {
	switch m.Interface().(type) {
	case *timestamppb.Timestamp: // has limits of its own
		m.Set(m.Descriptor().Fields().ByName("seconds"), protoreflect.ValueOfInt64(rapid.Int64Range(0, 4e9).Draw(t, "seconds")))
		return
	case *fieldmaskpb.FieldMask:
		return
	}
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		if rapid.IntRange(0, 2).Draw(t, "whether") == 0 || depth > 3 && f.Message() != nil {
			continue
		}
		switch {
		case f.IsList():
			for range rapid.IntRange(1, 2).Draw(t, "length") {
				list := m.Mutable(f).List()
				if f.Message() != nil {
					drawMessage(t, list.AppendMutable().Message(), depth+1)
				} else {
					list.Append(drawValue(t, f))
				}
			}
		case f.IsMap():
			for range rapid.IntRange(1, 3).Draw(t, "length") {
				m.Mutable(f).Map().Set(drawValue(t, f.MapKey()).MapKey(), drawValue(t, f.MapValue()))
			}
		case f.Message() != nil:
			drawMessage(t, m.Mutable(f).Message(), depth+1)
		default:
			m.Set(f, drawValue(t, f))
		}
	}
}

func drawValue(t *rapid.T, f protoreflect.FieldDescriptor) protoreflect.Value {
	switch f.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", `"\/` + "\b\f\n\r\t\x00\x1f\x7f", "é\u2028<&>\U0001F525"})).Draw(t, "text"))
	case protoreflect.DoubleKind:
		special := []float64{0, math.Copysign(0, -1), 1e-6, 9.9e-7, 1e21, 9e20, 1e-10, 5e-324, math.MaxFloat64, math.NaN(), math.Inf(1), math.Inf(-1)}
		return protoreflect.ValueOfFloat64(rapid.OneOf(rapid.Float64(), rapid.SampledFrom(special)).Draw(t, "double"))
	case protoreflect.FloatKind:
		special := []float32{0, 1e-6, 9.9e-7, 1e21, 0.1, math.MaxFloat32, float32(math.NaN())}
		return protoreflect.ValueOfFloat32(rapid.OneOf(rapid.Float32(), rapid.SampledFrom(special)).Draw(t, "float"))
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(rapid.Bool().Draw(t, "bool"))
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(protoreflect.EnumNumber(rapid.Int32Range(0, 12).Draw(t, "enum")))
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(rapid.Int32().Draw(t, "int32"))
	case protoreflect.Int64Kind:
		return protoreflect.ValueOfInt64(rapid.Int64().Draw(t, "int64"))
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes(rapid.SliceOfN(rapid.Byte(), 0, 5).Draw(t, "bytes"))
	}
	t.Fatalf("the contract has a kind that is not drawn here: %s", f.Kind())
	return protoreflect.Value{}
}

func TestJSONIsThatOfProtojson(t *testing.T) {
	var types []protoreflect.MessageType
	protoregistry.GlobalTypes.RangeMessages(func(m protoreflect.MessageType) bool {
		if m.Descriptor().ParentFile().Package() == contract && !m.Descriptor().IsMapEntry() {
			types = append(types, m)
		}
		return true
	})
	if len(types) < 100 {
		t.Fatalf("only %d types found", len(types))
	}
	form := newJSONForm()
	for _, mt := range types {
		rapid.Check(t, func(t *rapid.T) {
			m := mt.New()
			drawMessage(t, m, 0)
			want, err := form.MarshalOptions.Marshal(m.Interface())
			if err != nil {
				t.Fatal(err)
			}
			got, err := form.Marshal(m.Interface())
			if err != nil {
				t.Fatal(err)
			}
			if !sameJSON(t, got, want) {
				t.Fatalf("%s:\n%s\nwant\n%s", mt.Descriptor().Name(), got, want)
			}
			line, err := form.Marshal(map[string]any{"result": m.Interface()})
			if err != nil || !sameJSON(t, line, []byte(`{"result":`+string(want)+`}`)) {
				t.Fatalf("a line: %v\n%s\nwant\n%s", err, line, want)
			}
			back := dynamicpb.NewMessage(mt.Descriptor())
			if err := protojson.Unmarshal(got, back); err != nil {
				t.Fatalf("%s: %v", got, err)
			}
		})
	}
}

// sameJSON compares what is written but for the order of members and the space between.
func sameJSON(t *rapid.T, a, b []byte) bool {
	var x, y any
	for text, v := range map[*[]byte]*any{&a: &x, &b: &y} {
		if err := json.Unmarshal(*text, v); err != nil {
			t.Fatalf("%v: %s", err, *text)
		}
	}
	return reflect.DeepEqual(x, y)
}

func TestTextThatIsNotUTF8(t *testing.T) {
	if text, err := newJSONForm().Marshal(&pb.Flag{Sentence: "\xff"}); err == nil {
		t.Errorf("written as %s", text)
	}
}

func BenchmarkMarshal(b *testing.B) {
	m := &pb.Score{Physics: &pb.PhysicsDetail{TotalThicknessUm: 312.7, EquivalentCone: "6"}, Foot: &pb.FootAndShelf{}, Evidence: &pb.Evidence{Tiles: 120}}
	for range 6 {
		m.Drivers = append(m.Drivers, &pb.Driver{Kind: pb.Driver_KIND_GLAZE, RunMm: 3.14159, Sentence: "This one adds 3.1 mm, against the studio's median glaze in its place."})
		m.Cautions = append(m.Cautions, &pb.Caution{Text: "Never lean over a hot kiln; read what its maker says, and what the code where you live does; this is about as long as a caution is."})
	}
	form := newJSONForm()
	for name, f := range map[string]func(proto.Message) ([]byte, error){
		"ours": func(m proto.Message) ([]byte, error) { return form.Marshal(m) }, "protojson": form.MarshalOptions.Marshal,
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := f(m); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// Every byte at every place of a word.
func TestUnescaped(t *testing.T) {
	for c := range 256 {
		for at := range 16 {
			s := []byte("abcdefgh~!#[]{}z")
			s[at] = byte(c)
			want := 16
			if c < ' ' || c == '"' || c == '\\' || c >= 0x80 {
				want = at / 8 * 8
			}
			if got := unescaped(string(s)); got != want {
				t.Errorf("%q: %d, want %d", s, got, want)
			}
		}
	}
}
