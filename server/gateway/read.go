package gateway

import (
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"

	"google.golang.org/protobuf/reflect/protoreflect"
)

// The JSON of usual requests is read by a layout for each message type, in a third of the time that protojson takes. What is usual is kept
// small: names as the contract has them, numbers as numbers, names of enumerations, texts without escapes. Whatever else comes, right or
// wrong, is left to protojson, which starts anew; so that there is one judge of what a request may look like and what its faults are called.

// plan is how messages of a type are read, by name.
type plan map[string]*target

type target struct {
	field protoreflect.FieldDescriptor
	kind  protoreflect.Kind
	list  bool
	enum  map[string]protoreflect.EnumNumber
	bit   uint64 // of the field, or of the group of alternatives that it belongs to: may be there once
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
			t := &target{field: f, kind: f.Kind(), list: f.IsList(), bit: 1 << i}
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

// reader eats a JSON text from the front.
type reader struct {
	text string
	at   int
}

// readUsual reads a whole text into an empty message, which shares the text, and reports whether it was a usual one. If not, the message holds
// something or other.
func readUsual(text string, m protoreflect.Message) bool {
	r := reader{text: text}
	if !r.message(m, 0) {
		return false
	}
	r.space()
	return r.at == len(r.text)
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
			return s, utf8.ValidString(s)
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

func (r *reader) message(m protoreflect.Message, depth int) bool {
	d := m.Descriptor()
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
		if !r.field(m, t, depth) {
			return false
		}
		if !r.next(',') {
			return r.next('}')
		}
	}
}

func (r *reader) field(m protoreflect.Message, t *target, depth int) bool {
	switch {
	case t.list:
		return r.list(m.Mutable(t.field).List(), t, depth)
	case t.kind == protoreflect.MessageKind:
		return r.message(m.Mutable(t.field).Message(), depth+1)
	}
	v, ok := r.value(t)
	if ok {
		m.Set(t.field, v)
	}
	return ok
}

func (r *reader) list(l protoreflect.List, t *target, depth int) bool {
	if !r.next('[') {
		return false
	}
	if r.next(']') {
		return true
	}
	for {
		if t.kind == protoreflect.MessageKind {
			if !r.message(l.AppendMutable().Message(), depth+1) {
				return false
			}
		} else {
			v, ok := r.value(t)
			if !ok {
				return false
			}
			l.Append(v)
		}
		if !r.next(',') {
			return r.next(']')
		}
	}
}

// value eats what is neither a message nor a list.
func (r *reader) value(t *target) (v protoreflect.Value, ok bool) {
	switch t.kind {
	case protoreflect.StringKind:
		s, ok := r.quoted()
		return protoreflect.ValueOfString(s), ok
	case protoreflect.EnumKind:
		s, ok := r.quoted()
		if !ok {
			return v, false
		}
		n, ok := t.enum[s]
		return protoreflect.ValueOfEnum(n), ok
	case protoreflect.DoubleKind:
		s, _ := r.number()
		x, err := strconv.ParseFloat(s, 64)
		return protoreflect.ValueOfFloat64(x), err == nil
	case protoreflect.Int32Kind:
		s, whole := r.number()
		n, err := strconv.ParseInt(s, 10, 32)
		return protoreflect.ValueOfInt32(int32(n)), whole && err == nil
	case protoreflect.BoolKind:
		r.space()
		for _, b := range []bool{false, true} {
			if word := strconv.FormatBool(b); strings.HasPrefix(r.text[r.at:], word) {
				r.at += len(word)
				return protoreflect.ValueOfBool(b), true
			}
		}
	}
	return v, false
}
