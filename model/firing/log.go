package firing

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/catchline/catchline/model/fault"
)

// Limits of a kiln's log.
const (
	MaxLogReadings = 20000
	maxLogMinutes  = 14400 // ten days
	maxGapMinutes  = 60
	minLogCelsius  = -50
	maxLogFaults   = 100 // listed; more are counted
)

// LogError lists every bad line of a kiln's log. It unwraps to the fault.Error values.
type LogError struct {
	Faults []*fault.Error // at most 100, with fields such as "log line 12 temperature_c"
	More   int            // how many more there are
}

func (e *LogError) Error() string {
	lines := make([]string, len(e.Faults))
	for i, f := range e.Faults {
		lines[i] = f.Error()
	}
	if e.More > 0 {
		lines = append(lines, fmt.Sprintf("and %d more", e.More))
	}
	return strings.Join(lines, "\n")
}

// Unwrap gives the faults, so that errors.As finds a fault.Error.
func (e *LogError) Unwrap() []error {
	out := make([]error, len(e.Faults))
	for i, f := range e.Faults {
		out[i] = f
	}
	return out
}

func (e *LogError) add(line int, column, value, limit string) {
	if len(e.Faults) == maxLogFaults {
		e.More++
		return
	}
	field := fmt.Sprintf("log line %d", line)
	if column != "" {
		field += " " + column
	}
	e.Faults = append(e.Faults, &fault.Error{Field: field, Value: value, Limit: limit})
}

// ParseLog reads a kiln's own log: CSV with the columns minutes (since any moment) and temperature_c or temperature_f,
// in any order and among any others, which are not read. There are 2 to 20,000 readings, in strictly rising time, at
// most 60 minutes apart and ten days in all, from -50 to 1450 °C. A jump of more than 25 K between two readings that is
// also faster than 50 K a minute is refused, as a thermocouple's fault.
//
// A log with any bad line is refused whole, with a *LogError that lists them by line number.
func ParseLog(r io.Reader) ([]Point, error) {
	reader := csv.NewReader(r)
	reader.FieldsPerRecord = -1
	reader.TrimLeadingSpace = true
	reader.ReuseRecord = true
	faults := &LogError{}

	head, err := reader.Read()
	if err != nil {
		if err != io.EOF && !isParseError(err) {
			return nil, fmt.Errorf("reading a kiln log: %w", err)
		}
		faults.add(1, "", "not a header", "the columns minutes and temperature_c (or temperature_f)")
		return nil, faults
	}
	columns, ok := logColumns(head)
	if !ok {
		faults.add(1, "", quoted(strings.Join(head, ",")), "the columns minutes and either temperature_c or temperature_f, each once")
		return nil, faults
	}

	var points []Point
	readings := 0
	for {
		row, err := reader.Read()
		if err == io.EOF {
			break
		}
		if readings++; readings > MaxLogReadings {
			line, _ := reader.FieldPos(0)
			faults.add(line, "", "one reading too many", fmt.Sprintf("at most %d readings", MaxLogReadings))
			break
		}
		if err != nil {
			var parse *csv.ParseError
			if !errors.As(err, &parse) {
				return nil, fmt.Errorf("reading a kiln log: %w", err)
			}
			faults.add(parse.Line, "", parse.Err.Error(), "plain CSV")
			continue
		}
		line, _ := reader.FieldPos(0)
		p, ok := columns.read(row, line, faults)
		if ok && (len(points) == 0 || follows(points[len(points)-1], p, points[0], line, faults)) {
			points = append(points, p)
		}
	}
	if len(faults.Faults) == 0 && len(points) < 2 {
		faults.add(1, "", fmt.Sprintf("a log of %d readings", len(points)), "at least 2 readings")
	}
	if len(faults.Faults) > 0 {
		return nil, faults
	}
	start := points[0].Seconds
	for i := range points {
		points[i].Seconds -= start
	}
	return points, nil
}

