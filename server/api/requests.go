package api

import (
	"crypto/sha256"
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/server/store"
)

// encode writes a message in the one way that the same message always has.
func encode(m proto.Message) ([]byte, error) {
	return proto.MarshalOptions{Deterministic: true}.Marshal(m)
}

// requestOf makes the write of a request safe to repeat, if the caller gave it an id.
func requestOf(request proto.Message, id string) (store.Request, error) {
	if id == "" {
		return store.Request{}, nil
	}
	body, err := encode(request)
	if err != nil {
		return store.Request{}, err
	}
	h := sha256.New()
	fmt.Fprintf(h, "%s\n", request.ProtoReflect().Descriptor().FullName())
	h.Write(body)
	return store.Request{ID: id, Hash: h.Sum(nil)}, nil
}

// etagOf is the etag of a record's revision.
func etagOf(revision int64) string { return strconv.FormatInt(revision, 10) }

// isOutput reports whether the server fills a field and requests cannot.
func isOutput(f protoreflect.FieldDescriptor) bool {
	return limits[limitKey(f.FullName())].output || f.Name() == "etag"
}

// clearOutput removes from a resource what only the server says.
func clearOutput(m protoreflect.Message) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		if f := fields.Get(i); isOutput(f) {
			m.Clear(f)
		}
	}
}

// change puts into the stored resource what an update's mask names, or without a mask all that the update holds. Lists and
// maps are replaced whole; what only the server says stays as it is.
func change(stored, update proto.Message, mask *fieldmaskpb.FieldMask) error {
	to, from := stored.ProtoReflect(), update.ProtoReflect()
	if len(mask.GetPaths()) == 0 {
		overlay(to, from)
		return nil
	}
	var faults FieldErrors
	for i, path := range mask.GetPaths() {
		if !changePath(to, from, strings.Split(path, ".")) {
			faults.add(&fault.Error{
				Field: fmt.Sprintf("update_mask.paths[%d]", i),
				Value: quoted(path),
				Limit: "a field of a " + words(string(to.Descriptor().Name())) + ", such as " + someFields(to.Descriptor()),
			})
		}
	}
	return faults.or()
}

func overlay(to, from protoreflect.Message) {
	from.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case isOutput(f):
		case f.Message() != nil && !f.IsList() && !f.IsMap() && v.Message().Descriptor().FullName() != "google.protobuf.Timestamp":
			overlay(to.Mutable(f).Message(), v.Message())
		default:
			to.Set(f, v)
		}
		return true
	})
}

// changePath sets the field at the path, or clears it where the update has none. False: there is no such field.
func changePath(to, from protoreflect.Message, path []string) bool {
	f := to.Descriptor().Fields().ByName(protoreflect.Name(path[0]))
	if f == nil {
		return false
	}
	if len(path) > 1 {
		if f.Message() == nil || f.IsList() || f.IsMap() {
			return false
		}
		if isOutput(f) {
			return true
		}
		if !from.Has(f) && !to.Has(f) {
			return f.Message().Fields().ByName(protoreflect.Name(path[1])) != nil
		}
		return changePath(to.Mutable(f).Message(), from.Get(f).Message(), path[1:])
	}
	switch {
	case isOutput(f):
	case from.Has(f):
		to.Set(f, from.Get(f))
	default:
		to.Clear(f)
	}
	return true
}

func someFields(d protoreflect.MessageDescriptor) string {
	var all []string
	for i := range d.Fields().Len() {
		if f := d.Fields().Get(i); !isOutput(f) {
			all = append(all, string(f.Name()))
		}
	}
	return strings.Join(all, ", ")
}
