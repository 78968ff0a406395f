package sqlite_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/sqlite"
)

// made returns the path of a closed database with a studio "s" and n tiles.
func made(t *testing.T, n int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "catch line?#%41.db") // a path is a path, not a URL
	if err := sqlite.Create(t.Context(), path); err != nil {
		t.Fatal(err)
	}
	s := opened(t, path)
	ops := []store.Op{}
	for i := range n {
		ops = append(ops, store.Insert(tileRecord(i)))
	}
	write(t, s, store.Insert(store.Record{Key: store.Key{Studio: store.System, Kind: store.KindStudio, ID: "s"}}))
	if n > 0 {
		write(t, s, ops...)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

func tileRecord(i int) store.Record {
	return store.Record{Key: store.Key{Studio: "s", Kind: store.KindTile, ID: fmt.Sprint(i)}, Body: bytes.Repeat([]byte{byte(i)}, 500)}
}

func opened(t *testing.T, path string) *sqlite.Store {
	t.Helper()
	s, err := sqlite.Open(t.Context(), path, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func write(t *testing.T, s *sqlite.Store, ops ...store.Op) {
	t.Helper()
	if _, err := s.Write(t.Context(), store.Write{Ops: ops}); err != nil {
		t.Fatal(err)
	}
}

func count(t *testing.T, s store.Reader) int {
	t.Helper()
	n := 0
	if err := s.Scan(t.Context(), "s", store.KindTile, func(store.Record) error { n++; return nil }); err != nil {
		t.Fatal(err)
	}
	return n
}

// faulty checks that the error is of the kind, names the file, and says how to mend it.
func faulty(t *testing.T, err, kind error, path string) {
	t.Helper()
	var f *store.Fault
	if !errors.As(err, &f) || !errors.Is(err, kind) {
		t.Fatalf("got the error %v, want %v", err, kind)
	}
	if f.Mend == "" || !strings.Contains(err.Error(), path) || !strings.Contains(err.Error(), f.Mend) {
		t.Fatalf("the error does not help: %v", err)
	}
}

// TestRefused lets Open, Migrate, Check and Backup meet what is not a database of this program's, and expects
// that each refuses it by name and that none touches it.
func TestRefused(t *testing.T) {
	dir := t.TempDir()
	file := func(name string, content []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	noise := make([]byte, 8192)
	rand.Read(noise)
	whole, err := os.ReadFile(made(t, 100))
	if err != nil {
		t.Fatal(err)
	}
	zeroed := bytes.Clone(whole)
	clear(zeroed[4096:]) // all but the first page
	foreign := filepath.Join(dir, "foreign.db")
	alter(t, foreign, "CREATE TABLE t (x)")

	for _, c := range []struct {
		name, path string
		want       error
	}{
		{"a missing directory", filepath.Join(dir, "none", "x.db"), store.ErrMissing},
		{"a missing file", filepath.Join(dir, "none.db"), store.ErrMissing},
		{"an empty file", file("empty.db", nil), store.ErrNotOurs},
		{"text", file("text.db", []byte("glaze,coats\n")), store.ErrNotOurs},
		{"noise", file("noise.db", noise), store.ErrNotOurs},
		{"another program's database", foreign, store.ErrNotOurs},
		{"a truncated file", file("short.db", whole[:2*4096]), store.ErrCorrupt},
		{"half a page", file("half.db", whole[:1000]), store.ErrCorrupt},
		{"a damaged file", file("zeroed.db", zeroed), store.ErrCorrupt},
	} {
		t.Run(c.name, func(t *testing.T) {
			before, _ := os.ReadFile(c.path)
			s, err := sqlite.Open(t.Context(), c.path, sqlite.Options{})
			if err == nil {
				s.Close()
			}
			faulty(t, err, c.want, c.path)
			faulty(t, sqlite.Migrate(t.Context(), c.path), c.want, c.path)
			faulty(t, sqlite.Check(t.Context(), c.path), c.want, c.path)
			to := filepath.Join(dir, "copy.db")
			faulty(t, sqlite.Backup(t.Context(), c.path, to), c.want, c.path)
			if _, err := os.Stat(to); !errors.Is(err, fs.ErrNotExist) {
				t.Fatal("a backup was made of it")
			}
			after, err := os.ReadFile(c.path)
			if !bytes.Equal(before, after) || (before == nil) != errors.Is(err, fs.ErrNotExist) {
				t.Fatal("the file was touched")
			}
		})
	}
}

// alter runs statements on a database behind the store's back.
func alter(t *testing.T, path string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+strings.NewReplacer("%", "%25", "?", "%3f", "#", "%23").Replace(path))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, s := range statements {
		if _, err := db.ExecContext(t.Context(), s); err != nil {
			t.Fatal(err)
		}
	}
}

func TestCreateLeavesWhatIsThere(t *testing.T) {
	path := made(t, 3)
	if err := sqlite.Create(t.Context(), path); !errors.Is(err, fs.ErrExist) {
		t.Fatalf("got the error %v", err)
	}
	if n := count(t, opened(t, path)); n != 3 {
		t.Fatalf("%d tiles, want 3", n)
	}
	faulty(t, sqlite.Create(t.Context(), filepath.Join(path, "x")), store.ErrUnavailable, path)
}

func TestOtherSchemas(t *testing.T) {
	t.Run("newer", func(t *testing.T) {
		path := made(t, 1)
		s := opened(t, path)
		alter(t, path, "INSERT INTO goose_db_version (version_id, is_applied) VALUES (99999, 1)")
		faulty(t, s.Ready(t.Context()), store.ErrTooNew, path)
		s.Close()
		_, err := sqlite.Open(t.Context(), path, sqlite.Options{})
		faulty(t, err, store.ErrTooNew, path)
		faulty(t, sqlite.Migrate(t.Context(), path), store.ErrTooNew, path)
		faulty(t, sqlite.Check(t.Context(), path), store.ErrTooNew, path)
	})
	t.Run("older", func(t *testing.T) {
		// What a creation leaves that was cut short after the first step.
		path := filepath.Join(t.TempDir(), "x.db")
		alter(t, path, "PRAGMA application_id = 0x434c494e", "CREATE TABLE goose_db_version (id INTEGER PRIMARY KEY AUTOINCREMENT, version_id INTEGER NOT NULL, is_applied INTEGER NOT NULL, tstamp TIMESTAMP DEFAULT (datetime('now')))",
			"INSERT INTO goose_db_version (version_id, is_applied) VALUES (0, 1)")
		_, err := sqlite.Open(t.Context(), path, sqlite.Options{})
		faulty(t, err, store.ErrNeedsMigration, path)
		// A backup is made before the migration, so this program makes it of what it does not open.
		to := filepath.Join(t.TempDir(), "before.db")
		if err := sqlite.Backup(t.Context(), path, to); err != nil {
			t.Fatal(err)
		}
		if info, err := os.Stat(to); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("the backup has mode %v, %v", info.Mode(), err)
		}
		faulty(t, sqlite.Check(t.Context(), to), store.ErrNeedsMigration, to)
		faulty(t, sqlite.Check(t.Context(), path), store.ErrNeedsMigration, path)
		for range 2 { // the second time there is nothing to do
			if err := sqlite.Migrate(t.Context(), path); err != nil {
				t.Fatal(err)
			}
		}
		s := opened(t, path)
		if err := s.Ready(t.Context()); err != nil {
			t.Fatal(err)
		}
	})
}

// TestReleasedSchemas migrates a database of each released schema, with 3 tiles in it, and uses it. Whoever
// adds a migration adds the file that the version before it has made, on 28 February 2024, with a request for the last tile.
func TestReleasedSchemas(t *testing.T) {
	files, err := filepath.Glob("testdata/schema-*.sqlite")
	if err != nil || len(files) == 0 {
		t.Fatalf("%v, %v", files, err)
	}
	for _, f := range files {
		content, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "x.db")
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := sqlite.Migrate(t.Context(), path); err != nil {
			t.Fatal(err)
		}
		if err := sqlite.Check(t.Context(), path); err != nil {
			t.Fatal(err)
		}
		s, err := sqlite.Open(t.Context(), path, sqlite.Options{Now: func() time.Time { return time.Date(2024, 2, 28, 13, 0, 0, 0, time.UTC) }})
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		if n := count(t, s); n != 3 {
			t.Errorf("%s: %d tiles, want 3", f, n)
		}
		r, err := s.Get(t.Context(), tileRecord(2).Key)
		if err != nil || !bytes.Equal(r.Body, tileRecord(2).Body) {
			t.Errorf("%s: %+v, %v", f, r, err)
		}
		a, err := s.Write(t.Context(), store.Write{
			Request: store.Request{ID: "request of tile 2", Hash: []byte{2}}, Ops: []store.Op{store.Insert(tileRecord(2))},
		})
		if err != nil || !a.Replayed || !reflect.DeepEqual(a.Records, []store.Record{r}) {
			t.Errorf("%s: the request for the last tile is answered by %+v, %v", f, a, err)
		}
		write(t, s, store.Insert(tileRecord(3)))
	}
}

// TestFull lets SQLite run out of pages, as it does on a full disk, and expects that nothing acknowledged is
// lost and that writing goes on once there is room.
func TestFull(t *testing.T) {
	path := made(t, 50)
	s := opened(t, path)
	if err := s.SetMaxPages(60); err != nil {
		t.Fatal(err)
	}
	n := 50
	var err error
	for ; err == nil && n < 1000; n++ {
		_, err = s.Write(t.Context(), store.Write{Ops: []store.Op{store.Insert(tileRecord(n))}})
	}
	faulty(t, err, store.ErrFull, path)
	n-- // the one that failed
	if got := count(t, s); got != n {
		t.Fatalf("%d tiles, %d acknowledged", got, n)
	}
	if err := s.SetMaxPages(1 << 30); err != nil {
		t.Fatal(err)
	}
	write(t, s, store.Insert(tileRecord(n)))
	s.Close()
	if got := count(t, opened(t, path)); got != n+1 {
		t.Fatalf("%d tiles, want %d", got, n+1)
	}
}

// TestReadOnly needs a file that this process may not write, which does not exist for root but where the
// file system says no to everybody.
func TestReadOnly(t *testing.T) {
	path := made(t, 1)
	if err := os.Chmod(path, 0o400); err != nil {
		t.Fatal(err)
	}
	if f, err := os.OpenFile(path, os.O_RDWR, 0); err == nil {
		f.Close()
		t.Skip("this user may write read-only files")
	}
	_, err := sqlite.Open(t.Context(), path, sqlite.Options{})
	faulty(t, err, store.ErrReadOnly, path)
}

// TestReadOnlyStatement has SQLite itself refuse to write.
func TestReadOnlyStatement(t *testing.T) {
	path := made(t, 1)
	s := opened(t, path)
	if err := s.SetQueryOnly(true); err != nil {
		t.Fatal(err)
	}
	_, err := s.Write(t.Context(), store.Write{Ops: []store.Op{store.Insert(tileRecord(7))}})
	faulty(t, err, store.ErrReadOnly, path)
	if err := s.SetQueryOnly(false); err != nil {
		t.Fatal(err)
	}
	write(t, s, store.Insert(tileRecord(7)))
}

// TestTwoStoresOneFile is not what the engine is for, but must not do harm.
func TestTwoStoresOneFile(t *testing.T) {
	path := made(t, 1)
	s, other := opened(t, path), opened(t, path)
	var wg sync.WaitGroup
	for w := range 8 {
		wg.Go(func() {
			for i := range 10 {
				write(t, []*sqlite.Store{s, other}[w%2], store.Insert(tileRecord(1+10*w+i)))
			}
		})
	}
	wg.Wait()
	for _, s := range []*sqlite.Store{s, other} {
		if n := count(t, s); n != 81 {
			t.Fatalf("%d tiles, want 81", n)
		}
	}
}

func TestBackupWhileWriting(t *testing.T) {
	path := made(t, 100)
	s := opened(t, path)
	ctx, stop := context.WithCancel(t.Context())
	written := make(chan int)
	begun := make(chan struct{})
	go func() {
		n := 100
		for ; ctx.Err() == nil; n++ {
			if _, err := s.Write(context.Background(), store.Write{Ops: []store.Op{store.Insert(tileRecord(n))}}); err != nil {
				t.Error(err)
				break
			}
			if n == 110 {
				close(begun)
			}
		}
		written <- n
	}()
	<-begun
	to := filepath.Join(t.TempDir(), "backup.db")
	if err := sqlite.Backup(t.Context(), path, to); err != nil {
		t.Fatal(err)
	}
	stop()
	n := <-written
	if err := sqlite.Backup(t.Context(), path, to); !errors.Is(err, fs.ErrExist) {
		t.Fatalf("a backup over a backup: %v", err)
	}
	if err := sqlite.Check(t.Context(), to); err != nil {
		t.Fatal(err)
	}
	restored := opened(t, to)
	if got := count(t, restored); got < 110 || got > n {
		t.Fatalf("%d tiles in the backup, %d at its end", got, n)
	}
	write(t, restored, store.Insert(tileRecord(n+1)))
	if files, _ := filepath.Glob(filepath.Join(filepath.Dir(to), "*.part")); len(files) > 0 {
		t.Fatalf("left behind: %q", files)
	}
}

// TestMigrationNumbers: the engines take the same steps.
func TestMigrationNumbers(t *testing.T) {
	names := func(dir string) string {
		entries, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		var all []string
		for i, e := range entries {
			if !strings.HasPrefix(e.Name(), fmt.Sprintf("%05d_", i+1)) {
				t.Errorf("%s is not number %d", e.Name(), i+1)
			}
			all = append(all, e.Name())
		}
		return strings.Join(all, " ")
	}
	if a, b := names("migrations"), names("../postgres/migrations"); a != b {
		t.Fatalf("SQLite: %s\nPostgreSQL: %s", a, b)
	}
}

// TestSynced checks the settings on which surviving a loss of power rests (SQLite documentation, "PRAGMA
// synchronous": in WAL mode FULL syncs the log at each commit). A killed process cannot show it: what it
// has written stays with the operating system.
func TestSynced(t *testing.T) {
	path := made(t, 1)
	backup := filepath.Join(t.TempDir(), "backup.db")
	if err := sqlite.Backup(t.Context(), path, backup); err != nil {
		t.Fatal(err)
	}
	for _, p := range []string{path, backup} {
		s := opened(t, p)
		for name, want := range map[string]string{"journal_mode": "wal", "synchronous": "2"} {
			if got, err := s.Pragma(name); err != nil || got != want {
				t.Errorf("%s is %s, want %s; %v", name, got, want, err)
			}
		}
	}
}

// TestCloseLeavesOneFile checks that the log was folded into the file, which SQLite does when the last
// connection is closed.
func TestCloseLeavesOneFile(t *testing.T) {
	path := made(t, 10)
	s := opened(t, path)
	write(t, s, store.Insert(tileRecord(10)))
	if n := count(t, s); n != 11 {
		t.Fatal(n)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	files, err := os.ReadDir(filepath.Dir(path))
	if err != nil || len(files) != 1 {
		t.Fatalf("%v, %v", files, err)
	}
}

func TestOldAnswersArePruned(t *testing.T) {
	path := made(t, 0)
	now := time.Date(2024, 2, 28, 12, 0, 0, 0, time.UTC)
	s, err := sqlite.Open(t.Context(), path, sqlite.Options{Now: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for i := range 3 {
		if _, err := s.Write(t.Context(), store.Write{
			Request: store.Request{ID: fmt.Sprint(i), Hash: []byte{1}},
			Ops:     []store.Op{store.Insert(tileRecord(2 * i)), store.Insert(tileRecord(2*i + 1))},
		}); err != nil {
			t.Fatal(err)
		}
		now = now.Add(store.RequestLifetime / 2)
	}
	var left int
	if err := s.Count("SELECT count(*) FROM request", &left); err != nil || left != 2 {
		t.Fatalf("%d answers are kept, want 2; %v", left, err)
	}
}

// TestReadyAsksTheWriter makes the writer's way fail while reading goes on, and lets it recover.
func TestReadyAsksTheWriter(t *testing.T) {
	path := made(t, 3)
	s := opened(t, path)
	if err := s.SetQueryOnly(true); err != nil {
		t.Fatal(err)
	}
	faulty(t, s.Ready(t.Context()), store.ErrReadOnly, path)
	if err := s.SetQueryOnly(false); err != nil {
		t.Fatal(err)
	}
	if err := s.Ready(t.Context()); err != nil {
		t.Fatal(err)
	}
	// A disk that is full shows only when something is made durable: readiness remembers it, until a write goes through.
	var pages int
	if err := s.Count("PRAGMA page_count", &pages); err != nil {
		t.Fatal(err)
	}
	if err := s.SetMaxPages(pages); err != nil {
		t.Fatal(err)
	}
	big := tileRecord(5)
	big.Body = make([]byte, 1<<20)
	_, err := s.Write(t.Context(), store.Write{Ops: []store.Op{store.Insert(big)}})
	faulty(t, err, store.ErrFull, path)
	if err := s.Ready(t.Context()); err != nil {
		t.Fatalf("a small write fits, but: %v", err)
	}
}
