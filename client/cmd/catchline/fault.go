package main

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/catchline/catchline/model/fault"
)

// Exit codes.
const (
	exitDone = iota
	exitFailed
	exitInput
	exitNotFound
	exitUnavailable
	exitRisk
)

// errRisk says that a risk is above the tolerated one; the answer has said so already.
var errRisk = errors.New("the risk is above the tolerated one")

// inputFault is a fault of the command line or of a file that goes with it.
type inputFault struct{ sentence string }

func (f *inputFault) Error() string { return f.sentence }

func faultf(format string, args ...any) error { return &inputFault{fmt.Sprintf(format, args...)} }

// fieldFault names a flag, its value and what is allowed.
func fieldFault(field, value, limit string) error {
	return &fault.Error{Field: field, Value: value, Limit: limit}
}

func exitCode(err error) int {
	var (
		input *inputFault
		field *fault.Error
	)
	switch {
	case errors.Is(err, errRisk):
		return exitRisk
	case errors.As(err, &input), errors.As(err, &field):
		return exitInput
	}
	switch status.Code(err) {
	case codes.InvalidArgument, codes.OutOfRange:
		return exitInput
	case codes.NotFound:
		return exitNotFound
	case codes.Unavailable, codes.DeadlineExceeded:
		return exitUnavailable
	}
	return exitFailed
}

// sentenceOf says an error as a sentence, or as several where a server names several faults.
func sentenceOf(err error) string {
	if errors.Is(err, context.Canceled) || status.Code(err) == codes.Canceled {
		return "Stopped."
	}
	var answered interface{ GRPCStatus() *status.Status }
	if !errors.As(err, &answered) {
		return stopped(err.Error())
	}
	s := answered.GRPCStatus()
	text := stopped(s.Message())
	switch s.Code() {
	case codes.Unavailable:
		if !reason(s, "STORAGE_UNAVAILABLE", "STOPPING", "OUTCOME_UNKNOWN", "OVERLOADED") {
			text = unreachable(s.Message())
		}
	case codes.DeadlineExceeded:
		if strings.Contains(s.Message(), "connection error") { // while waiting for a server
			text = unreachable(s.Message())
		}
	case codes.Unauthenticated:
		text += " Give one with --key-file or in CATCHLINE_KEY."
	}
	for _, d := range s.Details() {
		if b, ok := d.(*errdetails.BadRequest); ok && len(b.FieldViolations) > 1 {
			var lines []string
			for _, v := range b.FieldViolations {
				lines = append(lines, "  "+v.Field+" "+v.Description)
			}
			more := moreFaults(s)
			if more > 0 {
				lines = append(lines, fmt.Sprintf("  and %d more", more))
			}
			return fmt.Sprintf("The request has %d faults:\n%s", len(b.FieldViolations)+more, strings.Join(lines, "\n"))
		}
	}
	return text
}

// moreFaults is how many faults a server has found besides those that it lists.
func moreFaults(s *status.Status) int {
	for _, d := range s.Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			if n, err := strconv.Atoi(info.Metadata["more_faults"]); err == nil {
				return n
			}
		}
	}
	return 0
}

// unreachable says why a server cannot be reached, and what to do. Of what the transport says the last part tells people something.
func unreachable(cause string) string {
	if i := strings.LastIndex(cause, "dialing: "); i >= 0 {
		cause = cause[i+len("dialing: "):]
	}
	return "The server cannot be reached: " + strings.Trim(cause, "\". ") + ". Start one with catchline-server, name another with --server, or add --embedded."
}

func reason(s *status.Status, any ...string) bool {
	for _, d := range s.Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			for _, r := range any {
				if info.Reason == r {
					return true
				}
			}
		}
	}
	return false
}

func stopped(s string) string {
	if s == "" || strings.ContainsAny(s[len(s)-1:], ".!?:\n") {
		return s
	}
	return s + "."
}
