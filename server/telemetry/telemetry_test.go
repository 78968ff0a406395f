package telemetry

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	collectormetrics "go.opentelemetry.io/proto/otlp/collector/metrics/v1"
	collectortraces "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/stats"
	"google.golang.org/grpc/status"

	"github.com/catchline/catchline/server/chain"
)

func (m *Metrics) text(t *testing.T) string {
	t.Helper()
	w := httptest.NewRecorder()
	m.Handler(false).ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	return w.Body.String()
}

func count(m *Metrics, method string, err error) {
	m.Link().Around(context.Background(), &chain.Call{Method: method, Transport: "grpc"}, func(context.Context) error { return err })
}

func TestLabelsAreBounded(t *testing.T) {
	m := NewMetrics([]string{"/s/known"}, "1")
	for _, method := range []string{"/s/known", "/s/made-up", "/s/made-up-too", "x\ny"} {
		count(m, method, nil)
	}
	text := m.text(t)
	if strings.Contains(text, "made-up") || !strings.Contains(text, `catchline_calls_total{code="OK",method="other",transport="grpc"} 3`) {
		t.Errorf("%s", text)
	}
}

func TestPanicIsCountedAndNothingStaysInFlight(t *testing.T) {
	m := NewMetrics([]string{"/s/m"}, "1")
	func() {
		defer func() { recover() }()
		m.Link().Around(context.Background(), &chain.Call{Method: "/s/m", Transport: "grpc"}, func(context.Context) error { panic("mishap") })
	}()
	count(m, "/s/m", status.Error(codes.NotFound, ""))
	text := m.text(t)
	for _, want := range []string{
		"catchline_calls_in_flight 0",
		`catchline_calls_total{code="Internal",method="/s/m",transport="grpc"} 1`,
		`catchline_calls_total{code="NotFound",method="/s/m",transport="grpc"} 1`,
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%s is not in %s", want, text)
		}
	}
}

func TestProfilesOnlyWhenAskedFor(t *testing.T) {
	m := NewMetrics(nil, "1")
	for with, want := range map[bool]int{false: 404, true: 200} {
		w := httptest.NewRecorder()
		m.Handler(with).ServeHTTP(w, httptest.NewRequest("GET", "/debug/pprof/", nil))
		if w.Code != want {
			t.Errorf("with profiles %t: %d", with, w.Code)
		}
	}
}

func TestLevels(t *testing.T) {
	for err, want := range map[error]string{
		nil: "", status.Error(codes.InvalidArgument, "x"): "INFO", status.Error(codes.ResourceExhausted, "x"): "",
		status.Error(codes.Internal, "x"): "ERROR", errors.New("not a status"): "ERROR", status.Error(codes.DeadlineExceeded, "x"): "WARN",
	} {
		var out strings.Builder
		log, _ := NewLogger(&out, "info", "json")
		call := &chain.Call{Method: "/s/m", RequestID: "the-id", Start: time.Now()}
		Log(log).Around(chain.NewContext(t.Context(), call), call, func(context.Context) error { return err })
		if want == "" && out.Len() > 0 || want != "" && !strings.Contains(out.String(), `"level":"`+want+`"`) {
			t.Errorf("%v: %s, want %s", err, out.String(), want)
		}
		if out.Len() > 0 && !strings.Contains(out.String(), `"request_id":"the-id"`) {
			t.Errorf("no request id: %s", out.String())
		}
	}
	if _, err := NewLogger(io.Discard, "loud", "json"); err == nil {
		t.Error("a level that is none")
	}
}

// collector is an OpenTelemetry collector that remembers names.
type collector struct {
	mu    sync.Mutex
	names map[string]bool
}

func (c *collector) note(name string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.names[name] = true
}

type traceService struct {
	collectortraces.UnimplementedTraceServiceServer
	*collector
}

func (s traceService) Export(_ context.Context, r *collectortraces.ExportTraceServiceRequest) (*collectortraces.ExportTraceServiceResponse, error) {
	for _, rs := range r.ResourceSpans {
		for _, ss := range rs.ScopeSpans {
			for _, span := range ss.Spans {
				s.note("span " + span.Name)
			}
		}
	}
	return &collectortraces.ExportTraceServiceResponse{}, nil
}

type metricsService struct {
	collectormetrics.UnimplementedMetricsServiceServer
	*collector
}

func (s metricsService) Export(_ context.Context, r *collectormetrics.ExportMetricsServiceRequest) (*collectormetrics.ExportMetricsServiceResponse, error) {
	for _, rm := range r.ResourceMetrics {
		for _, sm := range rm.ScopeMetrics {
			for _, metric := range sm.Metrics {
				s.note("metric " + metric.Name)
			}
		}
	}
	return &collectormetrics.ExportMetricsServiceResponse{}, nil
}

func TestExportReachesACollector(t *testing.T) {
	c := &collector{names: map[string]bool{}}
	server := grpc.NewServer()
	collectortraces.RegisterTraceServiceServer(server, traceService{collector: c})
	collectormetrics.RegisterMetricsServiceServer(server, metricsService{collector: c})
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go server.Serve(listener)
	defer server.Stop()

	m := NewMetrics([]string{"/s/m"}, "1")
	count(m, "/s/m", nil)
	e, err := NewExport(t.Context(), m, ExportOptions{Endpoint: listener.Addr().String(), Plaintext: true, TraceRatio: 1, Version: "1"})
	if err != nil {
		t.Fatal(err)
	}
	h := e.CallStats()
	ctx := h.TagRPC(t.Context(), &stats.RPCTagInfo{FullMethodName: "/s/m"})
	h.HandleRPC(ctx, &stats.Begin{})
	h.HandleRPC(ctx, &stats.End{})
	if err := e.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"span s/m", "metric catchline_calls_total", "metric catchline_call_seconds", "metric go_goroutines"} {
		if !c.names[want] {
			t.Errorf("%s did not arrive: %v", want, c.names)
		}
	}
}
