package postgres_test

import (
	"os"
	"testing"
	"time"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/postgres"
	"github.com/catchline/catchline/server/store/postgrestest"
	"github.com/catchline/catchline/server/store/storetest"
)

func TestMain(m *testing.M) {
	storetest.RunVictim(open)
	os.Exit(postgrestest.Main(m))
}

// migrated returns the URL of a new database of the latest schema.
func migrated(t testing.TB) string {
	t.Helper()
	url := postgrestest.URL(t)
	if err := postgres.Migrate(t.Context(), url); err != nil {
		t.Fatal(err)
	}
	return url
}

func TestConformance(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Database {
		url := migrated(t)
		return storetest.Database{
			Open: func(t *testing.T, now func() time.Time) store.Store {
				s, err := postgres.Open(t.Context(), url, postgres.Options{Now: now})
				if err != nil {
					t.Fatal(err)
				}
				return s
			},
		}
	})
}
