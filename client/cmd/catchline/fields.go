package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// longestList is how many members of a list of messages are written for people, such as the points of a curve.
const longestList = 12

// sayFields writes the fields of a message that are set, a line each, in the order of the contract.
func sayFields(p *printer, m protoreflect.Message, indent string) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		if !m.Has(f) {
			continue
		}
		name := strings.ReplaceAll(string(f.Name()), "_", " ")
		v := m.Get(f)
		switch {
		case f.IsMap():
			p.line("%s%s", indent, name)
			sayMap(p, f, v.Map(), indent+"  ")
		case f.IsList():
			sayList(p, f, name, v.List(), indent)
		case f.Message() != nil:
			if t, ok := v.Message().Interface().(*timestamppb.Timestamp); ok {
				p.line("%s%s: %s", indent, name, t.AsTime().Format("2006-01-02 15:04:05 UTC"))
				continue
			}
			p.line("%s%s", indent, name)
			sayFields(p, v.Message(), indent+"  ")
		default:
			p.line("%s%s: %s", indent, name, sayValue(f, v))
		}
	}
}

// sayMap writes amounts by name, the largest first.
func sayMap(p *printer, f protoreflect.FieldDescriptor, m protoreflect.Map, indent string) {
	type entry struct {
		key   string
		value protoreflect.Value
	}
	var all []entry
	m.Range(func(k protoreflect.MapKey, v protoreflect.Value) bool {
		all = append(all, entry{k.String(), v})
		return true
	})
	numbers := f.MapValue().Kind() == protoreflect.DoubleKind
	slices.SortFunc(all, func(a, b entry) int {
		if numbers && a.value.Float() != b.value.Float() {
			if a.value.Float() > b.value.Float() {
				return -1
			}
			return 1
		}
		return strings.Compare(a.key, b.key)
	})
	for _, e := range all {
		p.line("%s%s: %s", indent, e.key, sayValue(f.MapValue(), e.value))
	}
}

func sayList(p *printer, f protoreflect.FieldDescriptor, name string, l protoreflect.List, indent string) {
	if f.Message() == nil {
		for i := range l.Len() {
			p.line("%s%s: %s", indent, name, sayValue(f, l.Get(i)))
		}
		return
	}
	for i := range l.Len() {
		if i == longestList {
			p.line("%s%s: %d more", indent, name, l.Len()-i)
			return
		}
		p.line("%s%s %d", indent, name, i+1)
		sayFields(p, l.Get(i).Message(), indent+"  ")
	}
}

func sayValue(f protoreflect.FieldDescriptor, v protoreflect.Value) string {
	switch f.Kind() {
	case protoreflect.EnumKind:
		value := f.Enum().Values().ByNumber(v.Enum())
		if value == nil {
			return strconv.Itoa(int(v.Enum()))
		}
		// RISK_HIGH of the enumeration Risk is high.
		prefix := screaming(string(f.Enum().Name())) + "_"
		return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(string(value.Name()), prefix)), "_", " ")
	case protoreflect.DoubleKind, protoreflect.FloatKind:
		return strconv.FormatFloat(v.Float(), 'g', 6, 64)
	case protoreflect.BoolKind:
		return yesNo(v.Bool())
	case protoreflect.BytesKind:
		return fmt.Sprintf("%d bytes", len(v.Bytes()))
	}
	return v.String()
}

// screaming turns AtmosphereKind into ATMOSPHERE_KIND.
func screaming(s string) string {
	var b strings.Builder
	for i, r := range s {
		if i > 0 && r >= 'A' && r <= 'Z' {
			b.WriteByte('_')
		}
		b.WriteRune(r)
	}
	return strings.ToUpper(b.String())
}
