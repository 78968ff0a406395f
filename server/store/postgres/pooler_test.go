package postgres_test

import (
	"errors"
	"testing"
	"time"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/postgres"
	"github.com/catchline/catchline/server/store/postgrestest"
	"github.com/catchline/catchline/server/store/storetest"
)

// poolers are PgBouncer's modes with sizes of its pools. By transaction two sessions of the database serve everybody, so that hardly a
// transaction finds what the one before has left; by session each connection needs one.
var poolers = map[string]int{"transaction": 2, "session": 100}

// Everything that holds of a store holds through a pooler.
func TestConformanceThroughAPooler(t *testing.T) {
	for mode, size := range poolers {
		t.Run(mode, func(t *testing.T) {
			through := postgrestest.Pooler(t, postgrestest.URL(t), mode, size)
			storetest.Run(t, func(t *testing.T) storetest.Database {
				direct := migrated(t)
				return storetest.Database{
					Open: func(t *testing.T, now func() time.Time) store.Store {
						s, err := postgres.Open(t.Context(), through(direct), postgres.Options{Now: now, Direct: direct})
						if err != nil {
							t.Fatal(err)
						}
						return s
					},
					Damage: func(t *testing.T, k store.Key, change func([]byte)) { damage(t, direct, k, change) },
					Check:  func(t *testing.T) error { return postgres.Check(t.Context(), direct) },
				}
			})
		})
	}
}

// What one server writes through a pooler the other one hears of.
func TestNotificationsPassAPooler(t *testing.T) {
	for mode, size := range poolers {
		t.Run(mode, func(t *testing.T) {
			direct := migrated(t)
			through := postgrestest.Pooler(t, direct, mode, size)
			var stores [2]store.Store
			for i := range stores {
				s, err := postgres.Open(t.Context(), through(direct), postgres.Options{Direct: direct})
				if err != nil {
					t.Fatal(err)
				}
				defer s.Close()
				stores[i] = s
			}
			heard := stores[1].Changes(t.Context())
			studio := store.Record{Key: store.Key{Studio: store.System, Kind: store.KindStudio, ID: "s"}}
			if _, err := stores[0].Write(t.Context(), store.Write{Ops: []store.Op{store.Insert(studio)}}); err != nil {
				t.Fatal(err)
			}
			for c := range heard {
				if c.Kind == store.KindStudio && c.Studio == store.System {
					return
				}
			}
			t.Error("nothing was heard")
		})
	}
}

// A pooler where a session is needed is found at once, not by the second read.
func TestAPoolerAloneIsRefused(t *testing.T) {
	for mode, size := range poolers {
		t.Run(mode, func(t *testing.T) {
			direct := migrated(t)
			through := postgrestest.Pooler(t, direct, mode, size)(direct)
			_, alone := postgres.Open(t.Context(), through, postgres.Options{})
			_, twice := postgres.Open(t.Context(), through, postgres.Options{Direct: through})
			for what, err := range map[string]error{
				"opening": alone, "opening with the pooler as the direct way": twice, "migrating": postgres.Migrate(t.Context(), through),
			} {
				if !errors.Is(err, postgres.ErrPooler) {
					t.Errorf("%s: %v", what, err)
				}
			}
		})
	}
}
