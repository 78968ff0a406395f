// Package access says who may do what: keys of studios and the roles that they carry.
package access

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base32"
	"encoding/base64"
	"errors"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// A secret is the id of its key, a dot, and 32 random bytes as base64url. The id finds the key's record, the bytes prove it. Only
// their SHA-256 is stored: they are random, so there is nothing for a slower hash to protect.
const secretBytes = 32

// idBytes are 96 random bits, as ids of keys have to be unique over all studios.
const idBytes = 12

var idEncoding = base32.NewEncoding("0123456789abcdefghjkmnpqrstvwxyz").WithPadding(base32.NoPadding)

// Hash is a SHA-256: where keys are stored, of a secret's random bytes; where they are looked up, of the whole secret.
type Hash [sha256.Size]byte

// hashOf is by what a whole secret is looked up.
func hashOf(secret string) Hash { return sha256.Sum256([]byte(secret)) }

// New makes the id and the secret of a key, and the hash to store of it.
func New() (id, secret string, hash Hash) {
	var b [idBytes + secretBytes]byte
	rand.Read(b[:])
	id = idEncoding.EncodeToString(b[:idBytes])
	return id, id + "." + base64.RawURLEncoding.EncodeToString(b[idBytes:]), sha256.Sum256(b[idBytes:])
}

// ErrSecret says that a text is no secret of this server's making. It does not hold the text.
var ErrSecret = errors.New("not a key of this server")

// Parse takes a secret apart into the id of its key and the hash to compare.
func Parse(secret string) (id string, hash Hash, err error) {
	id, proof, _ := strings.Cut(secret, ".")
	b, err := base64.RawURLEncoding.Strict().DecodeString(proof)
	if err != nil || len(b) != secretBytes {
		return "", Hash{}, ErrSecret
	}
	if raw, err := idEncoding.DecodeString(id); err != nil || len(raw) != idBytes || idEncoding.EncodeToString(raw) != id {
		return "", Hash{}, ErrSecret
	}
	return id, sha256.Sum256(b), nil
}

// Record is what is stored of a key, under its id with the kind store.KindKey.
type Record struct {
	Hash Hash
	Key  *pb.Key // display name, role and expiry
}

// Marshal writes the record's body: the hash, then the key.
func (r *Record) Marshal() ([]byte, error) {
	return proto.MarshalOptions{Deterministic: true}.MarshalAppend(r.Hash[:], r.Key)
}

// Unmarshal reads what Marshal has written.
func (r *Record) Unmarshal(body []byte) error {
	if len(body) < len(r.Hash) {
		return errors.New("access: a key's record is too short")
	}
	r.Hash = Hash(body[:len(r.Hash)])
	r.Key = &pb.Key{}
	return proto.UnmarshalOptions{DiscardUnknown: true}.Unmarshal(body[len(r.Hash):], r.Key)
}

// Proves reports whether the hash is that of the key's secret, in a time that does not depend on where they differ.
func (r *Record) Proves(hash Hash) bool {
	return subtle.ConstantTimeCompare(r.Hash[:], hash[:]) == 1
}

// Expired reports whether the key has stopped working.
func (r *Record) Expired(now time.Time) bool {
	return r.Key.ExpireTime != nil && !now.Before(r.Key.ExpireTime.AsTime())
}
