package gateway

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"strconv"
	"sync"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// jsonForm is the JSON of the contract. Zeros, empty texts and empty lists are written, since a risk of 0 is an
// answer and not the lack of one; what is unset where unset differs from zero is left out. Unknown fields are refused.
type jsonForm struct{ runtime.JSONPb }

func newJSONForm() *jsonForm {
	return &jsonForm{runtime.JSONPb{
		MarshalOptions:   protojson.MarshalOptions{EmitDefaultValues: true},
		UnmarshalOptions: protojson.UnmarshalOptions{DiscardUnknown: false},
	}}
}

// StreamContentType says that each line of a stream is a JSON text of its own.
func (*jsonForm) StreamContentType(any) string { return "application/x-ndjson" }

// Delimiter ends a line.
func (*jsonForm) Delimiter() []byte { return []byte("\n") }

// Unmarshal reads one whole JSON text.
func (f *jsonForm) Unmarshal(text []byte, v any) error {
	m, err := messageOf(v)
	if err != nil {
		return err
	}
	if readUsual(string(text), m) {
		return nil
	}
	// Which empties the message first.
	if err := f.UnmarshalOptions.Unmarshal(text, m); err != nil {
		return explain(text, m.ProtoReflect().Descriptor(), err)
	}
	return nil
}

// NewDecoder reads to the end: whatever follows the first JSON text is a fault, not something to drop.
func (f *jsonForm) NewDecoder(r io.Reader) runtime.Decoder {
	return runtime.DecoderFunc(func(v any) error {
		room := rooms.Get().(*bytes.Buffer)
		defer giveBack(room)
		text, err := textOf(r, room)
		if err != nil {
			return err
		}
		if len(bytes.TrimSpace(text)) == 0 {
			return io.EOF
		}
		return f.Unmarshal(text, v) // which copies what it keeps
	})
}

// rooms are used again for texts on their way in and out.
var rooms = sync.Pool{New: func() any { return new(bytes.Buffer) }}

// largestRoom bounds what is kept for the next text.
const largestRoom = 1 << 20

func giveBack(room *bytes.Buffer) {
	if room.Cap() <= largestRoom {
		room.Reset()
		rooms.Put(room)
	}
}

// messageOf returns the message that v is, or points to, made new if need be.
func messageOf(v any) (proto.Message, error) {
	if m, ok := v.(proto.Message); ok {
		return m, nil
	}
	if p := reflect.ValueOf(v); p.Kind() == reflect.Pointer && p.Elem().Kind() == reflect.Pointer {
		if p.Elem().IsNil() {
			p.Elem().Set(reflect.New(p.Elem().Type().Elem()))
		}
		if m, ok := p.Elem().Interface().(proto.Message); ok {
			return m, nil
		}
	}
	return nil, fmt.Errorf("%T is not a message", v)
}

// longestExplained bounds what is read a second time, as a tree that takes more memory than the message does.
const longestExplained = 1 << 20

// explain says what is wrong with a text, with the path of the field where it can be found: the decoder itself names
// only the last part of it. The text is read a second time, which only faulty ones are.
func explain(text []byte, d protoreflect.MessageDescriptor, fault error) error {
	if len(text) > longestExplained {
		return fmt.Errorf("the body is not as the contract says: %w", fault)
	}
	var tree any
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.UseNumber()
	if err := decoder.Decode(&tree); err != nil {
		return fmt.Errorf("the body is not JSON: %w", err)
	}
	if path, wrong := findFault(tree, d, ""); wrong != "" {
		if path == "" {
			path = "the body"
		}
		return fmt.Errorf("%s %s", path, wrong)
	}
	return fmt.Errorf("the body is not as the contract says: %w", fault)
}

// findFault returns where and why a JSON value does not fit the message, or nothing where it cannot tell.
func findFault(v any, d protoreflect.MessageDescriptor, path string) (at, wrong string) {
	if d.ParentFile().Package() == "google.protobuf" {
		return "", "" // these have forms of their own
	}
	object, ok := v.(map[string]any)
	if !ok {
		return path, "is " + kindOf(v) + "; allowed: an object"
	}
	for name, value := range object {
		fd := d.Fields().ByJSONName(name)
		if fd == nil {
			fd = d.Fields().ByTextName(name)
		}
		here := name
		if path != "" {
			here = path + "." + name
		}
		if fd == nil {
			return here, "is an unknown field"
		}
		if value == nil {
			continue
		}
		if at, wrong = fieldFault(value, fd, here); wrong != "" {
			return at, wrong
		}
	}
	return "", ""
}

func fieldFault(v any, fd protoreflect.FieldDescriptor, path string) (at, wrong string) {
	switch {
	case fd.IsMap():
		object, ok := v.(map[string]any)
		if !ok {
			return path, "is " + kindOf(v) + "; allowed: an object"
		}
		for key, value := range object {
			if at, wrong = valueFault(value, fd.MapValue(), fmt.Sprintf("%s[%q]", path, key)); wrong != "" {
				return at, wrong
			}
		}
	case fd.IsList():
		list, ok := v.([]any)
		if !ok {
			return path, "is " + kindOf(v) + "; allowed: a list"
		}
		for i, value := range list {
			if at, wrong = valueFault(value, fd, path+"["+strconv.Itoa(i)+"]"); wrong != "" {
				return at, wrong
			}
		}
	default:
		return valueFault(v, fd, path)
	}
	return "", ""
}

func valueFault(v any, fd protoreflect.FieldDescriptor, path string) (at, wrong string) {
	switch fd.Kind() {
	case protoreflect.MessageKind:
		return findFault(v, fd.Message(), path)
	case protoreflect.StringKind, protoreflect.BytesKind:
		if _, ok := v.(string); !ok {
			return path, "is " + kindOf(v) + "; allowed: a text"
		}
	case protoreflect.BoolKind:
		if _, ok := v.(bool); !ok {
			return path, "is " + kindOf(v) + "; allowed: true or false"
		}
	case protoreflect.EnumKind:
		if s, ok := v.(string); ok && fd.Enum().Values().ByName(protoreflect.Name(s)) == nil {
			return path, fmt.Sprintf("is %q; allowed: a value of %s", s, fd.Enum().Name())
		}
	case protoreflect.DoubleKind, protoreflect.FloatKind:
		s, text := v.(string)
		n, number := v.(json.Number)
		if number {
			s = n.String()
		}
		if !text && !number {
			return path, "is " + kindOf(v) + "; allowed: a number"
		}
		if _, err := strconv.ParseFloat(s, 64); err != nil {
			return path, fmt.Sprintf("is %q; allowed: a finite number", s)
		}
	default: // integers
		s, text := v.(string)
		n, number := v.(json.Number)
		if number {
			s = n.String()
		}
		if !text && !number {
			return path, "is " + kindOf(v) + "; allowed: a whole number"
		}
		if f, err := strconv.ParseFloat(s, 64); err != nil || f != float64(int64(f)) {
			return path, fmt.Sprintf("is %q; allowed: a whole number", s)
		}
	}
	return "", ""
}

func kindOf(v any) string {
	switch v.(type) {
	case nil:
		return "null"
	case bool:
		return "true or false"
	case json.Number:
		return "a number"
	case string:
		return "a text"
	case []any:
		return "a list"
	}
	return "an object"
}
