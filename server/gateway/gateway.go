package gateway

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"math"
	"net/http"
	"net/textproto"
	"strconv"
	"strings"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/proto/openapi"
	"github.com/catchline/catchline/server/chain"
)

// Options are what the gateway serves.
type Options struct {
	Services     grpc.ClientConnInterface
	Early        *Early
	Pages        http.Handler                // nil: none
	Ready        func(context.Context) error // whether the storage answers and fits
	Stopping     func() bool                 // whether the server is about to end
	Fence        *Fence                      // against web pages of elsewhere; nil: none, since keys are needed
	Origins      []string                    // of browser applications that may use the services with a key
	MaxBodyBytes int64
	WriteTimeout time.Duration // a client that takes nothing for this long is cut off
	Logger       *slog.Logger
}

// New returns the handler of everything on the HTTP port.
func New(ctx context.Context, o Options) (http.Handler, error) {
	form := newJSONForm()
	options := []runtime.ServeMuxOption{
		runtime.WithMarshalerOption(runtime.MIMEWildcard, form),
		runtime.WithIncomingHeaderMatcher(incoming),
		runtime.WithOutgoingHeaderMatcher(outgoing),
		runtime.WithOutgoingTrailerMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithErrorHandler(answerError),
		runtime.WithRoutingErrorHandler(routingError),
		runtime.WithStreamErrorHandler(streamError),
		// One request, one method: no form that is read as another one's query, no header that changes it.
		runtime.WithDisablePathLengthFallback(),
		runtime.WithDisableHTTPMethodOverride(),
		runtime.WithWriteContentLength(),
		runtime.WithMiddlewares(o.Early.middleware(form)),
	}
	beStrict()
	rest := runtime.NewServeMux(options...)
	if err := register(ctx, rest, o.Services); err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	// The body is limited in the copy of the request that withHeader makes: of its own, net/http knows what to do with what is not read.
	mux.Handle("/v1/", o.Fence.Around(allowOrigins(o.Origins, headAsGet(withHeader(limitBody(o.MaxBodyBytes, rest))))))
	mux.Handle("GET /openapi.json", o.Fence.Around(allowOrigins(o.Origins, http.HandlerFunc(describe))))
	// Health is for anybody, under whichever name a balancer knows the server.
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { plain(w, http.StatusOK, "alive") })
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, r *http.Request) {
		if o.Stopping != nil && o.Stopping() {
			plain(w, http.StatusServiceUnavailable, "the server is stopping")
			return
		}
		ctx, cancel := context.WithTimeout(r.Context(), readyTimeout)
		defer cancel()
		if err := o.Ready(ctx); err != nil {
			// Why is in the log: a path or a host is nobody's business who can reach this port.
			o.Logger.WarnContext(ctx, "not ready", "error", err)
			plain(w, http.StatusServiceUnavailable, "the storage does not answer or needs the command migrate; the log says which")
			return
		}
		plain(w, http.StatusOK, "ready")
	})
	if o.Pages != nil {
		mux.Handle("/", o.Fence.Around(securePages(o.Pages)))
	}
	return secure(leaving(o.Stopping, patient(o.WriteTimeout, mux))), nil
}

// describe answers with the OpenAPI description.
func describe(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-cache")
	w.Write(openapi.JSON)
}

// readyTimeout bounds how long the storage may take to answer.
const readyTimeout = 2 * time.Second

func register(ctx context.Context, mux *runtime.ServeMux, conn grpc.ClientConnInterface) error {
	return errors.Join(
		pb.RegisterStudioServiceHandlerClient(ctx, mux, pb.NewStudioServiceClient(conn)),
		pb.RegisterKeyServiceHandlerClient(ctx, mux, pb.NewKeyServiceClient(conn)),
		pb.RegisterGlazeServiceHandlerClient(ctx, mux, pb.NewGlazeServiceClient(conn)),
		pb.RegisterMaterialServiceHandlerClient(ctx, mux, pb.NewMaterialServiceClient(conn)),
		pb.RegisterBodyServiceHandlerClient(ctx, mux, pb.NewBodyServiceClient(conn)),
		pb.RegisterFiringServiceHandlerClient(ctx, mux, pb.NewFiringServiceClient(conn)),
		pb.RegisterWareServiceHandlerClient(ctx, mux, pb.NewWareServiceClient(conn)),
		pb.RegisterTileServiceHandlerClient(ctx, mux, pb.NewTileServiceClient(conn)),
		pb.RegisterSheetServiceHandlerClient(ctx, mux, pb.NewSheetServiceClient(conn)),
		pb.RegisterScoreServiceHandlerClient(ctx, mux, pb.NewScoreServiceClient(conn)),
		pb.RegisterCalibrationServiceHandlerClient(ctx, mux, pb.NewCalibrationServiceClient(conn)),
	)
}

