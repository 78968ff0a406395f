package api

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/server/store"
)

// NotFoundError says that the named resource does not exist.
type NotFoundError struct{ Name string }

func (e *NotFoundError) Error() string { return e.Name + " does not exist" }

// ExistsError says that the name is taken.
type ExistsError struct{ Name string }

func (e *ExistsError) Error() string { return e.Name + " exists already" }

// ChangedError says that the resource is no longer what the caller has read.
type ChangedError struct{ Name string }

func (e *ChangedError) Error() string {
	return e.Name + " was changed by someone else meanwhile; read it again and repeat the change"
}

// PreconditionError says that the state of the studio does not allow what was asked for.
type PreconditionError struct {
	Name     string // of the resource that stands in the way
	Sentence string // what stands in the way, and what would help
}

func (e *PreconditionError) Error() string { return e.Name + ": " + e.Sentence }

// unrepeatableError is a write of which nobody knows whether it was done, and which is not safe to
// send again because it had no request id.
type unrepeatableError struct{ cause error }

func (e *unrepeatableError) Error() string { return e.cause.Error() }
func (e *unrepeatableError) Unwrap() error { return e.cause }

// under puts a path before the fields of an error from a deeper room: "recipe[1].amount" becomes "glaze.recipe[1].amount".
func under(path string, err error) error {
	return renamed(err, func(field string) string {
		if field == "" {
			return path
		}
		return path + "." + field
	})
}

// renamed puts the contract's path in place of the model's.
func renamed(err error, path func(string) string) error {
	if err == nil {
		return nil
	}
	all, ok := fieldsOf(err)
	if !ok {
		return err
	}
	renamed := FieldErrors{Listed: make([]*fault.Error, len(all.Listed)), More: all.More}
	for i, f := range all.Listed {
		renamed.Listed[i] = &fault.Error{Field: path(f.Field), Value: f.Value, Limit: f.Limit}
	}
	return renamed.or()
}

// domainName is the domain of the reasons in ErrorInfo.
const domainName = "catchline"

// statusError is what a caller gets, with the cause for the server's own eyes.
type statusError struct {
	status *status.Status
	cause  error
}

func (e *statusError) Error() string              { return e.status.Err().Error() }
func (e *statusError) GRPCStatus() *status.Status { return e.status }
func (e *statusError) Unwrap() error              { return e.cause }

// publicInternal is all that a caller learns of an error that is none of theirs.
const publicInternal = "Something went wrong in the server. It is in the server's log under this request's id."

