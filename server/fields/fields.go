// Package fields reads generated messages where their fields lie in Go's structs, which is found out once for a type. The protocol library's own
// reflection serves messages of every making and takes ten times as long.
package fields

import (
	"reflect"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Field is where a field of a type of messages lies.
type Field struct {
	protoreflect.FieldDescriptor
	index       int          // of the struct's field; for an alternative that of its group
	alternative reflect.Type // that holds the field; nil: it is not one of a group
	presence    bool
}

// Group is where a group of alternatives lies.
type Group struct {
	protoreflect.OneofDescriptor
	index int
}

// Of returns fields and groups of the type of a generated message, in the order of the contract.
func Of(m proto.Message) (all []Field, groups []Group) {
	generated := m.ProtoReflect().Type()
	d, t := generated.Descriptor(), reflect.TypeOf(m).Elem()
	byNumber, byGroup := indices(t)
	for i := range d.Fields().Len() {
		f := Field{FieldDescriptor: d.Fields().Get(i)}
		f.presence = f.HasPresence()
		if group := f.ContainingOneof(); group == nil || group.IsSynthetic() {
			f.index = byNumber[f.Number()]
		} else {
			f.index = byGroup[group.Name()]
			chosen := generated.New()
			chosen.Set(f.FieldDescriptor, chosen.NewField(f.FieldDescriptor))
			f.alternative = reflect.ValueOf(chosen.Interface()).Elem().Field(f.index).Elem().Type()
		}
		all = append(all, f)
	}
	for i := range d.Oneofs().Len() {
		if g := d.Oneofs().Get(i); !g.IsSynthetic() {
			groups = append(groups, Group{g, byGroup[g.Name()]})
		}
	}
	return all, groups
}

// indices finds fields by the tags that the generator writes to them: protobuf:"bytes,4,opt,name=glaze,proto3" and protobuf_oneof:"amount".
func indices(t reflect.Type) (byNumber map[protoreflect.FieldNumber]int, byGroup map[protoreflect.Name]int) {
	byNumber, byGroup = map[protoreflect.FieldNumber]int{}, map[protoreflect.Name]int{}
	for i := range t.NumField() {
		tag := t.Field(i).Tag
		if group, ok := tag.Lookup("protobuf_oneof"); ok {
			byGroup[protoreflect.Name(group)] = i
		}
		if parts := strings.Split(tag.Get("protobuf"), ","); len(parts) > 1 {
			if n, err := strconv.ParseInt(parts[1], 10, 32); err == nil {
				byNumber[protoreflect.FieldNumber(n)] = i
			}
		}
	}
	return byNumber, byGroup
}

// Unknown returns which field of a generated message's struct holds what the contract does not have. It is not exported: only its length can
// be read where it lies.
func Unknown(m proto.Message) int {
	f, ok := reflect.TypeOf(m).Elem().FieldByName("unknownFields")
	if !ok {
		panic("fields: " + string(m.ProtoReflect().Descriptor().FullName()) + " is not as the generator makes messages")
	}
	return f.Index[0]
}

// In returns the field's value in a message's struct, and whether it is there, which for one without presence means that it is neither zero nor
// empty. The value of one with presence that is not there means nothing.
func (f *Field) In(message reflect.Value) (v reflect.Value, there bool) {
	v = message.Field(f.index)
	if f.alternative != nil {
		held := v.Elem()
		if !held.IsValid() || held.Type() != f.alternative || held.IsNil() {
			return v, false
		}
		return held.Elem().Field(0), true
	}
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() || f.Message() != nil {
			return v, !v.IsNil()
		}
		return v.Elem(), true
	case reflect.Slice:
		if f.presence {
			return v, !v.IsNil()
		}
		return v, v.Len() > 0
	case reflect.Map:
		return v, v.Len() > 0
	}
	return v, !v.IsZero()
}

// Chosen reports whether one of the group's alternatives is there.
func (g *Group) Chosen(message reflect.Value) bool {
	held := message.Field(g.index).Elem()
	return held.IsValid() && !held.IsNil()
}

// Struct returns the struct of a message, an empty one for nil.
func Struct(message reflect.Value) reflect.Value {
	if message.IsNil() {
		return reflect.Zero(message.Type().Elem())
	}
	return message.Elem()
}
