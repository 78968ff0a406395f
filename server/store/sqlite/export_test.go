package sqlite

import (
	"context"
	"fmt"
)

// What the tests do to a store's own connections.

func (s *Store) SetMaxPages(n int) error {
	_, err := s.writer.conn.ExecContext(context.Background(), fmt.Sprintf("PRAGMA max_page_count = %d", n))
	return err
}

func (s *Store) SetQueryOnly(on bool) error {
	_, err := s.writer.conn.ExecContext(context.Background(), fmt.Sprintf("PRAGMA query_only = %t", on))
	return err
}

func (s *Store) Count(query string, dest *int) error { return s.readers.QueryRow(query).Scan(dest) }
