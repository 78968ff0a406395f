package api

import (
	"errors"
	"fmt"
	"strings"

	"github.com/catchline/catchline/model/fault"
)

// mostListed is how many faults an answer lists; the rest are counted. A request of a few megabytes can have a million.
const mostListed = 100

// mostTold is how many of them the sentence of an error tells, which travels beside the list.
const mostTold = 5

// FieldErrors are several faults of one request, told all at once.
type FieldErrors struct {
	Listed []*fault.Error // at most mostListed
	More   int            // how many there are besides
}

func (e FieldErrors) Error() string {
	told := e.Listed[:min(len(e.Listed), mostTold)]
	all := make([]string, len(told))
	for i, f := range told {
		all[i] = clipped(f.Error())
	}
	if more := len(e.Listed) - len(told) + e.More; more > 0 {
		all = append(all, fmt.Sprintf("and %d more", more))
	}
	return strings.Join(all, "; ")
}

func (e *FieldErrors) add(f *fault.Error) {
	if len(e.Listed) == mostListed {
		e.More++
		return
	}
	e.Listed = append(e.Listed, f)
}

// collect adds the faults that an error stands for. An error of another kind comes back.
func (e *FieldErrors) collect(err error) error {
	all, ok := fieldsOf(err)
	if !ok {
		return err
	}
	for _, f := range all.Listed {
		e.add(f)
	}
	e.More += all.More
	return nil
}

// fieldsOf returns the faults that an error stands for; false for an error of another kind, and for nil.
func fieldsOf(err error) (FieldErrors, bool) {
	var (
		one *fault.Error
		all FieldErrors
	)
	switch {
	case errors.As(err, &all):
		return all, true
	case errors.As(err, &one):
		return FieldErrors{Listed: []*fault.Error{one}}, true
	}
	return all, false
}

// or returns nil when there is no fault, the fault when there is one, else all of them.
func (e FieldErrors) or() error {
	switch {
	case len(e.Listed) == 0:
		return nil
	case len(e.Listed) == 1 && e.More == 0:
		return e.Listed[0]
	}
	return e
}
