package sqlite_test

import (
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
		}
	})
}
