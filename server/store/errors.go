package store

import (
	"errors"
	"fmt"
	"strings"
)

// About the caller's request.
var (
	ErrNotFound      = errors.New("not found")
	ErrAlreadyExists = errors.New("already exists")
	ErrConflict      = errors.New("changed by someone else meanwhile")
	ErrRequestReused = errors.New("the request id was used for another request")
)

// ErrDamaged is an error of one record, where the database as a whole can be read: see Damaged.
var ErrDamaged = errors.New("the stored record is damaged")

// Damaged says which record it is that is no longer what was written.
type Damaged struct {
	Key   Key
	Cause error // matches ErrDamaged
	After int   // on a page: how many of its Records come before it
}

func (d *Damaged) Error() string { return fmt.Sprintf("%s: %v", d.Key, d.Cause) }

func (d *Damaged) Unwrap() error { return d.Cause }

// DamagedRecords are several of them: what a scan had to leave out, or a check has found.
type DamagedRecords []*Damaged

func (d DamagedRecords) Error() string {
	const most = 100
	all := make([]string, 0, min(len(d), most)+1)
	for _, one := range d[:min(len(d), most)] {
		all = append(all, one.Error())
	}
	if more := len(d) - most; more > 0 {
		all = append(all, fmt.Sprintf("and %d more", more))
	}
	return strings.Join(all, "; ")
}

// Unwrap lets errors.As find the first one.
func (d DamagedRecords) Unwrap() []error {
	all := make([]error, len(d))
	for i, one := range d {
		all[i] = one
	}
	return all
}

// About the storage.
var (
	ErrClosed         = errors.New("the store is closed")
	ErrUnavailable    = errors.New("the storage cannot be reached")                      // a retry can succeed
	ErrUncertain      = errors.New("the storage was lost while the write was under way") // it may or may not be done
	ErrMoved          = errors.New("the database's file was deleted, moved or replaced while it was open")
	ErrInUse          = errors.New("another server is running on this database")
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
