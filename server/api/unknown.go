package api

import (
	"slices"
	"strconv"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/catchline/catchline/model/fault"
)

// Fields whose numbers this version's contract does not have come in the binary form only. In a request they are refused: kept, they would
// fill the store with what nobody can see, and dropped, a newer client would believe that they count. In a stored record they are what
// a newer server has written, so an update keeps them; no answer shows them.

// unknown looks at the fields of a message that the contract does not have. Numbers that it has reserved once meant something, and go.
func (c *checker) unknown(m protoreflect.Message) {
	strange := slices.DeleteFunc(unknownNumbers(m), func(n protowire.Number) bool { return m.Descriptor().ReservedRanges().Has(n) })
	for _, n := range strange {
		back := c.enter(protoreflect.Name(strconv.Itoa(int(n))))
		c.fault("the number of an unknown field", "the fields of this version's contract")
		c.path = c.path[:back]
	}
	if len(strange) == 0 {
		m.SetUnknown(nil)
	}
}

// unknownNumbers lists the numbers of a message's unknown fields, each once, in the order in which they came.
func unknownNumbers(m protoreflect.Message) (all []protowire.Number) {
	seen := map[protowire.Number]bool{}
	for raw := m.GetUnknown(); len(raw) > 0; {
		n, _, size := protowire.ConsumeField(raw)
		if size < 0 {
			return all // the library takes nothing like that
		}
		if !seen[n] && len(all) <= mostListed {
			seen[n] = true
			all = append(all, n)
		}
		raw = raw[size:]
	}
	return all
}

// unknownIn looks at a message of which nothing else is looked at, and at all in it.
func (c *checker) unknownIn(m protoreflect.Message) {
	if len(m.GetUnknown()) > 0 {
		c.unknown(m)
	}
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		if f.Message() == nil || f.IsMap() { // no map of the contract holds messages
			return true
		}
		back := c.enter(f.Name())
		if f.IsList() {
			for i := range v.List().Len() {
				item := c.item(i)
				c.unknownIn(v.List().Get(i).Message())
				c.path = c.path[:item]
			}
		} else {
			c.unknownIn(v.Message())
		}
		c.path = c.path[:back]
		return true
	})
}

// keepUnknown gives a changed resource the unknown fields that its stored form has: those of the messages that both have, and those of the
// items of a list that are otherwise as they were.
func keepUnknown(changed, stored protoreflect.Message) {
	if len(stored.GetUnknown()) > 0 {
		changed.SetUnknown(stored.GetUnknown())
	}
	stored.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.Message() == nil || f.IsMap() || !changed.Has(f):
		case f.IsList():
			now, then := changed.Mutable(f).List(), v.List()
			for i := range min(now.Len(), then.Len()) {
				if sameKnown(now.Get(i).Message(), then.Get(i).Message()) {
					keepUnknown(now.Get(i).Message(), then.Get(i).Message())
				}
			}
		default:
			keepUnknown(changed.Mutable(f).Message(), v.Message())
		}
		return true
	})
}

// sameKnown reports whether two messages are the same but for unknown fields.
func sameKnown(a, b protoreflect.Message) bool {
	known := func(m protoreflect.Message) proto.Message {
		c := proto.Clone(m.Interface())
		dropUnknown(c.ProtoReflect())
		return c
	}
	return proto.Equal(known(a), known(b))
}

// dropUnknown takes the unknown fields from a message and all in it.
func dropUnknown(m protoreflect.Message) {
	m.SetUnknown(nil)
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.Message() == nil || f.IsMap():
		case f.IsList():
			for i := range v.List().Len() {
				dropUnknown(v.List().Get(i).Message())
			}
		default:
			dropUnknown(v.Message())
		}
		return true
	})
}

// known reads messages without their unknown fields: for answers.
var known = proto.UnmarshalOptions{DiscardUnknown: true}

// mostRecordBytes bounds a stored resource, so that an answer with one fits what gRPC takes by default, which is 4 MiB, with what the server
// fills in.
const mostRecordBytes = 3_000_000

// checkSize refuses a resource that is too large to be stored.
func checkSize(field string, body []byte) error {
	if len(body) > mostRecordBytes {
		return &fault.Error{Field: field, Value: strconv.Itoa(len(body)) + " bytes as it is stored", Limit: "at most " + strconv.Itoa(mostRecordBytes) + " bytes"}
	}
	return nil
}
