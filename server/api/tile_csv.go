package api

import (
	"bytes"
	"cmp"
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
// Spreadsheets run cells that start with = + - @ as formulas. A text that does (a note, a tester's name) gets an apostrophe before it
// in an export, which an import takes away again, so that no tile can carry a formula into somebody's spreadsheet.

const (
	mostLines = 10_000
	// mostFaults of one line are told; a line that is wrong all over need not be told in full.
	mostFaults = 4
)

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

// take gives the lines since it was last called.
func (w *tileWriter) take() string {
	w.csv.Flush()
	s := w.buffer.String()
	w.buffer.Reset()
	return s
}

// tileLine is a line that was read well.
type tileLine struct {
	number int // the header is line 1
	tile   *pb.Tile
}

// readTiles reads a file. Faults of lines are told beside the lines that are good; an error is one of the file as a whole, or of the
// names' own.
func readTiles(file, studio string, find names) ([]tileLine, []*pb.LineFault, error) {
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(file, "\ufeff")))
	r.FieldsPerRecord = -1
	r.ReuseRecord = true
	head, err := r.Read()
	if err != nil {
		return nil, []*pb.LineFault{lineFault(1, "", "the header cannot be read: "+csvError(err))}, nil
	}
	order, faults := readHeader(head)
	if len(faults) > 0 {
		return nil, faults, nil
	}
	var lines []tileLine
	cells := make([]string, len(columns))
	for n := 0; ; n++ {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return lines, faults, nil
		}
		if n == mostLines {
			return nil, nil, &fault.Error{Field: "csv", Value: "longer", Limit: fmt.Sprintf("at most %d lines under the header", mostLines)}
		}
		if bad := (*csv.ParseError)(nil); errors.As(err, &bad) {
			// Where quotes are wrong nobody can tell where the next line starts.
			return lines, append(faults, lineFault(bad.StartLine, "", "the line, and with it all after it, cannot be read: "+csvError(err))), nil
		}
		number, _ := r.FieldPos(0)
		if len(row) != len(order) {
			faults = append(faults, lineFault(number, "", fmt.Sprintf("it has %d cells, the header has %d", len(row), len(order))))
			continue
		}
		clear(cells)
		for i, c := range order {
			cells[c] = row[i]
		}
		tile, wrong, err := readTile(cells, number, studio, find)
		if err != nil {
			return nil, nil, err
		}
		if len(wrong) > 0 {
			faults = append(faults, wrong...)
			continue
		}
		lines = append(lines, tileLine{number, tile})
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
func readHeader(head []string) (order []int, faults []*pb.LineFault) {
	for _, separator := range []string{";", "\t"} {
		if len(head) == 1 && strings.Contains(head[0], separator) {
			return nil, []*pb.LineFault{lineFault(1, "", fmt.Sprintf("cells are separated by %q; allowed: commas, and numbers with a point", separator))}
		}
	}
	seen := map[int]bool{}
	for _, h := range head {
		name := strings.ToLower(strings.TrimSpace(h))
		i := slices.IndexFunc(columns, func(c column) bool { return c.name == name })
		switch {
		case i < 0:
			faults = append(faults, lineFault(1, quotedColumn(h), fmt.Sprintf("there is no column %s; an export shows all that there are", quoted(h))))
		case seen[i]:
			faults = append(faults, lineFault(1, name, "the column "+name+" is there twice"))
		}
		seen[i] = true
		order = append(order, i)
	}
	return order, faults
}

func quotedColumn(name string) string { return strings.Trim(quoted(name), `"`) }

// readTile reads a line. The columns go in the order of the table, so that one may rest on those before it.
func readTile(cells []string, number int, studio string, find names) (*pb.Tile, []*pb.LineFault, error) {
	t := &pb.Tile{}
	var faults []*pb.LineFault
	for i, c := range columns {
		if strings.TrimSpace(cells[i]) == "" {
			continue
		}
		err := c.read(t, cells[i], find)
		if wrong := (*cellError)(nil); errors.As(err, &wrong) {
			faults = append(faults, lineFault(number, c.name, fmt.Sprintf("%s is %s; allowed: %s", c.name, quoted(cells[i]), wrong.limit)))
		} else if err != nil {
			return nil, nil, err
		}
	}
	if len(faults) == 0 {
		tidy(t)
		faults = lineFaults(number, checkResource(t, "tile", studio))
	}
	if len(faults) > 0 {
		return nil, faults[:min(len(faults), mostFaults)], nil
	}
	return t, nil, nil
}

func lineFault(line int, column, sentence string) *pb.LineFault {
	return &pb.LineFault{Line: int32(line), Column: column, Sentence: sentence}
}

// lineFaults turns faults of fields into faults of a line; nil if the error is none of the line's.
func lineFaults(line int, err error) []*pb.LineFault {
	var (
		one *fault.Error
		all FieldErrors
		out []*pb.LineFault
	)
	switch {
	case errors.As(err, &all):
	case errors.As(err, &one):
		all = FieldErrors{one}
	}
	for _, f := range all {
		name := columnOf(f.Field)
		what := name
		if what == "" {
			what = f.Field
		}
		out = append(out, lineFault(line, name, fmt.Sprintf("%s is %s; allowed: %s", what, f.Value, f.Limit)))
	}
	return out
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

func sortFaults(faults []*pb.LineFault) {
	slices.SortStableFunc(faults, func(a, b *pb.LineFault) int { return cmp.Compare(a.Line, b.Line) })
}
