package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strconv"
)

// table is a table that was computed.
type table struct {
	columns []string
	source  string // of every row: the tables that it was computed from
	rows    [][]string
}

// add appends a row.
func (t *table) add(cells ...string) { t.rows = append(t.rows, cells) }

// rounded writes a number with so many decimals, exact one that is not computed.
func rounded(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }
func exact(v float64) string                 { return strconv.FormatFloat(v, 'g', -1, 64) }

// text gives the table as CSV, with the columns source and how.
func (t *table) text() ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	rows := [][]string{append(append([]string{}, t.columns...), "source", "how")}
	for _, r := range t.rows {
		rows = append(rows, append(append([]string{}, r...), t.source, "computed"))
	}
	err := w.WriteAll(rows)
	return b.Bytes(), err
}

// row is a line of a table that was read, by column.
type row map[string]string

// number reads a cell; an empty one is 0, as for a slope that the source does not give.
func (r row) number(column string) (float64, error) {
	if r[column] == "" {
		return 0, nil
	}
	return strconv.ParseFloat(r[column], 64)
}

// read gives the rows of a table; the path is seen from the root of the repository.
func read(repository fs.FS, path string) ([]row, error) {
	f, err := repository.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	var rows []row
	for _, line := range lines[1:] {
		r := row{}
		for i, cell := range line {
			r[lines[0][i]] = cell
		}
		rows = append(rows, r)
	}
	return rows, nil
}

// readNumbers gives one column of the rows of one set, by the name in another column.
func readNumbers(repository fs.FS, path, set, name, column string) (map[string]float64, error) {
	rows, err := read(repository, path)
	if err != nil {
		return nil, err
	}
	out := map[string]float64{}
	for _, r := range rows {
		if set != "" && r["set"] != set {
			continue
		}
		if out[r[name]], err = r.number(column); err != nil {
			return nil, fmt.Errorf("%s: %s: %w", path, r[name], err)
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%s has no rows of %q", path, set)
	}
	return out, nil
}

// names lists the keys in a fixed order, so that sums are the same to the last bit each time.
func names(m map[string]float64) []string { return slices.Sorted(maps.Keys(m)) }
