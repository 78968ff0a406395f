package gateway

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/catchline/catchline/server/fields"
)

// The JSON of answers is what protojson writes, in a quarter of its time, which is most of the time of a short call over HTTP:
// protojson finds out the fields of a message and their order anew for each, which do not change. Messages that are not of the
// contract, some of which have forms of their own, are left to it.

// contract is the package whose messages are written here.
const contract = protoreflect.FullName("catchline.v1")

// layout is how messages of a type are written.
type layout struct {
	ours    bool // of the contract
	members []member
}

type member struct {
	fields.Field
	name string // with quotes and colon
	enum map[protoreflect.EnumNumber]string
	// optional fields are left out where they are unset; others are written as zero or empty.
	optional bool
	of       atomic.Pointer[layout] // of the messages in it, or in its list; found when there is one
}

var layouts sync.Map // reflect.Type -> *layout

func layoutOf(m proto.Message) *layout {
	if l, ok := layouts.Load(reflect.TypeOf(m)); ok {
		return l.(*layout)
	}
	l := &layout{ours: m.ProtoReflect().Descriptor().ParentFile().Package() == contract}
	if l.ours {
		all, _ := fields.Of(m)
		l.members = make([]member, len(all))
		for i, f := range all {
			m := &l.members[i]
			m.Field, m.name, m.optional = f, `"`+f.JSONName()+`":`, f.HasPresence()
			if f.Kind() == protoreflect.EnumKind {
				m.enum = map[protoreflect.EnumNumber]string{}
				for k := range f.Enum().Values().Len() {
					v := f.Enum().Values().Get(k)
					if _, aliased := m.enum[v.Number()]; !aliased {
						m.enum[v.Number()] = `"` + string(v.Name()) + `"`
					}
				}
			}
		}
	}
	layouts.Store(reflect.TypeOf(m), l)
	return l
}

// append appends the JSON of a message.
func (l *layout) append(b []byte, m reflect.Value, other *protojson.MarshalOptions) ([]byte, error) {
	if !l.ours {
		return other.MarshalAppend(b, m.Interface().(proto.Message))
	}
	from := fields.Struct(m)
	b = append(b, '{')
	first := true
	var err error
	for i := range l.members {
		f := &l.members[i]
		v, there := f.In(from)
		if f.optional && !there {
			continue
		}
		if !first {
			b = append(b, ',')
		}
		first = false
		b = append(b, f.name...)
		if b, err = f.append(b, v, other); err != nil {
			return nil, err
		}
	}
	return append(b, '}'), nil
}

func appendMessage(b []byte, m proto.Message, other *protojson.MarshalOptions) ([]byte, error) {
	return layoutOf(m).append(b, reflect.ValueOf(m), other)
}

func (f *member) append(b []byte, v reflect.Value, other *protojson.MarshalOptions) (_ []byte, err error) {
	switch {
	case v.Kind() == reflect.Slice && f.IsList():
		b = append(b, '[')
		for i := range v.Len() {
			if i > 0 {
				b = append(b, ',')
			}
			if b, err = f.appendOne(b, f.Kind(), v.Index(i), other); err != nil {
				return nil, err
			}
		}
		return append(b, ']'), nil
	case v.Kind() == reflect.Map:
		return f.appendMap(b, v, other)
	}
	return f.appendOne(b, f.Kind(), v, other)
}

// appendMap appends a map of texts in the order of its keys.
func (f *member) appendMap(b []byte, m reflect.Value, other *protojson.MarshalOptions) (_ []byte, err error) {
	keys := m.MapKeys()
	slices.SortFunc(keys, func(a, b reflect.Value) int { return strings.Compare(a.String(), b.String()) })
	b = append(b, '{')
	for i, k := range keys {
		if i > 0 {
			b = append(b, ',')
		}
		if b, err = appendText(b, k.String()); err != nil {
			return nil, err
		}
		b = append(b, ':')
		if b, err = f.appendOne(b, f.MapValue().Kind(), m.MapIndex(k), other); err != nil {
			return nil, err
		}
	}
	return append(b, '}'), nil
}

