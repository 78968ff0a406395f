package limits

import (
	"bytes"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// What a request takes in memory while it is read and worked on, in bytes, can be many times the bytes that it is sent in: an empty layer is
// two or three of them. These are bounds from above, from what was measured of the contract's messages.
const (
	perByte  = 3   // the text, the binary form that it is turned into, the message's own texts
	perValue = 192 // a message, or an entry of a list, with the room that a growing list wastes
	perSmall = 64  // for each byte of a request that is small enough to be taken for the worst
	small    = 16 << 10
	perPlain = 8 // for each byte of a list of numbers
)

// JSONCost is what a request of the given text may take.
func JSONCost(text []byte) int64 {
	n := int64(len(text))
	if n <= small {
		return perSmall * n
	}
	return perByte*n + perValue*jsonValues(text)
}

// jsonValues counts what starts a value, outside of texts. Of what is no JSON it returns some number.
func jsonValues(text []byte) (n int64) {
	for i := 0; i < len(text); i++ {
		switch text[i] {
		case '{', '[', ',':
			n++
		case '"':
			i += endOfText(text[i+1:]) + 1
		}
	}
	return n
}

// endOfText returns where the quote is that ends a text, or the length if none does.
func endOfText(b []byte) int {
	at := 0
	for {
		i := bytes.IndexByte(b[at:], '"')
		if i < 0 {
			return len(b)
		}
		end, escapes := at+i, 0
		for end-escapes > 0 && b[end-escapes-1] == '\\' {
			escapes++
		}
		if escapes%2 == 0 {
			return end
		}
		at = end + 1
	}
}

// wireCost is what a request in the binary form may take.
func wireCost(b []byte, d protoreflect.MessageDescriptor) int64 {
	n := int64(len(b))
	if n <= small {
		return perSmall * n
	}
	return perByte*n + fieldCost(b, d, 0)
}

// deepest is how deep messages are looked into; the library refuses what is deeper than 10,000, and the contract has nothing deeper than ten.
const deepest = 32

// fieldCost is what the fields of a message take beside its bytes. What is malformed ends it: the library stops reading there too.
func fieldCost(b []byte, d protoreflect.MessageDescriptor, depth int) (cost int64) {
	for len(b) > 0 {
		number, kind, n := protowire.ConsumeTag(b)
		if n < 0 {
			return cost
		}
		size := protowire.ConsumeFieldValue(number, kind, b[n:])
		if size < 0 {
			return cost
		}
		cost += perValue
		if f := d.Fields().ByNumber(number); f != nil && kind == protowire.BytesType {
			value, _ := protowire.ConsumeBytes(b[n:])
			switch {
			case f.Message() != nil && depth < deepest:
				cost += fieldCost(value, f.Message(), depth+1)
			case f.Kind() != protoreflect.StringKind && f.Kind() != protoreflect.BytesKind:
				cost += perPlain * int64(len(value))
			}
		}
		b = b[n+size:]
	}
	return cost
}
