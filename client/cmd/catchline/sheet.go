package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

type sheetCommands struct {
	Score sheetCommand `cmd:"" default:"withargs" help:"Score every combination of a sheet. This is what happens when nothing else is asked."`
	resourceCommands
}

type sheetCommand struct {
	File     string   `arg:"" optional:"" help:"JSON of a sheet or its plan, or a CSV of choices (${choice_columns}); - is the standard input, as JSON."`
	Stored   string   `placeholder:"SHEET" help:"A stored sheet instead."`
	Tolerate *float64 `placeholder:"P" help:"Probability of running too far that is tolerated, such as 0.05. Default: the studio's."`
	Out      string   `short:"o" default:"-" placeholder:"FILE" help:"File to write; - is the standard output. Default: ${default}."`
	Strict   bool     `help:"Exit with code 5 when a risk is above the tolerated one."`
	planFlags
}

// sheetChunk is as many scores as a message may hold: each costs gRPC a buffer of a megabyte, cleared on both sides, whatever is in it.
const sheetChunk = 10_000

// Run scores a sheet and writes it as it comes.
func (s *sheetCommand) Run(a *app) (err error) {
	c, err := a.client()
	if err != nil {
		return err
	}
	r := &pb.ScoreSheetRequest{Parent: a.studioName(), ToleratedRisk: s.Tolerate, ChunkSize: sheetChunk}
	plan := &pb.SheetPlan{}
	if s.Stored != "" {
		if s.File != "" || len(s.Under)+len(s.Middle)+len(s.Over) > 0 {
			return faultf("--stored is a whole sheet; a file, --under, --middle and --over make another. Give one of them.")
		}
		name, err := a.named("sheets", s.Stored)
		if err != nil {
			return err
		}
		sheet, err := c.Sheets.GetSheet(a, &pb.GetSheetRequest{Name: name})
		if err != nil {
			return err
		}
		plan = sheet.Plan
	} else if plan, err = s.plan(a, s.File); err != nil {
		return err
	}
	r.Source = &pb.ScoreSheetRequest_Plan{Plan: plan}

	file, err := a.output(s.Out)
	if err != nil {
		return err
	}
	defer func() {
		if closing := file.Close(); err == nil {
			err = closing
		}
	}()
	out := bufio.NewWriterSize(file, 1<<16)
	w := newSheetWriter(out, a.Format, a.Units, plan)
	tell := a.newProgress("scored")
	defer tell.end()
	beyond := 0
	clearance := 30.0
	if plan.Placement != nil && plan.Placement.ClearanceMm != nil {
		clearance = *plan.Placement.ClearanceMm
	}
	for chunk, err := range c.Sheet(a, r) {
		if err != nil {
			return err
		}
		if err := w.write(chunk); err != nil {
			return err
		}
		// The clearance that the tolerated risk needs is more than there is just where the risk is more than is tolerated.
		for _, needed := range chunk.ClearanceNeededMm {
			if float64(needed) > clearance {
				beyond++
			}
		}
		tell.at(chunk.FirstIndex+int64(len(chunk.MedianRunMm)), chunk.Total)
	}
	if err := w.end(); err != nil {
		return err
	}
	if err := out.Flush(); err != nil {
		return err
	}
	a.tell("Less sure", lessSure(w.flags))
	a.tellCautions(w.cautions)
	if s.Strict && beyond > 0 {
		return errRisk
	}
	return nil
}

// sheetWriter writes the scores of a sheet as they come.
type sheetWriter interface {
	write(*pb.ScoreSheetResponse) error
	end() error
}

// sheetScores writes the scores and keeps what comes with the first of them.
type sheetScores struct {
	sheetWriter
	flags    []*pb.SheetFlag
	cautions []*pb.Caution
}

func (s *sheetScores) write(chunk *pb.ScoreSheetResponse) error {
	if chunk.FirstIndex == 0 {
		s.flags, s.cautions = chunk.Flags, chunk.Cautions
	}
	return s.sheetWriter.write(chunk)
}

// sayBeside says after the scores what goes with them.
func (s *sheetScores) sayBeside(p *printer, u units) error {
	sayFlags(p, u, lessSure(s.flags))
	sayCautions(p, s.cautions)
	return p.err
}

