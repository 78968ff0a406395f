package sqlite_test

import (
	"database/sql"
	"net/url"
	"path/filepath"
	"testing"
	"time"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/sqlite"
	"github.com/catchline/catchline/server/store/storetest"
)

func TestConformance(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Database {
		path := filepath.Join(t.TempDir(), "catchline.db")
		if err := sqlite.Create(t.Context(), path); err != nil {
			t.Fatal(err)
		}
		return storetest.Database{
			Open: func(t *testing.T, now func() time.Time) store.Store {
				s, err := sqlite.Open(t.Context(), path, sqlite.Options{Now: now})
				if err != nil {
					t.Fatal(err)
				}
				return s
			},
			Damage: func(t *testing.T, k store.Key, change func([]byte)) { damage(t, path, k, change) },
			Check:  func(t *testing.T) error { return sqlite.Check(t.Context(), path) },
		}
	})
}

// damage changes what is stored of a record, by a connection of its own.
func damage(t *testing.T, path string, k store.Key, change func([]byte)) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+url.PathEscape(path)+"?_pragma=busy_timeout(5000)")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	const where = " WHERE studio = ? AND kind = ? AND parent = ? AND id = ?"
	var data []byte
	if err := db.QueryRow("SELECT data FROM record"+where, k.Studio, string(k.Kind), k.Parent, k.ID).Scan(&data); err != nil {
		t.Fatal(err)
	}
	change(data)
	if _, err := db.Exec("UPDATE record SET data = ?"+where, data, k.Studio, string(k.Kind), k.Parent, k.ID); err != nil {
		t.Fatal(err)
	}
}
