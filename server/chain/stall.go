package chain

import (
	"context"
	"sync/atomic"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// stall is the context of a gRPC stream, and ends it when the client has taken nothing of it for some time: others wait for its place, and
// for the memory of what is ready to be sent.
type stall struct {
	context.Context
	timeout time.Duration
	cut     func() // ends the transport's context, and with it the sending
	timer   *time.Timer
	cutOff  atomic.Bool
}

// Err implements context.Context: to the transport, which tells the client, it is a deadline that has passed.
func (s *stall) Err() error {
	err := s.Context.Err()
	if err != nil && s.cutOff.Load() {
		return context.DeadlineExceeded
	}
	return err
}

// watch sends by the function, within the timeout. The transport sends at once what the client has room for, and else waits until it has.
func (s *stall) watch(send func() error) error {
	if s == nil {
		return send()
	}
	if s.timer == nil {
		s.timer = time.AfterFunc(s.timeout, func() {
			s.cutOff.Store(true)
			s.cut()
		})
	} else {
		s.timer.Reset(s.timeout)
	}
	err := send()
	s.timer.Stop()
	if s.cutOff.Load() {
		return status.Errorf(codes.DeadlineExceeded, "The client took nothing of the answer for %s.", s.timeout)
	}
	return err
}
