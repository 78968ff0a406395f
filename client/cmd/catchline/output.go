package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

// asJSON writes a message as the HTTP side of the service does, so that the two agree to the last digit.
func asJSON(m proto.Message) ([]byte, error) {
	return protojson.MarshalOptions{EmitDefaultValues: true}.Marshal(m)
}

// writeJSON writes a message for people and programs, always in the same way.
func writeJSON(w io.Writer, m proto.Message) error {
	text, err := asJSON(m)
	if err != nil {
		return err
	}
	var b bytes.Buffer // protojson puts blanks at random
	if err := json.Indent(&b, text, "", "  "); err != nil {
		return err
	}
	b.WriteByte('\n')
	_, err = w.Write(b.Bytes())
	return err
}

// table is rows under a header. A cell is a text or a number.
type table struct {
	head []string
	rows [][]any
}

func (t *table) add(cells ...any) { t.rows = append(t.rows, cells) }

// mm is a length in millimetres, which is shown in the unit of the reader.
type mm float64

// percent is a probability, 0 to 1.
type percent float64

// lengthColumn is the header of a column of lengths: median_run becomes median_run_mm or median_run_in.
func (u units) column(name string) string { return name + "_" + string(u) }

// exact writes a cell for programs.
func exact(v any, u units) string {
	switch v := v.(type) {
	case mm:
		return formatFloat(u.from(float64(v)))
	case percent:
		return formatFloat(float64(v))
	case float64:
		return formatFloat(v)
	case string:
		return withoutFormula(v)
	case fmt.Stringer:
		return withoutFormula(v.String())
	}
	return fmt.Sprint(v)
}

// withoutFormula keeps a spreadsheet from running a text, such as a glaze's name, by an apostrophe before it. Some spreadsheets take blanks away
// first, some take the wide forms of East Asian keyboards for the plain ones, and some start programs by a bar. The server's export goes by the
// same rule.
func withoutFormula(s string) string {
	first, _ := utf8.DecodeRuneInString(strings.TrimLeftFunc(s, unicode.IsSpace))
	if strings.HasPrefix(s, "\t") || strings.HasPrefix(s, "\r") || strings.ContainsRune("=+-@|＝＋－＠｜", first) {
		return "'" + s
	}
	return s
}

// spoken writes a cell for people.
func spoken(v any, u units) string {
	switch v := v.(type) {
	case mm:
		return u.number(float64(v))
	case percent:
		return sayPercent(float64(v))
	case float64:
		return strconv.FormatFloat(v, 'g', 4, 64)
	}
	return fmt.Sprint(v)
}

func formatFloat(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// sayPercent says a probability so that neither 0 % nor 100 % is said of what is not certain.
func sayPercent(p float64) string {
	switch {
	case p > 0 && p < 0.01:
		return "<1 %"
	case p < 1 && p > 0.99:
		return ">99 %"
	}
	return strconv.FormatFloat(math.Round(100*p), 'f', 0, 64) + " %"
}

// write writes the table as CSV or for people.
func (t *table) write(w io.Writer, format string, u units) error {
	if format == "csv" {
		c := csv.NewWriter(w)
		c.Write(t.head)
		for _, row := range t.rows {
			cells := make([]string, len(row))
			for i, v := range row {
				cells[i] = exact(v, u)
			}
			c.Write(cells)
		}
		c.Flush()
		return c.Error()
	}
	cells := make([][]string, 0, len(t.rows)+1)
	head := make([]string, len(t.head))
	for i, h := range t.head {
		head[i] = strings.ReplaceAll(h, "_", " ")
	}
	cells = append(cells, head)
	right := make([]bool, len(t.head)) // columns of numbers
	for r, row := range t.rows {
		line := make([]string, len(row))
		for i, v := range row {
			line[i] = spoken(v, u)
			switch v.(type) {
			case string, fmt.Stringer:
			default:
				right[i] = r == 0 || right[i]
			}
		}
		cells = append(cells, line)
	}
	return align(w, cells, right, "")
}

// align writes cells in columns that are as wide as their widest.
func align(w io.Writer, cells [][]string, right []bool, indent string) error {
	var width []int
	for _, row := range cells {
		for i, c := range row {
			if i == len(width) {
				width = append(width, 0)
			}
			width[i] = max(width[i], utf8.RuneCountInString(c))
		}
	}
	var b strings.Builder
	for _, row := range cells {
		line := indent
		for i, c := range row {
			blank := strings.Repeat(" ", width[i]-utf8.RuneCountInString(c))
			if i > 0 {
				line += "  "
			}
			if right[i] {
				line += blank + c
			} else {
				line += c + blank
			}
		}
		b.WriteString(strings.TrimRight(line, " "))
		b.WriteByte('\n')
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// show writes an answer: as JSON the message itself, as CSV the table, else the text, or the table where there is none.
func (a *app) show(m proto.Message, t func() *table, text func(io.Writer) error) error {
	switch {
	case a.Format == "json":
		return writeJSON(a.out, m)
	case a.Format == "table" && text != nil:
		return text(a.out)
	}
	return t().write(a.out, a.Format, a.Units)
}

// word is the plain word of an enumeration's value: RISK_HIGH of the prefix RISK_ is high.
func word(value fmt.Stringer, prefix string) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(value.String(), prefix)), "_", " ")
}

// counted is a number of things: 1 tile, 2 tiles.
func counted[N int | int32](n N, thing string) string {
	if n != 1 {
		thing += "s"
	}
	return fmt.Sprintf("%d %s", n, thing)
}

// output opens a file to write, or the standard output for - and nothing.
func (a *app) output(path string) (io.WriteCloser, error) {
	if path == "" || path == "-" {
		return nopCloser{a.out}, nil
	}
	f, err := os.Create(path)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be written: %w", path, err)
	}
	return f, nil
}

type nopCloser struct{ io.Writer }

func (nopCloser) Close() error { return nil }
