package main

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// units is the unit in which people read and write lengths along a wall.
type units string

const (
	millimetres units = "mm"
	inches      units = "in"

	mmPerInch = 25.4 // exact by definition
)

// from turns millimetres of the contract into the unit.
func (u units) from(mm float64) float64 {
	if u == inches {
		return mm / mmPerInch
	}
	return mm
}

// Say writes a length for people.
func (u units) Say(mm float64) string { return u.number(mm) + " " + string(u) }

// number is Say without the unit: to a tenth of a millimetre or a hundredth of an inch, less where it is long.
func (u units) number(mm float64) string {
	switch {
	case u == inches:
		return strconv.FormatFloat(mm/mmPerInch, 'f', 2, 64)
	case math.Abs(mm) >= 99.95:
		return strconv.FormatFloat(mm, 'f', 0, 64)
	}
	return strconv.FormatFloat(mm, 'f', 1, 64)
}

// Round says a length that somebody chose, which has no more digits than it needs.
func (u units) Round(mm float64) string {
	if u == inches {
		return u.Say(mm)
	}
	return strconv.FormatFloat(mm, 'f', -1, 64) + " mm"
}

// Between is a range of lengths.
func (u units) Between(low, high float64) string {
	return fmt.Sprintf("%s to %s %s", u.number(low), u.number(high), u)
}

// said are lengths in a sentence of the service, one or a range of two; an area or a volume is none.
var said = regexp.MustCompile(`(\d+(?:\.\d+)?)(?:( to | and )(\d+(?:\.\d+)?))? mm[²³]?`)

// Sentence says a sentence of the service, which speaks in millimetres.
func (u units) Sentence(text string) string {
	if u != inches {
		return text
	}
	return said.ReplaceAllStringFunc(text, func(found string) string {
		part := said.FindStringSubmatch(found)
		low, _ := strconv.ParseFloat(part[1], 64)
		if !strings.HasSuffix(found, "mm") {
			return found
		}
		if part[3] == "" {
			return u.Say(low)
		}
		high, _ := strconv.ParseFloat(part[3], 64)
		return u.number(low) + part[2] + u.Say(high)
	})
}

// length is one that was given: a number, perhaps with a unit: 30, 30mm, 1.25in.
type length struct{ text string }

// UnmarshalText keeps the text until the unit is known.
func (l *length) UnmarshalText(b []byte) error {
	l.text = string(b)
	return nil
}

// mm gives millimetres. The flag is for the error.
func (l *length) mm(flag string, u units) (float64, error) {
	number := strings.TrimSpace(l.text)
	for _, suffix := range []units{millimetres, inches} {
		if rest, ok := strings.CutSuffix(number, string(suffix)); ok {
			number, u = strings.TrimSpace(rest), suffix
			break
		}
	}
	x, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		return 0, fieldFault(flag, strconv.Quote(l.text), "a length such as 30, 30mm or 1.25in")
	}
	if u == inches {
		x *= mmPerInch
	}
	return x, nil
}

// optionalMM is nil where no length was given.
func optionalMM(l *length, flag string, u units) (*float64, error) {
	if l == nil {
		return nil, nil
	}
	x, err := l.mm(flag, u)
	return &x, err
}
