package sqlite

import (
	"context"
	"database/sql/driver"
	"errors"
	"io"
	"strings"
)

// statement is a prepared statement of one connection. It speaks to the driver itself, since the locks and
// copies of database/sql, and the driver's watch over a context, cost as much as a small insert or the
// reading of a row does.
type statement struct {
	stmt interface {
		driver.Stmt
		driver.StmtExecContext
		driver.StmtQueryContext
	}
	args []driver.NamedValue
}

func prepare(conn driver.Conn, text string) (*statement, error) {
	stmt, err := conn.Prepare(text)
	if err != nil {
		return nil, err
	}
	st := &statement{}
	var ok bool
	if st.stmt, ok = stmt.(interface {
		driver.Stmt
		driver.StmtExecContext
		driver.StmtQueryContext
	}); !ok {
		return nil, errors.New("the SQLite driver has statements of an unknown kind")
	}
	return st, nil
}

func (st *statement) bind(values []driver.Value) []driver.NamedValue {
	st.args = st.args[:0]
	for i, v := range values {
		st.args = append(st.args, driver.NamedValue{Ordinal: i + 1, Value: v})
	}
	return st.args
}

// run executes the statement. The values are int64, string, []byte or nil.
func (st *statement) run(values ...driver.Value) error {
	_, err := st.stmt.ExecContext(context.Background(), st.bind(values))
	return err
}

// row reads the first row into dest, and reports whether there is one.
func (st *statement) row(dest []driver.Value, values ...driver.Value) (bool, error) {
	rows, err := st.stmt.QueryContext(context.Background(), st.bind(values))
	if err != nil {
		return false, err
	}
	err = rows.Next(dest)
	if e := rows.Close(); err == nil {
		err = e
	}
	if err == io.EOF {
		return false, nil
	}
	return err == nil, err
}

// each reads every row, of one column, and calls f with it.
func (st *statement) each(f func(driver.Value) error, values ...driver.Value) error {
	rows, err := st.stmt.QueryContext(context.Background(), st.bind(values))
	if err != nil {
		return err
	}
	var row [1]driver.Value
	for err == nil {
		if err = rows.Next(row[:]); err == nil {
			err = f(row[0])
		}
	}
	if e := rows.Close(); err == io.EOF {
		err = e
	}
	return err
}

func (st *statement) close() { st.stmt.Close() }

// bulkRows are the numbers of rows that a bulk has statements for: one statement of 16 rows takes about
// as long as five of one row.
var bulkRows = [...]int{16, 4, 1}

// bulk inserts rows, many by one statement.
type bulk struct {
	columns    int
	statements [len(bulkRows)]*statement
	values     []driver.Value
}

// prepareBulk takes the text up to VALUES and the number of columns.
func prepareBulk(conn driver.Conn, insert string, columns int) (*bulk, error) {
	b := &bulk{columns: columns}
	row := "(?" + strings.Repeat(", ?", columns-1) + ")"
	for i, n := range bulkRows {
		var err error
		if b.statements[i], err = prepare(conn, insert+" VALUES "+row+strings.Repeat(", "+row, n-1)); err != nil {
			return nil, err
		}
	}
	return b, nil
}

func (b *bulk) close() {
	for _, st := range b.statements {
		st.close()
	}
}

// add puts one row aside for flush.
func (b *bulk) add(values ...driver.Value) { b.values = append(b.values, values...) }

// flush inserts the rows that were added.
func (b *bulk) flush() error {
	left := b.values
	b.values = b.values[:0]
	defer clear(left) // keeps no record alive
	for i, n := range bulkRows {
		for n *= b.columns; len(left) >= n; left = left[n:] {
			if err := b.statements[i].run(left[:n]...); err != nil {
				return err
			}
		}
	}
	return nil
}
