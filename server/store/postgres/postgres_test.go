package postgres_test

import (
	"context"
	"os"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

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
			Damage: func(t *testing.T, k store.Key, change func([]byte)) { damage(t, url, k, change) },
			Check:  func(t *testing.T) error { return postgres.Check(t.Context(), url) },
		}
	})
}

// damage changes what is stored of a record, by a connection of its own.
func damage(t *testing.T, url string, k store.Key, change func([]byte)) {
	t.Helper()
	c, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(context.Background())
	const where = " WHERE studio = $1 AND kind = $2 AND parent = $3 AND id = $4"
	var data []byte
	if err := c.QueryRow(t.Context(), "SELECT data FROM record"+where, k.Studio, string(k.Kind), k.Parent, k.ID).Scan(&data); err != nil {
		t.Fatal(err)
	}
	change(data)
	if _, err := c.Exec(t.Context(), "UPDATE record SET data = $5"+where, k.Studio, string(k.Kind), k.Parent, k.ID, data); err != nil {
		t.Fatal(err)
	}
}
