package api

import (
	"strconv"

	"github.com/catchline/catchline/model/fault"
)

// mostColumns is how many a file may have of which only some are read.
const mostColumns = 1000

// checkWidth refuses a CSV text with a line of too many cells, before the CSV reader makes a string of each: a line of 8 MB of commas
// would take half a gigabyte. It counts commas outside quotes, as the reader does up to the first fault of quoting.
func checkWidth(field, text string, most int) error {
	cells, line, start, quoted := 1, 1, 1, false
	for i := range len(text) {
		switch c := text[i]; {
		case c == '"':
			quoted = !quoted
		case c == '\n':
			line++
			if !quoted {
				cells, start = 1, line
			}
		case c == ',' && !quoted:
			if cells++; cells > most {
				return &fault.Error{
					Field: field + " line " + strconv.Itoa(start),
					Value: "a line of more than " + strconv.Itoa(most) + " cells",
					Limit: "1 to " + strconv.Itoa(most) + " cells",
				}
			}
		}
	}
	return nil
}
