package store

import (
	"errors"
	"fmt"
)

// About the caller's request.
var (
	ErrNotFound      = errors.New("not found")
	ErrAlreadyExists = errors.New("already exists")
	ErrConflict      = errors.New("changed by someone else meanwhile")
	ErrRequestReused = errors.New("the request id was used for another request")
)

// About the storage.
var (
	ErrClosed         = errors.New("the store is closed")
	ErrUnavailable    = errors.New("the storage cannot be reached")                      // a retry can succeed
	ErrUncertain      = errors.New("the storage was lost while the write was under way") // it may or may not be done
	ErrFull           = errors.New("the disk is full")
	ErrReadOnly       = errors.New("the storage is read-only")
	ErrMissing        = errors.New("there is no database")
	ErrNotOurs        = errors.New("not a database of this program")
	ErrCorrupt        = errors.New("the database is damaged")
	ErrNeedsMigration = errors.New("the database is new or of an older version of this program")
	ErrTooNew         = errors.New("the database is of a newer version of this program")
)

// Fault is an error of the storage: which one, where, how to mend it, and the engine's own words.
type Fault struct {
	Kind  error  // one of the values above
	Where string // the file or the server, without any password
	Mend  string // what the operator can do about it
	Cause error  // may be nil
}

func (f *Fault) Error() string {
	s := fmt.Sprintf("%s: %v", f.Where, f.Kind)
	if f.Cause != nil {
		s += fmt.Sprintf(" (%v)", f.Cause)
	}
	if f.Mend != "" {
		s += ": " + f.Mend
	}
	return s
}

func (f *Fault) Unwrap() []error { return []error{f.Kind, f.Cause} }
