// Package store keeps what studios know: records of opaque bytes with an envelope that can be found,
// ordered, filtered and watched. It is the interface and its contract; the engines are the packages
// sqlite and postgres, and package storetest holds every engine to each sentence written here.
//
// All is keyed by studio: no read or write but [Reader.FindKey], and the making and deleting of a
// studio, touches two of them, so that a distributed database can shard by that column.
//
// A studio exists while its record of [KindStudio] in [System] does: writing into one that does not
// exist is [ErrNotFound], and deleting that record deletes all that the studio has. What one record
// says about another (a tile about its glazes) is the caller's matter.
//
// Every method may be called from several goroutines, obeys its context, and after Close answers
// [ErrClosed]. Errors match the values in errors.go by errors.Is; wrong arguments are
// *fault.Error.
package store

import (
	"context"
	"time"
)

// Store is a whole engine.
type Store interface {
	Reader
	Writer
	Watcher

	// Ready reports whether the storage answers, takes writes, and has the schema that this program
	// was built for: nil, ErrNeedsMigration, ErrTooNew, or whatever stood in the way, at the latest
	// when the context ends. After a write that the storage has failed, it has to take one first.
	Ready(ctx context.Context) error

	// Close finishes the writes that have been accepted, then frees everything. Closing again
	// does nothing.
	Close() error
}

// Reader finds records. What it returns belongs to the caller.
type Reader interface {
	// Get returns the record, or ErrNotFound, which is also the answer for an unknown studio. Here and in what follows a record
	// that is no longer what was written is a *Damaged that names it; it does not keep others from being read.
	Get(ctx context.Context, key Key) (Record, error)

	// List returns one page. No match is an empty page, not an error. A record that is there during
	// the whole of a walk through the pages is met exactly once, whatever is written meanwhile. Damaged records have their
	// places in the order like others.
	List(ctx context.Context, q Query) (Page, error)

	// Scan calls each with every record of a kind, whatever the parent, in order of Sequence, all
	// as they were at one moment. An error of each ends the scan and is returned. Damaged records are left
	// out, and named after all others by the error DamagedRecords. Should they be changed just while they are being named, the error
	// is ErrConflict.
	Scan(ctx context.Context, studio string, kind Kind, each func(Record) error) error

	// FindKey returns the record of KindKey that has this ID, in whichever studio, or ErrNotFound.
	// It relies on the caller's IDs of keys being unique over all studios, as random ones are.
	FindKey(ctx context.Context, id string) (Record, error)

	// Versions returns for each kind ever written in the studio the Sequence or Revision of its
	// latest write, deletions included, and the largest of all under the empty kind. It costs one
	// short read, and tells whether a cached record may have changed, on whichever server. They
	// only ever grow, also when a studio is deleted and made again. A studio that does not exist
	// is ErrNotFound.
	Versions(ctx context.Context, studio string) (map[Kind]int64, error)

	// Answered returns the answer that an earlier write in the studio with this request has got,
	// ErrNotFound if there is none, or ErrRequestReused.
	Answered(ctx context.Context, studio string, request Request) (Answer, error)
}

// Order is the order of a list.
type Order int

const (
	ByID        Order = iota // by Parent, then ID, byte by byte
	OldestFirst              // by Sequence
	NewestFirst              // by Sequence, backwards
)

// Query says which records to list.
type Query struct {
	Studio    string
	Kind      Kind
	Parent    string   // only the records of this parent; empty: only those without one
	AnyParent bool     // whatever the parent; Parent must then be empty
	Labels    []string // only records that have all of these; costs a look at each record on the way
	Order     Order
	After     *Cursor // only what comes after this place; nil: from the start
	Limit     int     // at most so many records, 1 to MaxPage
	Bytes     int     // a page ends where the stored forms of its records would be more, but never before its first; 0: no matter
}

// MaxPage is the largest number of records in a page.
const MaxPage = 10_000

