package sqlite

import (
	"context"
	"database/sql"
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

func (s *Store) Pragma(name string) (value string, err error) {
	err = s.writer.conn.QueryRowContext(context.Background(), "PRAGMA "+name).Scan(&value)
	return value, err
}

func (s *Store) ScanBlobs(studio, kind string) (n int64, err error) {
	rows, err := s.readers.Query("SELECT data FROM record WHERE studio = ? AND kind = ? ORDER BY sequence", studio, kind)
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	for ; rows.Next(); n++ {
		var data sql.RawBytes
		if err := rows.Scan(&data); err != nil {
			return n, err
		}
	}
	return n, rows.Err()
}