func newSheetWriter(w *bufio.Writer, format string, u units, plan *pb.SheetPlan) *sheetScores {
	s := &sheetScores{}
	switch {
	case format == "json":
		s.sheetWriter = &sheetJSON{sheetIndex: newSheetIndex(plan), w: w}
	case format == "csv":
		s.sheetWriter = &sheetCSV{sheetIndex: newSheetIndex(plan), w: w, u: u}
	case len(plan.Positions) == 2 && len(plan.Positions[1].Choices) <= matrixColumns:
		s.sheetWriter = &sheetMatrix{sheetIndex: newSheetIndex(plan), w: w, u: u, s: s}
	default:
		s.sheetWriter = &sheetList{sheetIndex: newSheetIndex(plan), w: w, u: u, s: s}
	}
	return s
}

// sheetIndex turns an index of a sheet into what was fired and put on.
type sheetIndex struct {
	plan    *pb.SheetPlan
	indices []int
}

func newSheetIndex(plan *pb.SheetPlan) sheetIndex {
	return sheetIndex{plan, make([]int, len(plan.Positions))}
}

// at gives the firing and the choice at each position; the slice is used again by the next call.
func (s *sheetIndex) at(index int64) (firing string, choices []int) {
	for i := len(s.plan.Positions) - 1; i >= 0; i-- {
		n := int64(len(s.plan.Positions[i].Choices))
		s.indices[i] = int(index % n)
		index /= n
	}
	return s.plan.Firings[index], s.indices
}

func (s *sheetIndex) layer(position, choice int) *pb.Layer {
	return s.plan.Positions[position].Choices[choice]
}

// called is what a layer goes by: its lot, or else its glaze.
func called(l *pb.Layer) string {
	if l.Lot != "" {
		return shortOf(l.Lot)
	}
	return shortOf(l.Glaze)
}

// amountOf says how much of a layer there is.
func amountOf(l *pb.Layer) string {
	switch amount := l.Amount.(type) {
	case *pb.Layer_Coats:
		return formatFloat(amount.Coats)
	case *pb.Layer_ThicknessUm:
		return formatFloat(amount.ThicknessUm) + "um"
	case *pb.Layer_DryMassGPerCm2:
		return formatFloat(amount.DryMassGPerCm2) + "g"
	}
	return "2"
}

// sheetCSV is a line a score.
type sheetCSV struct {
	sheetIndex
	w    *bufio.Writer
	u    units
	line []byte
}

func (s *sheetCSV) write(chunk *pb.ScoreSheetResponse) error {
	if chunk.FirstIndex == 0 {
		head := []string{"firing"}
		for i := range s.plan.Positions {
			head = append(head, fmt.Sprintf("layer%d", i+1), fmt.Sprintf("layer%d_amount", i+1))
		}
		head = append(head, s.u.column("median_run"), s.u.column("run_p10"), s.u.column("run_p90"), "exceed_probability", s.u.column("clearance_needed"), "risk")
		s.w.WriteString(strings.Join(head, ","))
		s.w.WriteByte('\n')
	}
	for k := range chunk.MedianRunMm {
		firing, choices := s.at(chunk.FirstIndex + int64(k))
		b := append(s.line[:0], idOf(firing)...)
		for position, choice := range choices {
			l := s.layer(position, choice)
			b = append(append(b, ','), called(l)...)
			b = append(append(b, ','), amountOf(l)...)
		}
		for _, v := range []float32{chunk.MedianRunMm[k], chunk.RunP10Mm[k], chunk.RunP90Mm[k]} {
			b = s.length(append(b, ','), v)
		}
		b = strconv.AppendFloat(append(b, ','), float64(chunk.ExceedProbability[k]), 'g', -1, 32)
		b = s.length(append(b, ','), chunk.ClearanceNeededMm[k])
		b = append(append(b, ','), riskWord(chunk.Risk[k])...)
		s.line = append(b, '\n')
		if _, err := s.w.Write(s.line); err != nil {
			return err
		}
	}
	return nil
}

func (s *sheetCSV) length(b []byte, v float32) []byte {
	return strconv.AppendFloat(b, s.u.from(float64(v)), 'g', -1, 32)
}