// Cursor is a place in a list. It need not be the place of a record that still exists.
type Cursor struct {
	Parent, ID string // used by ByID
	Sequence   int64  // used by OldestFirst and NewestFirst
}

// Cursor returns the place of the record, in whichever order.
func (r *Record) Cursor() *Cursor {
	return &Cursor{Parent: r.Parent, ID: r.ID, Sequence: r.Sequence}
}

// Page is a part of a list.
type Page struct {
	Records []Record
	Damaged DamagedRecords // those among the Limit that cannot be read
	Last    *Cursor        // the place of the last one, damaged or not; nil if there is none
	More    bool           // whether there is at least one more record after these
}

// Writer changes records.
type Writer interface {
	// Write does all of the write or nothing of it. When it returns nil the outcome survives the
	// death of the process and of the machine's power. Errors: ErrNotFound (the studio, or a record
	// to replace or remove), ErrAlreadyExists, ErrConflict (a revision that is no longer the
	// latest), ErrRequestReused, and those of the storage. An error says that nothing was done,
	// with two exceptions: ErrUncertain, and the end of the context. After these, only the same
	// write with the same request tells.
	Write(ctx context.Context, w Write) (Answer, error)
}

// Write is what is to be done as one. Every Op is for the same studio.
type Write struct {
	Request Request
	Ops     []Op
}

// Request makes a write safe to repeat. A write whose request ID was used in this studio within the
// last RequestLifetime changes nothing: with the same hash it gets the first answer once more, with
// another one ErrRequestReused. This holds at once, across restarts and on every server. A write that
// failed leaves no trace and may be repeated with its ID. The zero Request promises nothing.
type Request struct {
	// ID is made by the client, as good as at random. IDs that grow with time, such as UUIDs of
	// version 7, are written faster, since neighbours go to the same page of the index.
	ID   string
	Hash []byte // of all that was asked for, the method included
}

// RequestLifetime is how long the answers to requests are kept.
const RequestLifetime = 30 * 24 * time.Hour

// Answer is what a write returns.
type Answer struct {
	// Records are the records as this write has left them, in the order of its Ops. For a record
	// removed it is the key alone.
	Records []Record
	// Replayed says that this is the answer to an earlier write with the same request.
	Replayed bool
}

// Action is what an Op does.
type Action int

const (
	ActionInsert Action = iota + 1
	ActionReplace
	ActionRemove
)

// Op is one step of a write. Make it by Insert, Replace or Remove.
type Op struct {
	Action Action
	Record Record
}

// Insert makes a new record, of the key, labels and body given. The ID of a numbered kind must be
// empty. A record of this key is ErrAlreadyExists.
func Insert(r Record) Op { return Op{ActionInsert, r} }

// Replace puts new labels and a new body in place of the old ones. If r.Revision is not zero, it has to
// be the record's latest, else ErrConflict. A damaged record cannot be replaced.
func Replace(r Record) Op { return Op{ActionReplace, r} }

// Remove deletes a record. If revision is not zero, it has to be the record's latest, else ErrConflict. A damaged record
// can be removed only without a revision.
// Removing the record of a studio deletes all that the studio has; such a write has only this one Op.
func Remove(key Key, revision int64) Op {
	return Op{ActionRemove, Record{Key: key, Revision: revision}}
}

// Watcher tells of changes.
type Watcher interface {
	// Changes tells what was written, on whichever server, soon after it was. It is a hint: what
	// happens while the connection to the database is down is told only as AnyStudio once it is
	// back, and several changes of a studio may be told as one. Who must not be wrong asks Versions
	// from time to time. The channel is closed when the context or the store is; a slow reader
	// delays and loses nothing, and holds nobody up.
	Changes(ctx context.Context) <-chan Change
}

// AnyStudio stands for every studio in a Change.
const AnyStudio = ""

// Change says that records of a kind were written in a studio.
type Change struct {
	Studio string // AnyStudio: whatever is cached is to be checked
	Kind   Kind   // empty: any kind
}
