package gateway

import (
	"bytes"
	"math"
	"strconv"
	"strings"
	"sync"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// The JSON of usual requests is turned into the binary form by a layout for each message type, and that is read by the library, in a third of
// the time that protojson takes. What is usual is kept small: names as the contract has them, numbers as numbers, names of enumerations, texts
// without escapes. Whatever else comes, right or wrong, is left to protojson, which starts anew; so that there is one judge of what a request
// may look like and what its faults are called.

// plan is how messages of a type are read, by name.
type plan map[string]*target

type target struct {
	number protowire.Number
	kind   protoreflect.Kind
	list   bool
	packed bool
	of     protoreflect.MessageDescriptor // nil: not a message
	enum   map[string]protoreflect.EnumNumber
	bit    uint64 // of the field, or of the group of alternatives that it belongs to: may be there once
}

var plans sync.Map // protoreflect.MessageDescriptor -> plan

func planOf(d protoreflect.MessageDescriptor) plan {
	if p, ok := plans.Load(d); ok {
		return p.(plan)
	}
	p := plan{}
	if fields := d.Fields(); fields.Len() <= 64 {
		for i := range fields.Len() {
			f := fields.Get(i)
			if f.IsMap() {
				continue
			}
			t := &target{number: f.Number(), kind: f.Kind(), list: f.IsList(), packed: f.IsPacked(), of: f.Message(), bit: 1 << i}
			if group := f.ContainingOneof(); group != nil {
				t.bit = 1 << group.Fields().Get(0).Index()
			}
			if f.Enum() != nil {
				t.enum = map[string]protoreflect.EnumNumber{}
				for k := range f.Enum().Values().Len() {
					v := f.Enum().Values().Get(k)
					t.enum[string(v.Name())] = v.Number()
				}
			}
			p[f.JSONName()], p[f.TextName()] = t, t
		}
	}
	plans.Store(d, p)
	return p
}

// reader eats a JSON text from the front, and writes the binary form.
type reader struct {
	text string
	at   int
	out  []byte
}

// readUsual reads a whole text into an empty message, and reports whether it was a usual one. If not, the message holds something or other.
func readUsual(text string, m proto.Message) bool {
	room := rooms.Get().(*bytes.Buffer)
	defer giveBack(room)
	r := reader{text: text, out: room.AvailableBuffer()}
	if !r.message(m.ProtoReflect().Descriptor(), 0) {
		return false
	}
	if r.space(); r.at < len(r.text) {
		return false
	}
	room.Write(r.out) // in place, unless it has grown out of the room
	return proto.Unmarshal(room.Bytes(), m) == nil
}

func (r *reader) space() {
	for r.at < len(r.text) {
		switch r.text[r.at] {
		case ' ', '\t', '\n', '\r':
			r.at++
		default:
			return
		}
	}
}

// next eats white space and, if it comes then, the character.
func (r *reader) next(c byte) bool {
	r.space()
	if r.at < len(r.text) && r.text[r.at] == c {
		r.at++
		return true
	}
	return false
}

// quoted eats a text without escapes.
func (r *reader) quoted() (string, bool) {
	if !r.next('"') {
		return "", false
	}
	for i := r.at; i < len(r.text); i++ {
		switch c := r.text[i]; {
		case c == '"':
			s := r.text[r.at:i]
			r.at = i + 1
			return s, true // that it is UTF-8 is looked at with the binary form
		case c == '\\' || c < ' ':
			return "", false
		}
	}
	return "", false
}

// number eats a number as JSON has it, and tells whether it is whole.
func (r *reader) number() (s string, whole bool) {
	r.space()
	start := r.at
	r.eat('-')
	if !r.eat('0') && !r.digits() {
		return "", false
	}
	whole = true
	if r.eat('.') {
		if whole = false; !r.digits() {
			return "", false
		}
	}
	if r.eat('e') || r.eat('E') {
		_ = r.eat('+') || r.eat('-')
		if whole = false; !r.digits() {
			return "", false
		}
	}
	return r.text[start:r.at], whole
}

func (r *reader) eat(c byte) bool {
	if r.at < len(r.text) && r.text[r.at] == c {
		r.at++
		return true
	}
	return false
}

func (r *reader) digits() bool {
	start := r.at
	for r.at < len(r.text) && r.text[r.at] >= '0' && r.text[r.at] <= '9' {
		r.at++
	}
	return r.at > start
}

// deepest bounds the depth of messages in each other.
const deepest = 50

func (r *reader) message(d protoreflect.MessageDescriptor, depth int) bool {
	if depth > deepest || d.ParentFile().Package() != contract || !r.next('{') {
		return false
	}
	if r.next('}') {
		return true
	}
	p, seen := planOf(d), uint64(0)
	for {
		name, ok := r.quoted()
		if !ok {
			return false
		}
		t := p[name]
		if t == nil || seen&t.bit != 0 || !r.next(':') {
			return false
		}
		seen |= t.bit
		if t.list {
			ok = r.list(t, depth)
		} else {
			ok = r.one(t, depth)
		}
		if !ok {
			return false
		}
		if !r.next(',') {
			return r.next('}')
		}
	}
}

func (r *reader) list(t *target, depth int) bool {
	if !r.next('[') {
		return false
	}
	if r.next(']') {
		return true
	}
	item := func() bool { return r.one(t, depth) }
	if t.packed {
		item = func() bool { return r.value(t) }
		r.out = protowire.AppendTag(r.out, t.number, protowire.BytesType)
		from := len(r.out)
		defer func() { r.measured(from) }()
	}
	for {
		if !item() {
			return false
		}
		if !r.next(',') {
			return r.next(']')
		}
	}
}

// measured puts the length of what was written from a place on before it.
func (r *reader) measured(from int) {
	n := len(r.out) - from
	head := protowire.SizeVarint(uint64(n))
	r.out = append(r.out, make([]byte, head)...)
	copy(r.out[from+head:], r.out[from:from+n])
	protowire.AppendVarint(r.out[:from], uint64(n))
}

// one reads a field that is no list, or an item of one that is.
func (r *reader) one(t *target, depth int) bool {
	if t.of != nil {
		r.out = protowire.AppendTag(r.out, t.number, protowire.BytesType)
		from := len(r.out)
		if !r.message(t.of, depth+1) {
			return false
		}
		r.measured(from)
		return true
	}
	kind := protowire.VarintType
	switch t.kind {
	case protoreflect.StringKind:
		kind = protowire.BytesType
	case protoreflect.DoubleKind:
		kind = protowire.Fixed64Type
	}
	r.out = protowire.AppendTag(r.out, t.number, kind)
	return r.value(t)
}

// value reads what is neither a message nor a list.
func (r *reader) value(t *target) bool {
	switch t.kind {
	case protoreflect.StringKind:
		s, ok := r.quoted()
		r.out = protowire.AppendString(r.out, s)
		return ok
	case protoreflect.EnumKind:
		s, ok := r.quoted()
		if !ok {
			return false
		}
		n, ok := t.enum[s]
		r.out = protowire.AppendVarint(r.out, uint64(n))
		return ok
	case protoreflect.DoubleKind:
		s, _ := r.number()
		x, err := strconv.ParseFloat(s, 64)
		r.out = protowire.AppendFixed64(r.out, math.Float64bits(x))
		return err == nil
	case protoreflect.Int32Kind:
		s, whole := r.number()
		n, err := strconv.ParseInt(s, 10, 32)
		r.out = protowire.AppendVarint(r.out, uint64(n))
		return whole && err == nil
	case protoreflect.BoolKind:
		r.space()
		for _, b := range []bool{false, true} {
			if word := strconv.FormatBool(b); strings.HasPrefix(r.text[r.at:], word) {
				r.at += len(word)
				r.out = protowire.AppendVarint(r.out, protowire.EncodeBool(b))
				return true
			}
		}
	}
	return false
}
