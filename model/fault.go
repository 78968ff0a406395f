package model

import (
	"strconv"

	"github.com/catchline/catchline/model/fault"
)

// outside is the error of a number that is not within its limits.
func outside(field string, value, low, high float64, unit string) error {
	return &fault.Error{Field: field, Value: number(value) + unit, Limit: number(low) + " to " + number(high) + unit}
}

func fieldError(field, value, limit string) error {
	return &fault.Error{Field: field, Value: value, Limit: limit}
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
