package limits

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/encoding"
	"google.golang.org/grpc/mem"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/server/chain"
)

// What a gRPC request takes is known once its bytes are there, and its bytes are read by the transport. So the transport's codec hands them
// over as they are, and they are turned into a message here, when there is memory for it.

// raw is a request as it came.
type raw struct{ data mem.BufferSlice }

// codec is the usual one, but for raw.
type codec struct{ encoding.CodecV2 }

// Unmarshal implements encoding.CodecV2.
func (c codec) Unmarshal(data mem.BufferSlice, v any) error {
	if r, ok := v.(*raw); ok {
		data.Ref()
		r.data = data
		return nil
	}
	return c.CodecV2.Unmarshal(data, v)
}

// Codec is what a server has to use whose requests are read by Registrar and Stream.
func Codec() grpc.ServerOption { return grpc.ForceServerCodecV2(codec{encoding.GetCodecV2("proto")}) }

// read turns a request into a message, when there is memory for that.
func (r *raw) read(ctx context.Context, body *Body, to any) error {
	defer r.data.Free()
	m, ok := to.(proto.Message)
	if !ok {
		return status.Errorf(codes.Internal, "%T is not a message", to)
	}
	buffer := r.data.MaterializeToBuffer(mem.DefaultBufferPool())
	defer buffer.Free()
	bytes := buffer.ReadOnlyData()
	if err := body.Hold(ctx, wireCost(bytes, m.ProtoReflect().Descriptor())); err != nil {
		return err
	}
	if err := proto.Unmarshal(bytes, m); err != nil {
		return status.Error(codes.InvalidArgument, "The request is not a message of this method: "+err.Error()+".")
	}
	return nil
}

// Registrar registers services whose unary requests are read here.
func (l *Limits) Registrar(to grpc.ServiceRegistrar) grpc.ServiceRegistrar { return registrar{to, l} }

type registrar struct {
	to     grpc.ServiceRegistrar
	limits *Limits
}

// RegisterService implements grpc.ServiceRegistrar.
func (g registrar) RegisterService(desc *grpc.ServiceDesc, service any) {
	d := *desc
	d.Methods = make([]grpc.MethodDesc, len(desc.Methods))
	for i, m := range desc.Methods {
		d.Methods[i] = grpc.MethodDesc{MethodName: m.MethodName, Handler: g.limits.received(m.Handler)}
	}
	g.to.RegisterService(&d, service)
}

// received is a method whose request has come as a whole.
func (l *Limits) received(handler grpc.MethodHandler) grpc.MethodHandler {
	return func(service any, ctx context.Context, decode func(any) error, links grpc.UnaryServerInterceptor) (any, error) {
		party := ""
		if head := chain.HeadOf(ctx); head != nil {
			head.Whole()
			party = head.Party
		}
		arrived(ctx)
		body := l.Body(party)
		defer body.Free()
		return handler(service, ctx, func(to any) error {
			var r raw
			if err := decode(&r); err != nil {
				return err
			}
			return r.read(ctx, body, to)
		}, links)
	}
}

// Stream is the interceptor, outermost of all, that reads the requests of streams.
func (l *Limits) Stream(service any, stream grpc.ServerStream, _ *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	party := ""
	if head := chain.HeadOf(stream.Context()); head != nil {
		party = head.Party
	}
	s := &boundedStream{ServerStream: stream, body: l.Body(party)}
	defer s.body.Free()
	return handler(service, s)
}

type boundedStream struct {
	grpc.ServerStream
	body *Body
}

// RecvMsg implements grpc.ServerStream.
func (s *boundedStream) RecvMsg(to any) error {
	var r raw
	if err := s.ServerStream.RecvMsg(&r); err != nil {
		return err
	}
	arrived(s.Context())
	return r.read(s.Context(), s.body, to)
}
