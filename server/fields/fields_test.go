package fields

import (
	"reflect"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// values are some for a field: what it holds when it is made, and others where there are.
func values(m protoreflect.Message, f protoreflect.FieldDescriptor) []protoreflect.Value {
	empty := m.NewField(f)
	switch {
	case f.IsList():
		filled := m.NewField(f)
		filled.List().Append(filled.List().NewElement())
		return []protoreflect.Value{empty, filled}
	case f.IsMap():
		filled := m.NewField(f)
		filled.Map().Set(protoreflect.ValueOfString("key").MapKey(), filled.Map().NewValue())
		return []protoreflect.Value{empty, filled}
	}
	switch f.Kind() {
	case protoreflect.StringKind:
		return []protoreflect.Value{empty, protoreflect.ValueOfString("text")}
	case protoreflect.BytesKind:
		return []protoreflect.Value{empty, protoreflect.ValueOfBytes([]byte{1})}
	case protoreflect.DoubleKind:
		return []protoreflect.Value{empty, protoreflect.ValueOfFloat64(1.5)}
	case protoreflect.FloatKind:
		return []protoreflect.Value{empty, protoreflect.ValueOfFloat32(1.5)}
	case protoreflect.Int32Kind:
		return []protoreflect.Value{empty, protoreflect.ValueOfInt32(-3)}
	case protoreflect.Int64Kind:
		return []protoreflect.Value{empty, protoreflect.ValueOfInt64(-3)}
	case protoreflect.BoolKind:
		return []protoreflect.Value{empty, protoreflect.ValueOfBool(true)}
	case protoreflect.EnumKind:
		return []protoreflect.Value{empty, protoreflect.ValueOfEnum(1)}
	}
	return []protoreflect.Value{empty}
}

// as gives what was read in the terms of the protocol library.
func as(v reflect.Value, f protoreflect.FieldDescriptor) any {
	switch {
	case f.IsList(), f.IsMap():
		return v.Len()
	case f.Message() != nil:
		return v.Interface().(proto.Message).ProtoReflect()
	case f.Enum() != nil:
		return protoreflect.EnumNumber(v.Int())
	}
	return v.Interface()
}

func want(v protoreflect.Value, f protoreflect.FieldDescriptor) any {
	switch {
	case f.IsList():
		return v.List().Len()
	case f.IsMap():
		return v.Map().Len()
	}
	return v.Interface()
}

// Every field and group of the contract reads as the protocol library's own reflection reads it.
func TestFieldsAreWhatTheLibraryReads(t *testing.T) {
	tried := 0
	protoregistry.GlobalTypes.RangeMessages(func(mt protoreflect.MessageType) bool {
		if mt.Descriptor().ParentFile().Package() != pb.File_catchline_v1_studio_proto.Package() {
			return true
		}
		all, groups := Of(mt.New().Interface())
		compare := func(m protoreflect.Message) {
			t.Helper()
			read := reflect.ValueOf(m.Interface()).Elem()
			for i := range all {
				f := &all[i]
				v, there := f.In(read)
				if there != m.Has(f.FieldDescriptor) {
					t.Errorf("%s of %v: there %t, want %t", f.FullName(), m.Interface(), there, m.Has(f.FieldDescriptor))
				}
				if there || !f.HasPresence() {
					if got, want := as(v, f), want(m.Get(f.FieldDescriptor), f); !reflect.DeepEqual(got, want) {
						t.Errorf("%s of %v: %v, want %v", f.FullName(), m.Interface(), got, want)
					}
				}
			}
			for i := range groups {
				if got, want := groups[i].Chosen(read), m.WhichOneof(groups[i].OneofDescriptor) != nil; got != want {
					t.Errorf("%s of %v: chosen %t, want %t", groups[i].FullName(), m.Interface(), got, want)
				}
			}
		}
		compare(mt.New())
		for i := range all {
			for _, v := range values(mt.New(), all[i].FieldDescriptor) {
				m := mt.New()
				m.Set(all[i].FieldDescriptor, v)
				compare(m)
				tried++
			}
		}
		return true
	})
	if tried < 500 {
		t.Errorf("only %d tried", tried)
	}
}

// What the wire cannot bring and a caller in the same process can.
func TestNilAlternativesAndMessages(t *testing.T) {
	all, groups := Of(&pb.Placement{})
	for _, m := range []*pb.Placement{{Wall: (*pb.Placement_Ware)(nil)}, {Wall: &pb.Placement_Shape{}}} {
		r, v := m.ProtoReflect(), reflect.ValueOf(m).Elem()
		for i := range all {
			if _, there := all[i].In(v); there != r.Has(all[i].FieldDescriptor) {
				t.Errorf("%s of %#v: there %t", all[i].FullName(), m.Wall, there)
			}
		}
		if got, want := groups[0].Chosen(v), r.WhichOneof(groups[0].OneofDescriptor) != nil; got != want {
			t.Errorf("%#v: chosen %t, want %t", m.Wall, got, want)
		}
	}
	if s := Struct(reflect.ValueOf((*pb.Placement)(nil))); s.Kind() != reflect.Struct || !s.IsZero() {
		t.Errorf("no message is %v", s)
	}
}
