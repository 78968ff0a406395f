package postgres

import (
	"errors"
	"fmt"
	"testing"

	"github.com/jackc/pgx/v5/pgconn"

	"github.com/catchline/catchline/server/store"
)

// TestTranslate checks against PostgreSQL 15's list of error codes (documentation, appendix A).
func TestTranslate(t *testing.T) {
	at := server{"PostgreSQL at example:5432, database x"}
	for code, want := range map[string]error{
		"08006": store.ErrUnavailable, // connection_failure
		"57P01": store.ErrUnavailable, // admin_shutdown
		"57P03": store.ErrUnavailable, // cannot_connect_now
		"53300": store.ErrUnavailable, // too_many_connections
		"40001": store.ErrUnavailable, // serialization_failure
		"40P01": store.ErrUnavailable, // deadlock_detected
		"28P01": store.ErrUnavailable, // invalid_password
		"53100": store.ErrFull,        // disk_full
		"25006": store.ErrReadOnly,    // read_only_sql_transaction
		"3D000": store.ErrMissing,     // invalid_catalog_name
		"42P01": store.ErrNeedsMigration,
		"XX001": store.ErrCorrupt, // data_corrupted
		"XX002": store.ErrCorrupt, // index_corrupted
	} {
		cause := fmt.Errorf("while writing: %w", &pgconn.PgError{Code: code})
		err := at.translate(cause)
		var f *store.Fault
		if !errors.Is(err, want) || !errors.Is(err, cause) || !errors.As(err, &f) || f.Mend == "" {
			t.Errorf("%s: got %v, want %v", code, err, want)
		}
	}
	// What we have done wrong ourselves is nobody's to retry.
	if err := at.translate(&pgconn.PgError{Code: "42601"}); errors.Is(err, store.ErrUnavailable) {
		t.Errorf("a syntax error became %v", err)
	}
}
