package api

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"strconv"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/server/store"
)

const (
	defaultPage = 100
	largestPage = 1000
)

// pageSize reads a page size: 0 is the default, too much is clamped, less than 0 is refused.
func pageSize(n int32) (int, error) {
	switch {
	case n < 0:
		return 0, &fault.Error{Field: "page_size", Value: strconv.Itoa(int(n)), Limit: "0 to 1000"}
	case n == 0:
		return defaultPage, nil
	}
	return min(int(n), largestPage), nil
}

// A page token is base64url of: version byte, 8 bytes of the hash of the list that it belongs to, then the cursor. It holds no
// secret: whoever changes it gets another page of the same list, or a refusal.
const tokenVersion = 1

const hashBytes = 8

// listHash binds a token to its list: the message type of the request and all its fields but the page's own. It must never change for
// a list that is out in the world, so it does not depend on protobuf's own encoding.
func listHash(request proto.Message) [hashBytes]byte {
	m := request.ProtoReflect()
	h := sha256.New()
	fmt.Fprintf(h, "%s\n", m.Descriptor().FullName())
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		if f.Name() == "page_size" || f.Name() == "page_token" || !m.Has(f) {
			continue
		}
		fmt.Fprintf(h, "%d %q\n", f.Number(), fmt.Sprint(m.Get(f).Interface()))
	}
	var out [hashBytes]byte
	copy(out[:], h.Sum(nil))
	return out
}

// pageToken is the token of what comes after the cursor.
func pageToken(request proto.Message, after *store.Cursor) string {
	hash := listHash(request)
	b := append([]byte{tokenVersion}, hash[:]...)
	b = binary.AppendUvarint(b, uint64(after.Sequence))
	b = binary.AppendUvarint(b, uint64(len(after.Parent)))
	b = append(b, after.Parent...)
	b = append(b, after.ID...)
	return base64.RawURLEncoding.EncodeToString(b)
}

var (
	errToken      = errors.New("a page token of this server")
	errOtherToken = errors.New("a page token of the same list with the same filters")
)

// cursorOf reads the request's page token; nil without one.
func cursorOf(request proto.Message, token string) (*store.Cursor, error) {
	if token == "" {
		return nil, nil
	}
	c, err := decodeToken(token, listHash(request))
	if err != nil {
		return nil, &fault.Error{Field: "page_token", Value: quoted(token), Limit: err.Error()}
	}
	return c, nil
}

func decodeToken(token string, want [hashBytes]byte) (*store.Cursor, error) {
	b, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(b) < 1+hashBytes || len(b) > 512 || b[0] != tokenVersion {
		return nil, errToken
	}
	if [hashBytes]byte(b[1:1+hashBytes]) != want {
		return nil, errOtherToken
	}
	b = b[1+hashBytes:]
	sequence, n := binary.Uvarint(b)
	if n <= 0 || sequence > 1<<62 {
		return nil, errToken
	}
	b = b[n:]
	parent, n := binary.Uvarint(b)
	if n <= 0 || parent > uint64(len(b)-n) {
		return nil, errToken
	}
	b = b[n:]
	c := &store.Cursor{Sequence: int64(sequence), Parent: string(b[:parent]), ID: string(b[parent:])}
	for _, s := range []string{c.Parent, c.ID} {
		if s != "" && !validID(s) {
			return nil, errToken
		}
	}
	return c, nil
}

const (
	// pageBytes bounds a page of a list: it ends early, with a token for the rest. gRPC's clients take 4 MiB unless they are told
	// otherwise.
	pageBytes = 3_500_000
	// mostAnswerBytes bounds a resource in an answer. One of an earlier version may be larger.
	mostAnswerBytes = 4_100_000
)

// fillPage shows the records of a page as far as they fit an answer, and names those that cannot be shown: the damaged ones, and any
// larger than an answer.
func fillPage[T proto.Message](request proto.Message, page store.Page, show func(store.Record) (T, error)) (all []T, unreadable []string, next string, err error) {
	size, damaged := 0, page.Damaged
	nameUpTo := func(shown int) {
		for ; len(damaged) > 0 && damaged[0].After <= shown; damaged = damaged[1:] {
			unreadable = append(unreadable, nameOf(damaged[0].Key))
		}
	}
	for i, rec := range page.Records {
		t, err := show(rec)
		if errors.Is(err, store.ErrDamaged) { // something that belongs to it
			unreadable = append(unreadable, nameOf(rec.Key))
			continue
		}
		if err != nil {
			return nil, nil, "", err
		}
		n := proto.Size(t)
		if n > mostAnswerBytes {
			unreadable = append(unreadable, nameOf(rec.Key))
			continue
		}
		if size > 0 && size+n > pageBytes {
			return all, unreadable, pageToken(request, page.Records[i-1].Cursor()), nil
		}
		nameUpTo(i)
		size += n + 8 // its tag and length
		all = append(all, t)
	}
	nameUpTo(len(page.Records))
	if page.More {
		next = pageToken(request, page.Last)
	}
	return all, unreadable, next, nil
}

// pageOf reads the page fields that every list request has.
func pageOf(request proto.Message) (size int, after *store.Cursor, err error) {
	m := request.ProtoReflect()
	get := func(name protoreflect.Name) protoreflect.Value { return m.Get(m.Descriptor().Fields().ByName(name)) }
	if size, err = pageSize(int32(get("page_size").Int())); err != nil {
		return 0, nil, err
	}
	after, err = cursorOf(request, get("page_token").String())
	return size, after, err
}