// appendOne appends a value of the field, or of its list or map.
func (f *member) appendOne(b []byte, kind protoreflect.Kind, v reflect.Value, other *protojson.MarshalOptions) ([]byte, error) {
	switch kind {
	case protoreflect.StringKind:
		return appendText(b, v.String())
	case protoreflect.DoubleKind:
		return appendNumber(b, v.Float(), 64), nil
	case protoreflect.FloatKind:
		return appendNumber(b, v.Float(), 32), nil
	case protoreflect.MessageKind:
		l := f.of.Load()
		if l == nil {
			l = layoutOf(v.Interface().(proto.Message))
			f.of.Store(l)
		}
		return l.append(b, v, other)
	case protoreflect.EnumKind:
		if name, ok := f.enum[protoreflect.EnumNumber(v.Int())]; ok {
			return append(b, name...), nil
		}
		return strconv.AppendInt(b, v.Int(), 10), nil
	case protoreflect.BoolKind:
		return strconv.AppendBool(b, v.Bool()), nil
	case protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		return strconv.AppendInt(b, v.Int(), 10), nil
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		return strconv.AppendUint(b, v.Uint(), 10), nil
	case protoreflect.Int64Kind, protoreflect.Sint64Kind, protoreflect.Sfixed64Kind:
		// As texts, since numbers of JavaScript have 53 bits.
		return append(strconv.AppendInt(append(b, '"'), v.Int(), 10), '"'), nil
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		return append(strconv.AppendUint(append(b, '"'), v.Uint(), 10), '"'), nil
	case protoreflect.BytesKind:
		return append(base64.StdEncoding.AppendEncode(append(b, '"'), v.Bytes()), '"'), nil
	}
	return nil, fmt.Errorf("%s is of a kind that has no JSON here: %s", f.FullName(), kind)
}

// appendNumber appends a number in the fewest digits that give it back, as protojson and encoding/json do.
func appendNumber(b []byte, x float64, bits int) []byte {
	switch {
	case math.IsNaN(x):
		return append(b, `"NaN"`...)
	case math.IsInf(x, 1):
		return append(b, `"Infinity"`...)
	case math.IsInf(x, -1):
		return append(b, `"-Infinity"`...)
	}
	if a := math.Abs(x); a != 0 && (a < 1e-6 || a >= 1e21) {
		return strconv.AppendFloat(b, x, 'e', -1, bits)
	}
	return strconv.AppendFloat(b, x, 'f', -1, bits)
}

const hexDigits = "0123456789abcdef"

// unescaped is how many bytes at the start of a text, in steps of eight, are ASCII that JSON has as it is.
func unescaped(s string) (n int) {
	const ones, highs = 0x0101010101010101, 0x8080808080808080
	for ; n+8 <= len(s); n += 8 {
		// In one word. The high bit of a byte of x - ones*k is set where the byte of x is less than k, if those of x are not set; a carry out
		// of the byte below only ever adds such bits above one that is set already.
		x := uint64(s[n]) | uint64(s[n+1])<<8 | uint64(s[n+2])<<16 | uint64(s[n+3])<<24 |
			uint64(s[n+4])<<32 | uint64(s[n+5])<<40 | uint64(s[n+6])<<48 | uint64(s[n+7])<<56
		quote, slash := x^ones*'"', x^ones*'\\'
		if (x|(x-ones*' ')|(quote-ones)|(slash-ones))&highs != 0 {
			break
		}
	}
	return n
}

// appendText appends a text in quotes. One that is not UTF-8 is an error, as it is in every other form.
func appendText(b []byte, s string) ([]byte, error) {
	b = append(b, '"')
	n := unescaped(s)
	b = append(b, s[:n]...)
	s = s[n:]
	if !utf8.ValidString(s) {
		return nil, fmt.Errorf("a text is not UTF-8")
	}
	from := 0
	for i := range len(s) {
		c := s[i]
		if c >= ' ' && c != '"' && c != '\\' {
			continue
		}
		b = append(b, s[from:i]...)
		from = i + 1
		switch c {
		case '"', '\\':
			b = append(b, '\\', c)
		case '\n':
			b = append(b, `\n`...)
		case '\t':
			b = append(b, `\t`...)
		default:
			b = append(b, '\\', 'u', '0', '0', hexDigits[c>>4], hexDigits[c&0xf])
		}
	}
	b = append(b, s[from:]...)
	return append(b, '"'), nil
}

// Marshal writes an answer, or a line of a stream.
func (f *jsonForm) Marshal(v any) ([]byte, error) {
	switch v := v.(type) {
	case proto.Message:
		return f.inRoom(func(b []byte) ([]byte, error) { return appendMessage(b, v, &f.MarshalOptions) })
	case map[string]any: // what the multiplexer makes of a message of a stream
		if m, ok := v["result"].(proto.Message); ok && len(v) == 1 {
			return f.inRoom(func(b []byte) ([]byte, error) {
				b, err := appendMessage(append(b, `{"result":`...), m, &f.MarshalOptions)
				return append(b, '}'), err
			})
		}
	}
	return f.JSONPb.Marshal(v)
}

// inRoom returns what is appended, which belongs to the caller and is no larger than it has to be.
func (f *jsonForm) inRoom(add func([]byte) ([]byte, error)) ([]byte, error) {
	room := rooms.Get().(*bytes.Buffer)
	defer giveBack(room)
	b, err := add(room.AvailableBuffer())
	if err != nil {
		return nil, err
	}
	room.Write(b) // in place, unless it has grown out of the room: then the next one is as large
	return bytes.Clone(b), nil
}