// LogCurve makes the curve of a log. Where the log ends hotter than 300 K below its peak, it cools on at the given
// rate, 10 to 2000 °C/h. The peak is the highest reading. Errors are fault.Error values of log, cooling_c_per_h and
// start_c (a log that starts less than 100 °C below its peak).
func LogCurve(readings []Point, coolingCPerHour float64) (*Curve, error) {
	if len(readings) < 2 || len(readings) > MaxLogReadings {
		return nil, &fault.Error{Field: "log", Value: fmt.Sprintf("%d readings", len(readings)), Limit: fmt.Sprintf("2 to %d readings", MaxLogReadings)}
	}
	for i, p := range readings {
		if !(p.Kelvin >= minLogCelsius+zeroCelsius && p.Kelvin <= MaxCelsius+zeroCelsius) {
			return nil, outside(fmt.Sprintf("log[%d].temperature_c", i), p.Kelvin-zeroCelsius, minLogCelsius, MaxCelsius)
		}
		if i > 0 && !(p.Seconds > readings[i-1].Seconds) || math.IsInf(p.Seconds, 0) || math.IsNaN(p.Seconds) {
			return nil, &fault.Error{Field: fmt.Sprintf("log[%d].minutes", i), Value: number(p.Seconds / 60), Limit: "more than the reading before"}
		}
	}
	return newCurve(append([]Point{}, readings...), coolingCPerHour)
}

// logLayout holds the columns of a log that are read.
type logLayout struct {
	minutes, temperature int
	fahrenheit           bool
}

// logColumns finds the columns in a header. Each must occur exactly once.
func logColumns(head []string) (logLayout, bool) {
	l := logLayout{minutes: -1, temperature: -1}
	for i, name := range head {
		name = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(name, "\ufeff")))
		switch name {
		case "minutes":
			if l.minutes >= 0 {
				return l, false
			}
			l.minutes = i
		case "temperature_c", "temperature_f":
			if l.temperature >= 0 {
				return l, false
			}
			l.temperature = i
			l.fahrenheit = name == "temperature_f"
		}
	}
	return l, l.minutes >= 0 && l.temperature >= 0
}

// read reads a row, or adds its faults to the list.
func (l logLayout) read(row []string, line int, faults *LogError) (Point, bool) {
	if len(row) <= max(l.minutes, l.temperature) {
		faults.add(line, "", fmt.Sprintf("%d columns", len(row)), fmt.Sprintf("at least %d columns", max(l.minutes, l.temperature)+1))
		return Point{}, false
	}
	cell := func(i int, column string, low, high float64) (float64, bool) {
		text := strings.TrimSpace(row[i])
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || !(v >= low && v <= high) {
			faults.add(line, column, quoted(text), "a number from "+number(low)+" to "+number(high))
			return 0, false
		}
		return v, true
	}
	minutes, ok1 := cell(l.minutes, "minutes", -maxLogMinutes, maxLogMinutes)
	var celsius float64
	var ok2 bool
	if l.fahrenheit {
		celsius, ok2 = cell(l.temperature, "temperature_f", minLogCelsius*1.8+32, MaxCelsius*1.8+32)
		celsius = (celsius - 32) / 1.8
	} else {
		celsius, ok2 = cell(l.temperature, "temperature_c", minLogCelsius, MaxCelsius)
	}
	return Point{minutes * 60, celsius + zeroCelsius}, ok1 && ok2
}

// follows checks a reading against the one before it and adds faults to the list. It returns whether the next reading
// is to be compared with this one: yes after a gap, no after a reading that is itself wrong.
func follows(before, p, first Point, line int, faults *LogError) bool {
	const (
		jump = 25.0 // K
		rate = 50.0 // K/min
	)
	minutes := (p.Seconds - before.Seconds) / 60
	rise := math.Abs(p.Kelvin - before.Kelvin)
	switch {
	case !(minutes > 0):
		faults.add(line, "minutes", number(p.Seconds/60), "more than the reading before, "+number(before.Seconds/60))
	case minutes > maxGapMinutes:
		faults.add(line, "minutes", fmt.Sprintf("a gap of %.4g minutes", minutes), fmt.Sprintf("at most %d minutes between readings", maxGapMinutes))
		return true
	case p.Seconds-first.Seconds > maxLogMinutes*60:
		faults.add(line, "minutes", fmt.Sprintf("%.6g minutes after the first reading", (p.Seconds-first.Seconds)/60), fmt.Sprintf("at most %d", maxLogMinutes))
	case rise > jump && rise > rate*minutes:
		faults.add(line, "temperature", fmt.Sprintf("a jump of %.4g K in %.4g minutes", rise, minutes), "at most 25 K at once or 50 K a minute")
	default:
		return true
	}
	return false
}

func isParseError(err error) bool {
	var parse *csv.ParseError
	return errors.As(err, &parse)
}
