package main

import (
	"errors"
	"iter"
	"strings"

	"github.com/catchline/catchline/client"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// studioName is the resource name of the studio that is worked in.
func (a *app) studioName() string { return full("studios/", a.Connection.InStudio) }

// full puts a prefix before an id and leaves a full name alone.
func full(prefix, id string) string {
	if strings.HasPrefix(id, "studios/") {
		return id
	}
	return prefix + id
}

// idOf is the last part of a resource name.
func idOf(name string) string { return name[strings.LastIndex(name, "/")+1:] }

// shortOf is what a thing goes by within its studio: its id, or GLAZE/LOT.
func shortOf(name string) string {
	parts := strings.Split(name, "/")
	if len(parts) == 6 && parts[4] == "lots" {
		return parts[3] + "/" + parts[5]
	}
	return parts[len(parts)-1]
}

// isID reports whether a text can be an id; else it is what people call a thing.
func isID(s string) bool {
	for _, r := range s {
		if !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-') {
			return false
		}
	}
	return s != ""
}

// named finds the resource name of a thing in a collection, such as glazes.
func (a *app) named(collection, called string) (string, error) {
	if called == "" || strings.HasPrefix(called, "studios/") {
		return called, nil
	}
	if isID(called) {
		return a.studioName() + "/" + collection + "/" + called, nil
	}
	k := kindOf(collection)
	if k == nil {
		return a.studioName() + "/" + collection + "/" + called, nil
	}
	c, err := a.client()
	if err != nil {
		return "", err
	}
	return byDisplayName(k, called, k.list(a, c, a.studioName()))
}

// byDisplayName finds the one thing that people call so, without regard to case.
func byDisplayName(k *kind, called string, all iter.Seq2[proto.Message, error]) (string, error) {
	var found []string
	for m, err := range all {
		if unreadable := (*client.UnreadableError)(nil); errors.As(err, &unreadable) {
			break // after all that can be read
		}
		if err != nil {
			return "", err
		}
		if n := textField(m, "name"); n != "" && strings.EqualFold(textField(m, "display_name"), strings.TrimSpace(called)) {
			found = append(found, n)
		}
	}
	switch len(found) {
	case 0:
		return "", status.Errorf(codes.NotFound, "There is no %s that is called %q.", k.noun, called)
	case 1:
		return found[0], nil
	}
	return "", faultf("Several are called %q: %s; give the id of one.", called, strings.Join(found, ", "))
}

// lotNamed finds GLAZE/LOT.
func (a *app) lotNamed(called string) (string, error) {
	if strings.HasPrefix(called, "studios/") {
		return called, nil
	}
	glaze, lot, ok := strings.Cut(called, "/")
	if !ok {
		return "", fieldFault("lot", called, "GLAZE/LOT, such as lintel-amber/bucket-2")
	}
	parent, err := a.named("glazes", glaze)
	if err != nil {
		return "", err
	}
	return parent + "/lots/" + lot, nil
}

// collections of the fields that hold names, so that files may hold ids.
var fieldCollections = map[protoreflect.Name]string{
	"glaze": "glazes", "body": "bodies", "firing": "firings", "firings": "firings", "ware": "wares", "sheet": "sheets", "calibration": "calibrations",
}

// qualify turns the ids that a message from a file holds into names of the studio that is worked in.
func (a *app) qualify(m protoreflect.Message) error {
	var failure error
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsMap():
		case f.Message() != nil && f.IsList():
			for i := range v.List().Len() {
				if failure = a.qualify(v.List().Get(i).Message()); failure != nil {
					return false
				}
			}
		case f.Message() != nil:
			failure = a.qualify(v.Message())
		case f.Name() == "lot" && !strings.HasPrefix(v.String(), "studios/"):
			// After the glaze, whose name it needs; see below.
		case fieldCollections[f.Name()] != "" && f.Kind() == protoreflect.StringKind && f.IsList():
			for i := range v.List().Len() {
				var name string
				if name, failure = a.named(fieldCollections[f.Name()], v.List().Get(i).String()); failure != nil {
					return false
				}
				v.List().Set(i, protoreflect.ValueOfString(name))
			}
		case fieldCollections[f.Name()] != "" && f.Kind() == protoreflect.StringKind:
			var name string
			if name, failure = a.named(fieldCollections[f.Name()], v.String()); failure == nil {
				m.Set(f, protoreflect.ValueOfString(name))
			}
		}
		return failure == nil
	})
	if failure != nil {
		return failure
	}
	fields := m.Descriptor().Fields()
	glaze, lot := fields.ByName("glaze"), fields.ByName("lot")
	if glaze == nil || lot == nil {
		return nil
	}
	if l := m.Get(lot).String(); l != "" && !strings.HasPrefix(l, "studios/") {
		m.Set(lot, protoreflect.ValueOfString(m.Get(glaze).String()+"/lots/"+idOf(l)))
	}
	return nil
}

// textField gives a field of text by name, empty where there is none.
func textField(m proto.Message, name protoreflect.Name) string {
	f := m.ProtoReflect().Descriptor().Fields().ByName(name)
	if f == nil || f.Kind() != protoreflect.StringKind {
		return ""
	}
	return m.ProtoReflect().Get(f).String()
}
