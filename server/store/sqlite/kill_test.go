package sqlite_test

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/sqlite"
	"github.com/catchline/catchline/server/store/storetest"
)

func TestMain(m *testing.M) {
	storetest.RunVictim(open)
	os.Exit(m.Run())
}

func open(path string) (store.Store, error) {
	return sqlite.Open(context.Background(), path, sqlite.Options{})
}

func TestKill(t *testing.T) {
	path := filepath.Join(t.TempDir(), "catchline.db")
	if err := sqlite.Create(t.Context(), path); err != nil {
		t.Fatal(err)
	}
	storetest.Kill(t, path, open)
	if err := sqlite.Check(t.Context(), path); err != nil {
		t.Fatal(err)
	}
}