// incoming names the headers that reach the services; all others stay here. Authorization is passed on by the
// multiplexer itself.
func incoming(name string) (string, bool) {
	switch textproto.CanonicalMIMEHeaderKey(name) {
	case "Traceparent", "Tracestate":
		return strings.ToLower(name), true
	case "X-Request-Id":
		return chain.RequestIDHeader, true
	}
	return "", false
}

// outgoing names the headers of services that reach the caller.
func outgoing(name string) (string, bool) {
	if name == chain.RequestIDHeader {
		return "X-Request-Id", true
	}
	return "", false
}

// answerError writes an error as google.rpc.Status, by the standard table of codes, with the headers that belong to it.
func answerError(ctx context.Context, mux *runtime.ServeMux, m runtime.Marshaler, w http.ResponseWriter, r *http.Request, err error) {
	if md, ok := runtime.ServerMetadataFromContext(ctx); ok {
		copyRequestID(w, md.HeaderMD)
	}
	s := status.Convert(err)
	errorHeaders(w.Header(), s)
	text, marshalErr := m.Marshal(s.Proto())
	if marshalErr != nil {
		text = []byte(`{"code":13,"message":"The error cannot be written.","details":[]}`)
	}
	code := runtime.HTTPStatusFromCode(s.Code())
	if body, ok := r.Body.(*limitedBody); ok && body.tooLarge {
		code = http.StatusRequestEntityTooLarge
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(code)
	w.Write(text)
}

// errorHeaders sets the headers that belong to an error.
func errorHeaders(h http.Header, s *status.Status) {
	if s.Code() == codes.Unauthenticated {
		h.Set("WWW-Authenticate", `Bearer realm="catchline"`)
	}
	for _, d := range s.Details() {
		if retry, ok := d.(*errdetails.RetryInfo); ok {
			seconds := math.Ceil(retry.GetRetryDelay().AsDuration().Seconds())
			h.Set("Retry-After", strconv.Itoa(max(1, int(seconds))))
		}
	}
}

type headerKey struct{}

// withHeader lets streamError reach the answer's header, which the multiplexer does not give it.
func withHeader(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), headerKey{}, w.Header())))
	})
}

// streamError is the error of a stream, which goes out as a last line {"error": ...}; if it is the first line too,
// the headers are still to be sent.
func streamError(ctx context.Context, err error) *status.Status {
	s := status.Convert(err)
	if h, ok := ctx.Value(headerKey{}).(http.Header); ok {
		errorHeaders(h, s)
	}
	return s
}

func copyRequestID(w http.ResponseWriter, md metadata.MD) {
	if ids := md.Get(chain.RequestIDHeader); len(ids) > 0 {
		w.Header().Set("X-Request-Id", ids[0])
	}
}

// routingError answers where there is no such path, or not by this method.
func routingError(ctx context.Context, mux *runtime.ServeMux, m runtime.Marshaler, w http.ResponseWriter, r *http.Request, code int) {
	switch code {
	case http.StatusNotFound:
		answerError(ctx, mux, m, w, r, status.Error(codes.NotFound, "There is no such path; /openapi.json lists them all."))
	case http.StatusMethodNotAllowed:
		writeStatus(w, http.StatusMethodNotAllowed, codes.Unimplemented, "This path has no method "+r.Method+"; /openapi.json lists what it has.")
	default:
		answerError(ctx, mux, m, w, r, status.Error(codes.InvalidArgument, "The path cannot be read."))
	}
}

// writeStatus writes a google.rpc.Status where there is no error of a service.
func writeStatus(w http.ResponseWriter, httpCode int, code codes.Code, text string) {
	body, _ := json.Marshal(struct {
		Code    int    `json:"code"`
		Message string `json:"message"`
		Details []any  `json:"details"`
	}{int(code), text, []any{}}) // a struct of numbers and text cannot fail
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(httpCode)
	w.Write(body)
}

func plain(w http.ResponseWriter, code int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(code)
	w.Write([]byte(text + "\n"))
}