func (s *sheetCSV) end() error { return nil }

// sheetJSON is one object with a list of scores, a line each.
type sheetJSON struct {
	sheetIndex
	w     *bufio.Writer
	total int64
}

// sheetScore is one of them; the names are those of the contract's JSON.
type sheetScore struct {
	Firing            string   `json:"firing"`
	Layers            []string `json:"layers"`
	Amounts           []string `json:"amounts"`
	MedianRunMm       float32  `json:"medianRunMm"`
	RunP10Mm          float32  `json:"runP10Mm"`
	RunP90Mm          float32  `json:"runP90Mm"`
	ExceedProbability float32  `json:"exceedProbability"`
	ClearanceNeededMm float32  `json:"clearanceNeededMm"`
	Risk              string   `json:"risk"`
}

// sheetBeside is what stands before them.
type sheetBeside struct {
	Total       int64          `json:"total"`
	Calibration string         `json:"calibration"`
	Flags       []sheetFlag    `json:"flags"`
	Cautions    []sheetCaution `json:"cautions"`
}

type sheetFlag struct {
	Code     string   `json:"code"`
	Sentence string   `json:"sentence"`
	Glazes   []string `json:"glazes,omitempty"`
	Firing   string   `json:"firing,omitempty"`
}

type sheetCaution struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

func (s *sheetJSON) write(chunk *pb.ScoreSheetResponse) error {
	if chunk.FirstIndex == 0 {
		s.total = chunk.Total
		beside := sheetBeside{Total: chunk.Total, Calibration: chunk.Calibration, Flags: []sheetFlag{}, Cautions: []sheetCaution{}}
		for _, f := range chunk.Flags {
			beside.Flags = append(beside.Flags, sheetFlag{f.Code, f.Sentence, f.Glazes, f.Firing})
		}
		for _, c := range chunk.Cautions {
			beside.Cautions = append(beside.Cautions, sheetCaution{c.Code, c.Text})
		}
		text, err := json.Marshal(&beside)
		if err != nil {
			return err
		}
		fmt.Fprintf(s.w, "%s,\n\"scores\": [\n", text[:len(text)-1])
	}
	one := sheetScore{Layers: make([]string, len(s.plan.Positions)), Amounts: make([]string, len(s.plan.Positions))}
	for k := range chunk.MedianRunMm {
		firing, choices := s.at(chunk.FirstIndex + int64(k))
		one.Firing = firing
		for position, choice := range choices {
			l := s.layer(position, choice)
			one.Layers[position], one.Amounts[position] = l.Glaze, amountOf(l)
			if l.Lot != "" {
				one.Layers[position] = l.Lot
			}
		}
		one.MedianRunMm, one.RunP10Mm, one.RunP90Mm = chunk.MedianRunMm[k], chunk.RunP10Mm[k], chunk.RunP90Mm[k]
		one.ExceedProbability, one.ClearanceNeededMm, one.Risk = chunk.ExceedProbability[k], chunk.ClearanceNeededMm[k], chunk.Risk[k].String()
		text, err := json.Marshal(&one)
		if err != nil {
			return err
		}
		s.w.Write(text)
		if chunk.FirstIndex+int64(k)+1 < s.total {
			s.w.WriteByte(',')
		}
		if err := s.w.WriteByte('\n'); err != nil {
			return err
		}
	}
	return nil
}

func (s *sheetJSON) end() error {
	_, err := s.w.WriteString("]}\n")
	return err
}

// sheetList is a line a score for people.
type sheetList struct {
	sheetIndex
	w      *bufio.Writer
	u      units
	s      *sheetScores
	width  int        // of the firings
	labels [][]string // of the layers, by position and choice, as wide as the widest of their position
	line   []byte
}