// toStatus is the one place where errors become answers. The second result says that the cause is the server's own trouble
// and belongs in its log.
func toStatus(err error) (_ error, log bool) {
	if err == nil {
		return nil, false
	}
	made := func(code codes.Code, reason, text string, metadata map[string]string, more ...protoadapt.MessageV1) error {
		details := append([]protoadapt.MessageV1{&errdetails.ErrorInfo{Reason: reason, Domain: domainName, Metadata: metadata}}, more...)
		s, detailErr := status.New(code, text).WithDetails(details...)
		if detailErr != nil {
			s = status.New(code, text)
		}
		return &statusError{s, err}
	}
	named := func(code codes.Code, reason, name string, said error) error {
		return made(code, reason, sentence(said), map[string]string{"name": name}, &errdetails.ResourceInfo{ResourceName: name})
	}
	var (
		field        *fault.Error
		fields       FieldErrors
		notFound     *NotFoundError
		exists       *ExistsError
		changed      *ChangedError
		precondition *PreconditionError
		unrepeatable *unrepeatableError
		damaged      *store.Damaged
		finished     interface{ GRPCStatus() *status.Status }
	)
	switch {
	case errors.As(err, &finished):
		return err, false
	case errors.Is(err, context.Canceled):
		return made(codes.Canceled, "CANCELED", "The request was cancelled.", nil), false
	case errors.Is(err, context.DeadlineExceeded):
		return made(codes.DeadlineExceeded, "DEADLINE_EXCEEDED", "The request took longer than its deadline allows.", nil), false
	case errors.As(err, &fields):
		fields = fields.withinTrailers()
		return made(codes.InvalidArgument, "INVALID_FIELD", sentence(fields), fieldsMetadata(&fields), badRequest(fields.Listed...)), false
	case errors.As(err, &field):
		return made(codes.InvalidArgument, "INVALID_FIELD", sentence(FieldErrors{Listed: []*fault.Error{field}}), fieldMetadata(field), badRequest(field)), false
	case errors.As(err, &notFound):
		return named(codes.NotFound, "NOT_FOUND", notFound.Name, notFound), false
	case errors.As(err, &exists):
		return named(codes.AlreadyExists, "ALREADY_EXISTS", exists.Name, exists), false
	case errors.As(err, &changed):
		return named(codes.Aborted, "ETAG_MISMATCH", changed.Name, changed), false
	case errors.As(err, &precondition):
		return made(codes.FailedPrecondition, "FAILED_PRECONDITION", sentence(precondition), map[string]string{"name": precondition.Name},
			&errdetails.PreconditionFailure{Violations: []*errdetails.PreconditionFailure_Violation{
				{Type: "STATE", Subject: precondition.Name, Description: sentence(errors.New(precondition.Sentence))}}}), false
	case errors.As(err, &damaged):
		return named(codes.DataLoss, "RECORD_DAMAGED", nameOf(damaged.Key), damagedSentence(damaged)), true
	case errors.Is(err, store.ErrNotFound):
		return made(codes.NotFound, "NOT_FOUND", "What was asked for does not exist.", nil), false
	case errors.Is(err, store.ErrAlreadyExists):
		return made(codes.AlreadyExists, "ALREADY_EXISTS", "That exists already.", nil), false
	case errors.Is(err, store.ErrRequestReused):
		return made(codes.AlreadyExists, "REQUEST_ID_REUSED", "The request id was used for another request before; make a new one.", nil), false
	case errors.Is(err, store.ErrConflict):
		return made(codes.Aborted, "CONFLICT", "Someone else changed the same thing meanwhile; try again.", nil), false
	case errors.As(err, &unrepeatable):
		return made(codes.Unknown, "OUTCOME_UNKNOWN", "The storage was lost while the write was under way. It may or may not be done: look before sending it again.", nil), true
	case errors.Is(err, store.ErrUncertain):
		return made(codes.Unavailable, "OUTCOME_UNKNOWN", "The storage was lost while the write was under way. Send the same request with the same request id again.", nil), true
	case errors.Is(err, store.ErrMoved):
		return made(codes.Unavailable, "STORAGE_UNAVAILABLE", "The server's database was deleted, moved or replaced; nothing was written. Whoever runs the server has to put it back.", nil), true
	case errors.Is(err, store.ErrUnavailable):
		return made(codes.Unavailable, "STORAGE_UNAVAILABLE", "The storage cannot be reached just now; try again.", nil), true
	case errors.Is(err, store.ErrClosed):
		return made(codes.Unavailable, "STOPPING", "The server is stopping; try again.", nil), false
	case errors.Is(err, store.ErrFull):
		return made(codes.Unavailable, "STORAGE_FULL", "The server's disk is full; nothing was written.", nil), true
	case errors.Is(err, store.ErrReadOnly):
		return made(codes.FailedPrecondition, "STORAGE_READ_ONLY", "The server's storage is read-only; nothing was written.", nil), true
	case errors.Is(err, store.ErrCorrupt):
		return made(codes.DataLoss, "STORAGE_DAMAGED", "The server's database is damaged; whoever runs the server has to restore it.", nil), true
	}
	return made(codes.Internal, "INTERNAL", publicInternal, nil), true
}

// damagedSentence says which record is damaged, and what its people can do about it.
func damagedSentence(d *store.Damaged) error {
	help := "restore it from a backup, or delete it and make it anew"
	switch d.Key.Kind {
	case store.KindActive, store.KindCalibration:
		help = "activate another calibration, or fit a new one"
	case store.KindStudio:
		help = "whoever runs the server has to restore it from a backup"
	}
	return fmt.Errorf("%s cannot be read, what is stored of it is damaged: %s", nameOf(d.Key), help)
}

// sentence writes an error as one: it starts with a capital letter unless it starts with a field or a name, and ends with a full stop.
func sentence(err error) string {
	s := err.Error()
	if s != "" && !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}

func fieldMetadata(f *fault.Error) map[string]string {
	return map[string]string{"field": clipped(f.Field, longestPart), "value": clipped(f.Value, longestPart), "limit": f.Limit}
}

// fieldsMetadata is that of the first fault, with the number of those that are not listed.
func fieldsMetadata(e *FieldErrors) map[string]string {
	m := fieldMetadata(e.Listed[0])
	if e.More > 0 {
		m["more_faults"] = strconv.Itoa(e.More)
	}
	return m
}

func badRequest(fields ...*fault.Error) *errdetails.BadRequest {
	b := &errdetails.BadRequest{}
	for _, f := range fields {
		b.FieldViolations = append(b.FieldViolations, &errdetails.BadRequest_FieldViolation{
			Field:       clipped(f.Field, longestPart),
			Description: fmt.Sprintf("is %s; allowed: %s", clipped(f.Value, longestPart), f.Limit),
			Reason:      "INVALID_FIELD",
		})
	}
	return b
}

// longestPart is how many bytes of a field or value an answer repeats.
const longestPart = 500

// clipped cuts what came from outside to so many bytes, so that a hostile field cannot fill the answer's head.
func clipped(s string, longest int) string {
	if len(s) <= longest {
		return s
	}
	return strings.ToValidUTF8(s[:longest], "") + "..."
}
