package draw

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/film"
)

// ReadProfileCSV reads a turned wall, foot first, from a table with the columns height_mm and radius_mm in either
// order, named in its first line. Further columns are refused, empty lines skipped.
func ReadProfileCSV(r io.Reader) (*film.Profile, error) {
	table := csv.NewReader(r)
	table.FieldsPerRecord = 2
	table.TrimLeadingSpace = true
	head, err := table.Read()
	if errors.Is(err, io.EOF) {
		return nil, &fault.Error{Field: "csv", Value: "empty", Limit: "a first line height_mm,radius_mm and a line for each point"}
	}
	if err != nil {
		return nil, csvError(err)
	}
	height, radius := -1, -1
	for i, name := range head {
		switch strings.TrimSpace(strings.TrimPrefix(name, "\ufeff")) {
		case "height_mm":
			height = i
		case "radius_mm":
			radius = i
		}
	}
	if height < 0 || radius < 0 {
		return nil, &fault.Error{Field: "csv line 1", Value: strconv.Quote(strings.Join(head, ",")), Limit: "the columns height_mm and radius_mm"}
	}
	var points []film.Point
	for {
		row, err := table.Read()
		if errors.Is(err, io.EOF) {
			return film.NewProfile(points)
		}
		if err != nil {
			return nil, csvError(err)
		}
		line, _ := table.FieldPos(0)
		if len(points) == film.MaxProfilePoints {
			return nil, &fault.Error{Field: fmt.Sprintf("csv line %d", line), Value: fmt.Sprintf("point %d", len(points)+1), Limit: fmt.Sprintf("at most %d points", film.MaxProfilePoints)}
		}
		z, err := millimetres(row[height])
		if err != nil {
			return nil, &fault.Error{Field: fmt.Sprintf("csv line %d, height_mm", line), Value: strconv.Quote(row[height]), Limit: "a number"}
		}
		q, err := millimetres(row[radius])
		if err != nil {
			return nil, &fault.Error{Field: fmt.Sprintf("csv line %d, radius_mm", line), Value: strconv.Quote(row[radius]), Limit: "a number"}
		}
		points = append(points, film.Point{Height: z, Radius: q})
	}
}

func millimetres(text string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	return v / 1000, err
}

func csvError(err error) error {
	var bad *csv.ParseError
	if errors.As(err, &bad) {
		return &fault.Error{Field: fmt.Sprintf("csv line %d", bad.Line), Value: bad.Err.Error(), Limit: "two fields, height_mm and radius_mm"}
	}
	return err
}
