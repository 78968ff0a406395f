package main

import (
	"bufio"
	"encoding/csv"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/status"

	"github.com/catchline/catchline/model/chem"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

type meltCommand struct {
	In  string `required:"" placeholder:"FILE" help:"CSV with a column for each oxide, by its formula (SiO2), in mole fraction, and T_K, the temperature in kelvin; - is the standard input. Other columns are passed through."`
	Out string `default:"-" placeholder:"FILE" help:"CSV to write: all columns of the input, log10_eta_pred (viscosity in Pa·s) and log10_eta_sd; - is the standard output. Default: ${default}."`
}

const (
	temperatureColumn = "T_K"
	meltChunk         = 5000 // samples a call; the contract takes 10,000
)

// meltColumns are added to the input's.
var meltColumns = []string{"log10_eta_pred", "log10_eta_sd"}

// Run predicts viscosities.
func (m *meltCommand) Run(a *app) (err error) {
	in, err := a.input(m.In)
	if err != nil {
		return err
	}
	defer in.Close()
	r := csv.NewReader(in)
	head, err := r.Read()
	if err != nil {
		return faultf("%s has no header: %v.", m.In, err)
	}
	columns, err := meltHeader(m.In, head)
	if err != nil {
		return err
	}
	c, err := a.client()
	if err != nil {
		return err
	}
	out, err := a.output(m.Out)
	if err != nil {
		return err
	}
	defer func() {
		if closing := out.Close(); err == nil {
			err = closing
		}
	}()
	w := csv.NewWriter(bufio.NewWriterSize(out, 1<<16))
	w.Write(append(slices.Clone(head), meltColumns...))
	tell := a.newProgress("predicted")
	defer tell.end()
	var (
		rows    [][]string
		lines   []int
		request = &pb.PredictViscosityRequest{}
		done    int64
	)
	for {
		row, failure := r.Read()
		if failure == nil {
			line, _ := r.FieldPos(0)
			sample, err := columns.sample(m.In, line, row)
			if err != nil {
				return err
			}
			rows, lines = append(rows, row), append(lines, line)
			request.Samples = append(request.Samples, sample)
			if len(rows) < meltChunk {
				continue
			}
		} else if !errors.Is(failure, io.EOF) {
			return faultf("%s: %v.", m.In, failure)
		}
		if len(rows) > 0 {
			answer, err := c.Glazes.PredictViscosity(a, request)
			if err != nil {
				return atLine(m.In, lines, err)
			}
			for i, v := range answer.Viscosities {
				w.Write(append(rows[i], formatFloat(v.Log10ViscosityPaS), formatFloat(v.Log10ViscositySd)))
			}
			done += int64(len(rows))
			tell.at(done, done+1) // how many there will be is not known
			rows, lines, request = nil, nil, &pb.PredictViscosityRequest{}
		}
		if failure != nil {
			break
		}
	}
	w.Flush()
	return w.Error()
}

// meltTable says which columns of the input are read.
type meltTable struct {
	oxides      []int // columns
	names       []string
	temperature int
}

func meltHeader(file string, head []string) (*meltTable, error) {
	t := &meltTable{temperature: -1, names: head}
	for i, name := range head {
		if _, ok := chem.ParseOxide(name); ok {
			t.oxides = append(t.oxides, i)
		}
		if name == temperatureColumn {
			t.temperature = i
		}
		if slices.Contains(head[:i], name) || slices.Contains(meltColumns, name) {
			return nil, faultf("%s has the column %q twice, or it is one that is to be added.", file, name)
		}
	}
	if t.temperature < 0 {
		return nil, faultf("%s has no column %s, the temperature in kelvin.", file, temperatureColumn)
	}
	if len(t.oxides) == 0 {
		return nil, faultf("%s has no column of an oxide, such as SiO2.", file)
	}
	return t, nil
}

// sample reads a row.
func (t *meltTable) sample(file string, line int, row []string) (*pb.MeltSample, error) {
	number := func(i int) (float64, error) {
		cell := strings.TrimSpace(row[i])
		if cell == "" && i != t.temperature {
			return 0, nil
		}
		x, err := strconv.ParseFloat(cell, 64)
		if err != nil {
			return 0, faultf("%s, line %d: %s is %q; allowed: a number.", file, line, t.names[i], row[i])
		}
		return x, nil
	}
	s := &pb.MeltSample{MoleFractions: make(map[string]float64, len(t.oxides))}
	for _, i := range t.oxides {
		x, err := number(i)
		if err != nil {
			return nil, err
		}
		if x != 0 {
			s.MoleFractions[t.names[i]] = x
		}
	}
	var err error
	s.TemperatureK, err = number(t.temperature)
	return s, err
}

// atLine puts the line of the file in place of the sample's number.
func atLine(file string, lines []int, err error) error {
	for _, d := range status.Convert(err).Details() {
		b, ok := d.(*errdetails.BadRequest)
		if !ok || len(b.FieldViolations) == 0 {
			continue
		}
		v := b.FieldViolations[0]
		rest, ok := strings.CutPrefix(v.Field, "samples[")
		if !ok {
			continue
		}
		index, field, _ := strings.Cut(rest, "]")
		if i, bad := strconv.Atoi(index); bad == nil && i >= 0 && i < len(lines) {
			return faultf("%s, line %d: %s %s.", file, lines[i], strings.TrimPrefix(field, "."), v.Description)
		}
	}
	return err
}
