package process

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/sqlite"
)

// openStore opens the database, or makes it where that is asked for and there is none.
func openStore(ctx context.Context, c *config.Config) (store.Store, error) {
	if c.Store.PostgreSQL() {
		return nil, errors.New("PostgreSQL is not built in yet")
	}
	path := string(c.Store)
	s, err := sqlite.Open(ctx, path, sqlite.Options{})
	if errors.Is(err, store.ErrMissing) && c.Create {
		if err := sqlite.Create(ctx, path); err != nil {
			return nil, err
		}
		s, err = sqlite.Open(ctx, path, sqlite.Options{})
	}
	if err != nil {
		return nil, mendBy(err)
	}
	return s, nil
}

// mendBy says by which command or flag a database is made usable.
func mendBy(err error) error {
	switch {
	case errors.Is(err, store.ErrMissing):
		return fmt.Errorf("%w (--create makes it)", err)
	case errors.Is(err, store.ErrNeedsMigration):
		return fmt.Errorf("%w (catchline-server backup, then catchline-server migrate)", err)
	}
	return err
}

// Migrate brings the database to this program's schema, and makes it where that is asked for and there is none.
func Migrate(ctx context.Context, c config.Config, out io.Writer) error {
	if c.Store.PostgreSQL() {
		return errors.New("PostgreSQL is not built in yet")
	}
	path := string(c.Store)
	err := sqlite.Migrate(ctx, path)
	if errors.Is(err, store.ErrMissing) && c.Create {
		err = sqlite.Create(ctx, path)
	}
	if err != nil {
		return mendBy(err)
	}
	fmt.Fprintf(out, "%s has the schema of this program\n", c.Store)
	return nil
}
