package api

import (
	"encoding/base64"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/model/fault"
)

// mostListed is how many faults an answer lists; the rest are counted. A request of a few megabytes can have a million.
const mostListed = 100

// mostTold is how many of them the sentence of an error tells, which travels beside the list.
const mostTold = 5

// longestTold is how many bytes of each, so that they leave room in the trailers.
const longestTold = 200

// FieldErrors are several faults of one request, told all at once.
type FieldErrors struct {
	Listed []*fault.Error // at most mostListed
	More   int            // how many there are besides
}

func (e FieldErrors) Error() string {
	told := e.Listed[:min(len(e.Listed), mostTold)]
	all := make([]string, len(told))
	for i, f := range told {
		all[i] = clipped(f.Error(), longestTold)
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

// mostTrailerBytes bounds what the list of faults takes in a status. A status travels in the trailers, its details in base64, and
// clients on the gRPC C core refuse trailers of more than 8 kB unless told otherwise; the sentence and the rest have their part too.
const mostTrailerBytes = 4500

// withinTrailers lists as many of the faults as a status has room for, at least one, and counts the rest.
func (e FieldErrors) withinTrailers() FieldErrors {
	room := mostTrailerBytes
	for i, f := range e.Listed {
		room -= base64.StdEncoding.EncodedLen(proto.Size(badRequest(f)))
		if room < 0 && i > 0 {
			return FieldErrors{Listed: e.Listed[:i], More: e.More + len(e.Listed) - i}
		}
	}
	return e
}
