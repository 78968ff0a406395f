package gateway

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"sync/atomic"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"github.com/catchline/catchline/server/chain"
	"github.com/catchline/catchline/server/limits"
)

// Early is what happens to a request while no more of it has been read than its head.
type Early struct {
	// Caller finds out who calls, and notes it in the context's chain.Head; else it says why the call is refused.
	Caller func(ctx context.Context, method string) error
	// Connected notes for a request that it has shown who sends it, or says why there is no place for its connection.
	Connected func(ctx context.Context) error
	// Refused is told of a call that Caller refuses, and returns the error that the caller gets.
	Refused func(ctx context.Context, method string, why error) error
	Limits  *limits.Limits
}

// method is a method of the contract.
type method struct {
	name    string // in full
	streams bool
}

// early answers what is refused by its head before the body is read, so that a flood of large bodies costs little: what is left of a body is
// dropped, or the connection closed, as net/http does it. Of what goes on the body is read here, as far as there is memory for it.
func (e *Early) middleware(form runtime.Marshaler) runtime.Middleware {
	methods := contractMethods()
	return func(next runtime.HandlerFunc) runtime.HandlerFunc {
		var known atomic.Pointer[method] // of this handler, which belongs to one pattern; found with its first request
		return func(w http.ResponseWriter, r *http.Request, params map[string]string) {
			m := known.Load()
			if m == nil {
				pattern, _ := runtime.HTTPPattern(r.Context())
				found := methods[r.Method+" "+pattern.String()]
				m = &found
				known.Store(m)
			}
			head := chain.NewHead(r.Context())
			if err := e.refuse(head, w, r, m); err != nil {
				answerError(head, nil, form, w, r, err)
				return
			}
			body := e.Limits.Body(head.Party)
			defer body.Free()
			text, err := receive(head, body, r)
			if err != nil {
				answerError(head, nil, form, w, r, err)
				return
			}
			r = r.WithContext(head)
			r.Body = text
			next(w, r, params)
		}
	}
}

// refuse says why a call is refused by its head, or nil.
func (e *Early) refuse(head *chain.Head, w http.ResponseWriter, r *http.Request, m *method) error {
	ctx := metadata.NewIncomingContext(head, metadata.MD{
		"authorization": r.Header.Values("Authorization"), chain.RequestIDHeader: r.Header.Values("X-Request-Id"),
	})
	if why := e.Caller(ctx, m.name); why != nil {
		sent := &sentByServer{method: m.name}
		err := e.Refused(grpc.NewContextWithServerTransportStream(ctx, sent), m.name, why)
		copyRequestID(w, sent.header)
		return err
	}
	if err := e.Connected(ctx); err != nil || m.streams {
		return err
	}
	return e.Limits.Refuse(m.name, head.Party)
}

// receive reads the body of a request, and takes the memory that parsing it may need.
func receive(ctx context.Context, body *limits.Body, r *http.Request) (*wholeBody, error) {
	text, err := body.Read(ctx, r.Body, r.ContentLength)
	if _, decided := status.FromError(err); err != nil && !decided {
		if tooBig := (*http.MaxBytesError)(nil); errors.As(err, &tooBig) {
			err = fmt.Errorf("the body is larger than %d bytes", tooBig.Limit)
		}
		err = status.Error(codes.InvalidArgument, err.Error())
	}
	if err == nil {
		err = body.Hold(ctx, limits.JSONCost(text))
	}
	return &wholeBody{Reader: bytes.NewReader(text), text: text}, err
}

// wholeBody is a body that is in memory.
type wholeBody struct {
	*bytes.Reader
	text []byte
}

// Close implements io.Closer.
func (*wholeBody) Close() error { return nil }

// textOf returns what a reader has to give, without a copy where it is in memory.
func textOf(r io.Reader, room *bytes.Buffer) ([]byte, error) {
	if whole, ok := r.(*wholeBody); ok {
		whole.Seek(0, io.SeekEnd) // to a place that is there
		return whole.text, nil
	}
	_, err := room.ReadFrom(r)
	return room.Bytes(), err
}

// contractMethods are the contract's methods, by verb and pattern.
func contractMethods() map[string]method {
	all := map[string]method{}
	protoregistry.GlobalFiles.RangeFilesByPackage(contract, func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for k := range service.Methods().Len() {
				m := service.Methods().Get(k)
				rule, ok := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
				if !ok {
					continue
				}
				found := method{"/" + string(service.FullName()) + "/" + string(m.Name()), m.IsStreamingServer() || m.IsStreamingClient()}
				switch p := rule.GetPattern().(type) {
				case *annotations.HttpRule_Get:
					all["GET "+p.Get] = found
				case *annotations.HttpRule_Post:
					all["POST "+p.Post] = found
				case *annotations.HttpRule_Patch:
					all["PATCH "+p.Patch] = found
				case *annotations.HttpRule_Delete:
					all["DELETE "+p.Delete] = found
				}
			}
		}
		return true
	})
	return all
}
