package chain

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// Who takes something in each span of the timeout may take as long as it likes for all; who does not is cut off then.
func TestStall(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		s := &stall{Context: ctx, timeout: 30 * time.Second, cut: cancel}
		taking := func(d time.Duration) func() error {
			return func() error {
				select {
				case <-time.After(d):
					return nil
				case <-ctx.Done():
					return ctx.Err()
				}
			}
		}
		for range 5 {
			if err := s.watch(taking(29 * time.Second)); err != nil {
				t.Fatalf("a slow client: %v", err)
			}
			time.Sleep(time.Minute) // nothing is there to be sent
		}
		start := time.Now()
		if err := s.watch(taking(time.Hour)); status.Code(err) != codes.DeadlineExceeded || time.Since(start) != 30*time.Second {
			t.Errorf("one that takes nothing: %v after %s", err, time.Since(start))
		}
		if s.Err() != context.DeadlineExceeded {
			t.Errorf("the transport is told %v", s.Err())
		}
	})
	broken := errors.New("broken")
	if err := (*stall)(nil).watch(func() error { return broken }); err != broken {
		t.Errorf("unwatched: %v", err)
	}
}
