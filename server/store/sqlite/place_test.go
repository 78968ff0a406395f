package sqlite_test

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/sqlite"
)

// TestFileIsGone deletes, moves and replaces what a store has open, and puts it back.
func TestFileIsGone(t *testing.T) {
	for _, suffix := range []string{"", "-wal"} {
		path := made(t, 3)
		s := opened(t, path)
		aside := filepath.Join(t.TempDir(), "aside")
		if err := os.Rename(path+suffix, aside); err != nil {
			t.Fatal(err)
		}
		refused := func(how string) {
			t.Helper()
			_, err := s.Write(t.Context(), store.Write{Ops: []store.Op{store.Insert(tileRecord(3))}})
			faulty(t, err, store.ErrMoved, path)
			faulty(t, s.Ready(t.Context()), store.ErrMoved, path)
			if n := count(t, s); n != 3 {
				t.Errorf("%s%s: %d tiles can be read, want 3", how, suffix, n)
			}
		}
		refused("moved")
		if err := os.WriteFile(path+suffix, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		refused("replaced")
		if err := os.Rename(aside, path+suffix); err != nil {
			t.Fatal(err)
		}
		write(t, s, store.Insert(tileRecord(3)))
		if err := s.Ready(t.Context()); err != nil {
			t.Error(err)
		}
	}
}

// TestAlone opens a file twice.
func TestAlone(t *testing.T) {
	path := made(t, 3)
	first, err := sqlite.Open(t.Context(), path, sqlite.Options{Alone: true})
	if err != nil {
		t.Fatal(err)
	}
	defer first.Close()
	_, err = sqlite.Open(t.Context(), path, sqlite.Options{Alone: true})
	faulty(t, err, store.ErrInUse, path)
	write(t, first, store.Insert(tileRecord(3)))
	beside := opened(t, path)
	if n := count(t, beside); n != 4 {
		t.Errorf("beside it there are %d tiles", n)
	}
	if err := errors.Join(beside.Close(), sqlite.Check(t.Context(), path), sqlite.Backup(t.Context(), path, filepath.Join(t.TempDir(), "b.db"))); err != nil {
		t.Error(err)
	}
	write(t, first, store.Insert(tileRecord(4)))
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	second, err := sqlite.Open(t.Context(), path, sqlite.Options{Alone: true})
	if err != nil {
		t.Fatal(err)
	}
	second.Close()
}
