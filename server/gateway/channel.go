// Package gateway is the HTTP side: JSON for every method of the contract, its description, health, and the pages.
// It calls the services in this process, through the same chain as gRPC does, so that nothing holds for one and
// not for the other.
package gateway

import (
	"context"
	"errors"
	"fmt"
	"io"
	"reflect"

	"github.com/fullstorydev/grpchan/inprocgrpc"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/stats"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/server/chain"
)

// Channel is a connection to services of this process that are registered on it. Streams go through a library's channel; a unary
// call is made on the caller's own goroutine, which saves a fifth of the time of a short one.
type Channel struct {
	*inprocgrpc.Channel
	unary   grpc.UnaryServerInterceptor
	methods map[string]unaryMethod
	traced  bool
}

type unaryMethod struct {
	handler grpc.MethodHandler
	service any
}

var _ grpc.ClientConnInterface = (*Channel)(nil)

// NewChannel returns a connection to services that are registered on it, with the links in between.
func NewChannel(transport string, links []chain.Link) *Channel {
	unary := chain.Unary(transport, links)
	return &Channel{
		Channel: new(inprocgrpc.Channel).
			WithCloner(handOver{}).
			WithServerUnaryInterceptor(unary).
			WithServerStreamInterceptor(chain.Stream(transport, links)),
		unary:   unary,
		methods: map[string]unaryMethod{},
	}
}

// RegisterService implements grpc.ServiceRegistrar.
func (c *Channel) RegisterService(d *grpc.ServiceDesc, service any) {
	for _, m := range d.Methods {
		c.methods["/"+d.ServiceName+"/"+m.MethodName] = unaryMethod{m.Handler, service}
	}
	c.Channel.RegisterService(d, service)
}

// Trace tells h of every call.
func (c *Channel) Trace(h stats.Handler) {
	c.traced = true
	c.WithServerStatsHandler(h)
}

// Invoke implements grpc.ClientConnInterface. Of the options it knows those that ask for headers and trailers.
func (c *Channel) Invoke(ctx context.Context, method string, request, answer any, options ...grpc.CallOption) error {
	m, ok := c.methods[method]
	if !ok || c.traced {
		return c.Channel.Invoke(ctx, method, request, answer, options...)
	}
	sent := &sentByServer{method: method}
	md, _ := metadata.FromOutgoingContext(ctx)
	inner := grpc.NewContextWithServerTransportStream(metadata.NewIncomingContext(ctx, md), sent)
	take := func(to any) error { return handOver{}.Copy(to, request) }
	got, err := m.handler(m.service, inner, take, c.unary)
	for _, o := range options {
		switch o := o.(type) {
		case grpc.HeaderCallOption:
			*o.HeaderAddr = sent.header
		case grpc.TrailerCallOption:
			*o.TrailerAddr = sent.trailer
		}
	}
	if err == nil {
		return handOver{}.Copy(answer, got)
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return status.FromContextError(err).Err()
	}
	return err
}

// NewStream implements grpc.ClientConnInterface.
func (c *Channel) NewStream(ctx context.Context, d *grpc.StreamDesc, method string, options ...grpc.CallOption) (grpc.ClientStream, error) {
	stream, err := c.Channel.NewStream(ctx, d, method, options...)
	if err != nil || d.ClientStreams {
		return stream, err
	}
	return answeredStream{stream}, nil
}

// answeredStream is a stream on which only the server sends more than one message. Where the server ended it before it had the request, as when a key
// is refused, that is no error of sending: why it ended comes with receiving. A connection over a socket does the same.
type answeredStream struct{ grpc.ClientStream }

func (s answeredStream) SendMsg(m any) error {
	if err := s.ClientStream.SendMsg(m); !errors.Is(err, io.EOF) {
		return err
	}
	return nil
}

// sentByServer keeps what the server of a unary call sends beside its answer.
type sentByServer struct {
	method          string
	header, trailer metadata.MD
}

func (s *sentByServer) Method() string { return s.method }

func (s *sentByServer) SetHeader(md metadata.MD) error {
	s.header = metadata.Join(s.header, md)
	return nil
}

func (s *sentByServer) SendHeader(metadata.MD) error {
	return status.Error(codes.Internal, "headers go out with the answer")
}

func (s *sentByServer) SetTrailer(md metadata.MD) error {
	s.trailer = metadata.Join(s.trailer, md)
	return nil
}

// handOver passes messages between client and server of one process. A unary request or answer is handed over as it is,
// sharing what it points to: the generated gateway neither looks at a request after sending it nor changes an answer.
// A message of a stream is copied when it is sent, since its sender may fill it anew for the next one.
type handOver struct{}

// Copy makes out share the content of in.
func (handOver) Copy(out, in any) error {
	to, from := reflect.ValueOf(out).Elem(), reflect.ValueOf(in).Elem()
	if !from.IsValid() {
		return errors.New("no message")
	}
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
