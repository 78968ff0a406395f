package api

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/catchline/catchline/model/fault"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// Tiles as CSV: a line a tile, a header of plain names. Glazes, lots, firings, bodies and wares go by their ids, so that a file
// can go to another studio; an import also takes display names, as people write them. What has no plain columns (a firing or a shape
// that was given with the tile, further bands) is JSON of the contract's messages in one cell.
//
// Spreadsheets run cells that start with = + - @ | or their wide forms as formulas, some also after blanks. A text that does (a note, a tester's name) gets an apostrophe before it
// in an export, which an import takes away again, so that no tile can carry a formula into somebody's spreadsheet.

const mostLines = 10_000

// tileWriter writes tiles as lines.
type tileWriter struct {
	buffer bytes.Buffer
	csv    *csv.Writer
}

func newTileWriter() *tileWriter {
	w := &tileWriter{}
	w.csv = csv.NewWriter(&w.buffer)
	header := make([]string, len(columns))
	for i, c := range columns {
		header[i] = c.name
	}
	w.csv.Write(header) // to memory, which does not fail
	return w
}

func (w *tileWriter) write(t *pb.Tile) error {
	row := make([]string, len(columns))
	for i, c := range columns {
		var err error
		if row[i], err = c.write(t); err != nil {
			return fmt.Errorf("%s, column %s: %w", t.Name, c.name, err)
		}
	}
	return w.csv.Write(row)
}

// held is how many bytes of lines take would give.
func (w *tileWriter) held() int {
	w.csv.Flush()
	return w.buffer.Len()
}

// take gives the lines since it was last called.
func (w *tileWriter) take() string {
	w.csv.Flush()
	s := w.buffer.String()
	w.buffer.Reset()
	return s
}

// fileFaults are what is wrong with the lines of a file: the first mostListed are kept, the rest are counted.
type fileFaults struct {
	listed []*pb.LineFault
	more   int
}

func (f *fileFaults) any() bool { return len(f.listed) > 0 }

// add takes a fault whose sentence is put together only where it is listed.
func (f *fileFaults) add(line int, column, format string, parts ...any) {
	if len(f.listed) == mostListed {
		f.more++
		return
	}
	f.listed = append(f.listed, &pb.LineFault{Line: int32(line), Column: column, Sentence: fmt.Sprintf(format, parts...)})
}

// tileLine is a line that has been read, and which of its columns are at fault.
type tileLine struct {
	number int // the header is line 1
	tile   *pb.Tile
	file   *fileFaults
	wrong  map[string]bool
}

// sound reports whether no fault has been found.
func (l *tileLine) sound() bool { return len(l.wrong) == 0 }

// fault adds one of a column, unless that has one already: what comes after is likely to follow from it.
func (l *tileLine) fault(column, format string, parts ...any) {
	if column != "" && l.wrong[column] {
		return
	}
	if l.wrong == nil {
		l.wrong = map[string]bool{}
	}
	l.wrong[column] = true
	l.file.add(l.number, column, format, parts...)
}

// collect adds the faults of fields that an error stands for. An error of another kind comes back.
func (l *tileLine) collect(err error) error {
	all, ok := fieldsOf(err)
	if !ok {
		return err
	}
	for _, f := range all.Listed {
		column := columnOf(f.Field)
		what := column
		if what == "" {
			what = f.Field
		}
		l.fault(column, "%s is %s; allowed: %s", what, f.Value, f.Limit)
	}
	return nil
}

// readTiles reads a file and calls each with every line that can be read, in order, faulty ones too. An error is one of the file as a
// whole, of the names' own, or of each.
func readTiles(file, studio string, find names, faults *fileFaults, each func(*tileLine) error) error {
	if err := checkWidth("csv", file, len(columns)); err != nil {
		return err
	}
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(file, "\ufeff")))
	r.FieldsPerRecord = -1
	r.ReuseRecord = true
	head, err := r.Read()
	if err != nil {
		faults.add(1, "", "the header cannot be read: %s", csvError(err))
		return nil
	}
	order := readHeader(head, faults)
	if faults.any() {
		return nil
	}
	cells := make([]string, len(columns))
	for n := 0; ; n++ {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if n == mostLines {
			return &fault.Error{Field: "csv", Value: "longer", Limit: fmt.Sprintf("at most %d lines under the header", mostLines)}
		}
		if bad := (*csv.ParseError)(nil); errors.As(err, &bad) {
			// Where quotes are wrong nobody can tell where the next line starts.
			faults.add(bad.StartLine, "", "the line, and with it all after it, cannot be read: %s", csvError(err))
			return nil
		}
		number, _ := r.FieldPos(0)
		if len(row) != len(order) {
			faults.add(number, "", "it has %d cells, the header has %d", len(row), len(order))
			continue
		}
		clear(cells)
		for i, c := range order {
			cells[c] = row[i]
		}
		line := &tileLine{number: number, tile: &pb.Tile{}, file: faults}
		if err := line.read(cells, studio, find); err != nil {
			return err
		}
		if err := each(line); err != nil {
			return err
		}
	}
}

func csvError(err error) string {
	if errors.Is(err, io.EOF) {
		return "the file is empty"
	}
	if bad := (*csv.ParseError)(nil); errors.As(err, &bad) {
		return bad.Err.Error()
	}
	return err.Error()
}

// readHeader gives the column of each cell.
func readHeader(head []string, faults *fileFaults) (order []int) {
	for _, separator := range []string{";", "\t"} {
		if len(head) == 1 && strings.Contains(head[0], separator) {
			faults.add(1, "", "cells are separated by %q; allowed: commas, and numbers with a point", separator)
			return nil
		}
	}
	seen := map[int]bool{}
	for _, h := range head {
		name := strings.ToLower(strings.TrimSpace(h))
		i := slices.IndexFunc(columns, func(c column) bool { return c.name == name })
		switch {
		case i < 0:
			faults.add(1, quotedColumn(h), "there is no column %s; an export shows all that there are", quoted(h))
		case seen[i]:
			faults.add(1, name, "the column %s is there twice", name)
		}
		seen[i] = true
		order = append(order, i)
	}
	return order
}

func quotedColumn(name string) string { return strings.Trim(quoted(name), `"`) }

// read reads the line's cells. The columns go in the order of the table, so that one may rest on those before it.
func (l *tileLine) read(cells []string, studio string, find names) error {
	for i, c := range columns {
		if strings.TrimSpace(cells[i]) == "" || l.wrong[c.rests] {
			continue
		}
		err := c.read(l.tile, cells[i], find)
		if wrong := (*cellError)(nil); errors.As(err, &wrong) {
			l.fault(c.name, "%s is %s; allowed: %s", c.name, quoted(cells[i]), wrong.limit)
		} else if err != nil {
			return err
		}
	}
	tidy(l.tile)
	return l.collect(checkResource(l.tile, "tile", studio))
}

// columnOf finds the column of a field of a tile: the one with the longest path that the field's starts with.
func columnOf(field string) string {
	field = strings.TrimPrefix(field, "tile.")
	best, name := 0, ""
	for _, c := range columns {
		for _, p := range c.paths {
			rest, ok := strings.CutPrefix(field, p)
			if ok && len(p) > best && (rest == "" || strings.ContainsRune(".[ ", rune(rest[0]))) {
				best, name = len(p), c.name
			}
		}
	}
	if name == "" && strings.HasPrefix(field, "layering") {
		return "layer1_glaze"
	}
	return name
}
