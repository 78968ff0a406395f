// Package gateway is the HTTP side: JSON for every method of the contract, its description, health, and the pages.
// It calls the services in this process, through the same chain as gRPC does, so that nothing holds for one and
// not for the other.
package gateway

import (
	"fmt"
	"reflect"

	"github.com/fullstorydev/grpchan/inprocgrpc"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/server/chain"
)

// NewChannel returns a connection to services of this process that are registered on it, with the links in between.
func NewChannel(transport string, links []chain.Link) *inprocgrpc.Channel {
	return new(inprocgrpc.Channel).
		WithCloner(handOver{}).
		WithServerUnaryInterceptor(chain.Unary(transport, links)).
		WithServerStreamInterceptor(chain.Stream(transport, links))
}

var _ grpc.ClientConnInterface = (*inprocgrpc.Channel)(nil)

// handOver passes messages between client and server of one process. A unary request or answer is handed over as it is,
// sharing what it points to: the generated gateway neither looks at a request after sending it nor changes an answer.
// A message of a stream is copied when it is sent, since its sender may fill it anew for the next one.
type handOver struct{}

// Copy makes out share the content of in.
func (handOver) Copy(out, in any) error {
	to, from := reflect.ValueOf(out).Elem(), reflect.ValueOf(in).Elem()
	if to.Type() != from.Type() {
		return fmt.Errorf("a message of type %s where %s is wanted", from.Type(), to.Type())
	}
	to.Set(from)
	return nil
}

// Clone returns a deep copy.
func (handOver) Clone(in any) (any, error) {
	m, ok := in.(proto.Message)
	if !ok {
		return nil, fmt.Errorf("%T is not a message", in)
	}
	return proto.Clone(m), nil
}
