package sqlite

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/catchline/catchline/server/store"
)

// lock keeps a second server from the database. The lock is on a file of its own beside it, so that it does not meet SQLite's own
// locks; that file stays, since removing it would let two servers lock two files of the same name.
func (f *file) lock() (*os.File, error) {
	held, err := os.OpenFile(f.path+"-server", os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		if errors.Is(err, fs.ErrPermission) || f.refusesFiles() != nil {
			return nil, f.fault(store.ErrReadOnly, err)
		}
		return nil, f.fault(store.ErrUnavailable, err)
	}
	free, err := lockFile(held)
	switch {
	case err != nil:
		held.Close()
		return nil, f.fault(store.ErrUnavailable, err)
	case !free:
		held.Close()
		return nil, f.fault(store.ErrInUse, nil)
	}
	return held, nil
}

// place remembers which files the store has open: the database and its log.
type place struct {
	paths []string
	files []os.FileInfo
}

// remember notes the files as they are now.
func (p *place) remember(path string) error {
	for _, name := range []string{path, path + "-wal"} {
		info, err := os.Stat(name)
		if err != nil {
			return err
		}
		os.SameFile(info, info) // on Windows this is when the file's number is read
		p.paths, p.files = append(p.paths, name), append(p.files, info)
	}
	return nil
}

// check reports that a file was deleted, moved or replaced, so that what is written into the open one is lost when it is closed.
func (p *place) check() error {
	for i, name := range p.paths {
		now, err := os.Stat(name)
		if err != nil {
			return err
		}
		if !os.SameFile(p.files[i], now) {
			return fmt.Errorf("%s is another file than the one that is open", name)
		}
	}
	return nil
}

// inPlace is check as an error of the store.
func (s *Store) inPlace() error {
	if err := s.place.check(); err != nil {
		return s.fault(store.ErrMoved, err)
	}
	return nil
}
