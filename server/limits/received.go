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

// A gRPC call comes to its method when its head is there; its body is read when the method asks for the request. So who calls is found out
// before that. What a request takes is known once its bytes are there: the transport's codec hands them over as they are, and they are turned
// into a message here, when there is memory for it.

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

// Registrar registers services whose unary requests are read here. Caller is asked before, and says why a call is refused.
func (l *Limits) Registrar(to grpc.ServiceRegistrar, caller func(ctx context.Context, method string) error) grpc.ServiceRegistrar {
	return registrar{to, l, caller}
}

type registrar struct {
	to     grpc.ServiceRegistrar
	limits *Limits
	caller func(ctx context.Context, method string) error
}

// RegisterService implements grpc.ServiceRegistrar.
func (g registrar) RegisterService(desc *grpc.ServiceDesc, service any) {
	d := *desc
	d.Methods = make([]grpc.MethodDesc, len(desc.Methods))
	for i, m := range desc.Methods {
		name := "/" + desc.ServiceName + "/" + m.MethodName
		caller := func(ctx context.Context) error { return g.caller(ctx, name) }
		d.Methods[i] = grpc.MethodDesc{MethodName: m.MethodName, Handler: g.limits.received(caller, m.Handler)}
	}
	g.to.RegisterService(&d, service)
}

// received is a method of which the caller is asked first, and then the request is read.
func (l *Limits) received(caller func(context.Context) error, handler grpc.MethodHandler) grpc.MethodHandler {
	return func(service any, ctx context.Context, decode func(any) error, links grpc.UnaryServerInterceptor) (any, error) {
		if err := caller(ctx); err != nil {
			return nil, err
		}
		head := chain.HeadOf(ctx)
		body := l.Body(head.Party)
		defer body.Free()
		return handler(service, ctx, func(to any) error {
			var r raw
			if err := decode(&r); err != nil {
				return err
			}
			head.Whole()
			arrived(ctx)
			return r.read(ctx, body, to)
		}, links)
	}
}

// Stream returns the interceptor, outermost of all, that asks for the caller and then reads the requests of streams.
func (l *Limits) Stream(caller func(ctx context.Context, method string) error) grpc.StreamServerInterceptor {
	return func(service any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
		ctx := stream.Context()
		if err := caller(ctx, info.FullMethod); err != nil {
			return err
		}
		s := &boundedStream{ServerStream: stream, body: l.Body(chain.HeadOf(ctx).Party)}
		defer s.body.Free()
		return handler(service, s)
	}
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
