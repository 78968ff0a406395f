package api

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"testing"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/server/store"
)

// violations are the field violations of an answer.
func violations(err error) []*errdetails.BadRequest_FieldViolation {
	for _, d := range status.Convert(err).Details() {
		if b, ok := d.(*errdetails.BadRequest); ok {
			return b.FieldViolations
		}
	}
	return nil
}

func info(err error) *errdetails.ErrorInfo {
	for _, d := range status.Convert(err).Details() {
		if i, ok := d.(*errdetails.ErrorInfo); ok {
			return i
		}
	}
	return nil
}

func TestEveryErrorHasItsCode(t *testing.T) {
	field := &fault.Error{Field: "coats", Value: "0", Limit: "more than 0"}
	both := FieldErrors{Listed: []*fault.Error{field, field}}
	fault := func(kind error) error {
		return &store.Fault{Kind: kind, Where: "/secret/place.db", Cause: errors.New("driver"), Mend: "call someone"}
	}
	for _, c := range []struct {
		err    error
		code   codes.Code
		http   int
		reason string
		text   string
		logged bool
	}{
		{field, codes.InvalidArgument, http.StatusBadRequest, "INVALID_FIELD", "coats is 0; allowed: more than 0.", false},
		{both, codes.InvalidArgument, http.StatusBadRequest, "INVALID_FIELD", "coats is 0; allowed: more than 0; coats is 0; allowed: more than 0.", false},
		{&NotFoundError{"studios/a"}, codes.NotFound, http.StatusNotFound, "NOT_FOUND", "studios/a does not exist.", false},
		{&ExistsError{"studios/a"}, codes.AlreadyExists, http.StatusConflict, "ALREADY_EXISTS", "studios/a exists already.", false},
		{&ChangedError{"studios/a"}, codes.Aborted, http.StatusConflict, "ETAG_MISMATCH", "studios/a was changed by someone else meanwhile; read it again and repeat the change.", false},
		{&PreconditionError{"studios/a", "it holds tiles"}, codes.FailedPrecondition, http.StatusBadRequest, "FAILED_PRECONDITION", "studios/a: it holds tiles.", false},
		{store.ErrNotFound, codes.NotFound, http.StatusNotFound, "NOT_FOUND", "What was asked for does not exist.", false},
		{store.ErrAlreadyExists, codes.AlreadyExists, http.StatusConflict, "ALREADY_EXISTS", "That exists already.", false},
		{store.ErrRequestReused, codes.AlreadyExists, http.StatusConflict, "REQUEST_ID_REUSED", "The request id was used for another request before; make a new one.", false},
		{store.ErrConflict, codes.Aborted, http.StatusConflict, "CONFLICT", "Someone else changed the same thing meanwhile; try again.", false},
		{fault(store.ErrUnavailable), codes.Unavailable, http.StatusServiceUnavailable, "STORAGE_UNAVAILABLE", "The storage cannot be reached just now; try again.", true},
		{fault(store.ErrUncertain), codes.Unavailable, http.StatusServiceUnavailable, "OUTCOME_UNKNOWN", "The storage was lost while the write was under way. Send the same request with the same request id again.", true},
		{&unrepeatableError{fault(store.ErrUncertain)}, codes.Unknown, http.StatusInternalServerError, "OUTCOME_UNKNOWN", "The storage was lost while the write was under way. It may or may not be done: look before sending it again.", true},
		{store.ErrClosed, codes.Unavailable, http.StatusServiceUnavailable, "STOPPING", "The server is stopping; try again.", false},
		{fault(store.ErrFull), codes.Unavailable, http.StatusServiceUnavailable, "STORAGE_FULL", "The server's disk is full; nothing was written.", true},
		{fault(store.ErrReadOnly), codes.FailedPrecondition, http.StatusBadRequest, "STORAGE_READ_ONLY", "The server's storage is read-only; nothing was written.", true},
		{fault(store.ErrMoved), codes.Unavailable, http.StatusServiceUnavailable, "STORAGE_UNAVAILABLE", "The server's database was deleted, moved or replaced; nothing was written. Whoever runs the server has to put it back.", true},
		{fault(store.ErrCorrupt), codes.DataLoss, http.StatusInternalServerError, "STORAGE_DAMAGED", "The server's database is damaged; whoever runs the server has to restore it.", true},
		{fault(store.ErrNeedsMigration), codes.Internal, http.StatusInternalServerError, "INTERNAL", publicInternal, true},
		{context.Canceled, codes.Canceled, 499, "CANCELED", "The request was cancelled.", false},
		{context.DeadlineExceeded, codes.DeadlineExceeded, http.StatusGatewayTimeout, "DEADLINE_EXCEEDED", "The request took longer than its deadline allows.", false},
		{errors.New("disk /secret on fire"), codes.Internal, http.StatusInternalServerError, "INTERNAL", publicInternal, true},
	} {
		for _, wrap := range []string{"%w", "while at it: %w"} {
			err := fmt.Errorf(wrap, c.err)
			got, logged := toStatus(err)
			s := status.Convert(got)
			if s.Code() != c.code || runtime.HTTPStatusFromCode(s.Code()) != c.http || logged != c.logged || info(got).GetReason() != c.reason {
				t.Errorf("%v: %v, HTTP %d, logged %v, %s", err, s, runtime.HTTPStatusFromCode(s.Code()), logged, info(got).GetReason())
			}
			if s.Message() != c.text {
				t.Errorf("%v reads %q, want %q", err, s.Message(), c.text)
			}
			if strings.Contains(s.String(), "/secret") {
				t.Errorf("%v tells where the server keeps its files", s)
			}
			if !errors.Is(got, err) {
				t.Errorf("the cause of %v is lost", got)
			}
		}
	}
	done := status.Error(codes.PermissionDenied, "no")
	if got, _ := toStatus(done); got != done {
		t.Errorf("a finished answer became %v", got)
	}
}

func TestTheServersOwnTroublesAreLogged(t *testing.T) {
	var log bytes.Buffer
	a := &API{log: slog.New(slog.NewTextHandler(&log, nil))}
	a.answer(t.Context(), errors.New("the disk is on fire"))
	if !strings.Contains(log.String(), "the disk is on fire") {
		t.Errorf("log %q", log.String())
	}
	log.Reset()
	a.answer(t.Context(), &NotFoundError{"studios/a"})
	if log.Len() > 0 {
		t.Errorf("a caller's mistake was logged: %q", log.String())
	}
}

// GRPC_ARG_MAX_METADATA_SIZE of the C core, which Python, Ruby and C++ clients stand on, is 8 kB by default (grpc_types.h).
func TestFaultsFitIntoTrailers(t *testing.T) {
	for _, value := range []string{"99", strings.Repeat("9", 400)} {
		var faults FieldErrors
		for i := range 100_000 {
			faults.add(&fault.Error{Field: fmt.Sprintf("layers[%d].coats", i), Value: value, Limit: "more than 0 and at most 20"})
		}
		err, _ := toStatus(faults.or())
		listed, s := violations(err), status.Convert(err)
		if len(listed) == 0 || listed[0].Field != "layers[0].coats" {
			t.Fatalf("%d violations", len(listed))
		}
		if want := strconv.Itoa(100_000 - len(listed)); info(err).Metadata["more_faults"] != want {
			t.Errorf("%s more faults, want %s", info(err).Metadata["more_faults"], want)
		}
		if onTheWire := len(s.Message()) + base64.StdEncoding.EncodedLen(proto.Size(s.Proto())); onTheWire > 8<<10 {
			t.Errorf("%d faults take %d bytes of trailers", len(listed), onTheWire)
		}
	}
}