func (s *sheetList) write(chunk *pb.ScoreSheetResponse) error {
	if chunk.FirstIndex == 0 {
		s.head()
	}
	for k := range chunk.MedianRunMm {
		firing, choices := s.at(chunk.FirstIndex + int64(k))
		b := pad(s.line[:0], idOf(firing), s.width)
		for position, choice := range choices {
			b = append(append(b, "  "...), s.labels[position][choice]...)
		}
		b = padLeft(append(b, "  "...), s.u.number(float64(chunk.MedianRunMm[k])), 8)
		b = padLeft(append(b, "  "...), s.u.number(float64(chunk.RunP10Mm[k])), 7)
		b = padLeft(append(b, " to "...), s.u.number(float64(chunk.RunP90Mm[k])), 6)
		b = padLeft(append(b, "  "...), sayPercent(float64(chunk.ExceedProbability[k])), 7)
		b = padLeft(append(b, "  "...), s.u.number(float64(chunk.ClearanceNeededMm[k])), 8)
		b = append(append(b, "  "...), riskWord(chunk.Risk[k])...)
		s.line = append(b, '\n')
		if _, err := s.w.Write(s.line); err != nil {
			return err
		}
	}
	return nil
}

func (s *sheetList) head() {
	s.width = len("firing")
	for _, f := range s.plan.Firings {
		s.width = max(s.width, len(idOf(f)))
	}
	b := pad(nil, "firing", s.width)
	for i, position := range s.plan.Positions {
		title := fmt.Sprintf("layer %d", i+1)
		width := len(title)
		for _, l := range position.Choices {
			width = max(width, len(labelOf(l)))
		}
		labels := make([]string, len(position.Choices))
		for k, l := range position.Choices {
			labels[k] = string(pad(nil, labelOf(l), width))
		}
		s.labels = append(s.labels, labels)
		b = pad(append(b, "  "...), title, width)
	}
	fmt.Fprintf(s.w, "%s  %8s  %17s  %7s  %8s  risk\n", b, "run "+string(s.u), "80 %", "too far", "leave "+string(s.u))
}

// pad writes a text and blanks behind it, padLeft before it. Ids and numbers are plain letters, so bytes are letters.
func pad(b []byte, text string, width int) []byte {
	b = append(b, text...)
	for range width - len(text) {
		b = append(b, ' ')
	}
	return b
}

func padLeft(b []byte, text string, width int) []byte {
	for range width - len(text) {
		b = append(b, ' ')
	}
	return append(b, text...)
}

func (s *sheetList) end() error {
	return s.s.sayBeside(&printer{w: s.w}, s.u)
}

// labelOf is a layer in few letters: the glaze, and the coats where they are not two.
func labelOf(l *pb.Layer) string {
	if amount := amountOf(l); amount != "2" {
		return called(l) + ":" + amount
	}
	return called(l)
}

// matrixColumns is how many columns of a matrix fit on a page.
const matrixColumns = 14

// sheetMatrix is a table a firing: what lies under down the side, what lies over along the top.
type sheetMatrix struct {
	sheetIndex
	w     *bufio.Writer
	u     units
	s     *sheetScores
	cells [][]string // of the firing under way
}

func (s *sheetMatrix) write(chunk *pb.ScoreSheetResponse) error {
	for k := range chunk.MedianRunMm {
		firing, choices := s.at(chunk.FirstIndex + int64(k))
		if choices[0] == 0 && choices[1] == 0 {
			if s.cells != nil {
				if err := s.flush(); err != nil {
					return err
				}
				s.w.WriteByte('\n')
			}
			fmt.Fprintf(s.w, "%s: median run in %s and risk; down: under, along: over\n\n", idOf(firing), s.u)
			head := []string{""}
			for _, l := range s.plan.Positions[1].Choices {
				head = append(head, labelOf(l))
			}
			s.cells = [][]string{head}
		}
		if choices[1] == 0 {
			s.cells = append(s.cells, []string{labelOf(s.layer(0, choices[0]))})
		}
		last := len(s.cells) - 1
		s.cells[last] = append(s.cells[last], s.u.number(float64(chunk.MedianRunMm[k]))+" "+riskWord(chunk.Risk[k]))
	}
	return nil
}

// flush writes the firing under way.
func (s *sheetMatrix) flush() error {
	right := make([]bool, len(s.cells[0]))
	for i := 1; i < len(right); i++ {
		right[i] = true
	}
	return align(s.w, s.cells, right, "")
}

func (s *sheetMatrix) end() error {
	if err := s.flush(); err != nil {
		return err
	}
	return s.s.sayBeside(&printer{w: s.w}, s.u)
}
