package gateway

import (
	"errors"
	"io"
	"testing"

	"google.golang.org/grpc"
)

type endedStream struct {
	grpc.ClientStream
	err error
}

func (s endedStream) SendMsg(any) error { return s.err }

// A stream that the server ended before it had the request tells why when it is received from: grpc-go, for which sending on such a stream is no error
// either (google.golang.org/grpc, ClientStream.SendMsg), is what the generated code is written for.
func TestSendingOnAnEndedStreamIsNoError(t *testing.T) {
	if err := (answeredStream{endedStream{err: io.EOF}}).SendMsg(nil); err != nil {
		t.Errorf("ended: %v", err)
	}
	broken := errors.New("broken")
	if err := (answeredStream{endedStream{err: broken}}).SendMsg(nil); err != broken {
		t.Errorf("broken: %v", err)
	}
}
