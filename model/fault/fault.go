// Package fault is the error of a field: which input is wrong, what was given and what is allowed.
package fault

import "fmt"

// Error says which input is wrong, what was given and what is allowed, so that every interface can tell it to a person and to a program.
type Error struct {
	Field string // path of the input, such as "layers[1].coats"
	Value string // what was given
	Limit string // what is allowed, such as "more than 0 and at most 20"
}

func (e *Error) Error() string {
	return fmt.Sprintf("%s is %s; allowed: %s", e.Field, e.Value, e.Limit)
}
