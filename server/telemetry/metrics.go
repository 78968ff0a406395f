package telemetry

import (
	"context"
	"net/http"
	"net/http/pprof"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/catchline/catchline/server/chain"
)

// Metrics are the server's metrics. Make them by NewMetrics.
type Metrics struct {
	registry *prometheus.Registry
	calls    *prometheus.CounterVec
	seconds  *prometheus.HistogramVec
	inFlight prometheus.Gauge
	messages *prometheus.CounterVec
	shed     *prometheus.CounterVec

	methods map[string]bool

	mu    sync.RWMutex
	known map[callLabels]callSeries // looking a series up by its labels costs more than counting
}

type callLabels struct {
	method, transport string
	code              codes.Code
}

type callSeries struct {
	calls   prometheus.Counter
	seconds prometheus.Observer
}

// NewMetrics returns metrics of calls of these methods, given by their full names; any other counts as "other".
func NewMetrics(methods []string, version string) *Metrics {
	m := &Metrics{
		registry: prometheus.NewRegistry(),
		calls: prometheus.NewCounterVec(prometheus.CounterOpts{Namespace: "catchline", Name: "calls_total",
			Help: "Calls that ended, by method, transport and code."}, []string{"method", "transport", "code"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{Namespace: "catchline", Name: "call_seconds",
			Help:    "Time from the arrival of a call to its end, in seconds.",
			Buckets: []float64{.0001, .00025, .0005, .001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10, 30, 120},
		}, []string{"method", "transport"}),
		inFlight: prometheus.NewGauge(prometheus.GaugeOpts{Namespace: "catchline", Name: "calls_in_flight",
			Help: "Calls under way."}),
		messages: prometheus.NewCounterVec(prometheus.CounterOpts{Namespace: "catchline", Name: "stream_messages_total",
			Help: "Messages sent in streams, by method."}, []string{"method"}),
		shed: prometheus.NewCounterVec(prometheus.CounterOpts{Namespace: "catchline", Name: "calls_shed_total",
			Help: "Calls turned away by a limit, by reason."}, []string{"reason"}),
		methods: map[string]bool{},
		known:   map[callLabels]callSeries{},
	}
	for _, name := range methods {
		m.methods[name] = true
	}
	build := prometheus.NewGauge(prometheus.GaugeOpts{Namespace: "catchline", Name: "build_info",
		Help: "Always 1; the version is in the label.", ConstLabels: prometheus.Labels{"version": version}})
	build.Set(1)
	m.registry.MustRegister(m.calls, m.seconds, m.inFlight, m.messages, m.shed, build,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// Gatherer gives what was counted.
func (m *Metrics) Gatherer() prometheus.Gatherer { return m.registry }

// Shed counts a call that a limit turned away.
func (m *Metrics) Shed(reason string) { m.shed.WithLabelValues(reason).Inc() }

// Link is the link that counts and times calls.
func (m *Metrics) Link() chain.Link {
	return chain.Link{Name: "metrics", Around: func(ctx context.Context, call *chain.Call, next func(context.Context) error) error {
		m.inFlight.Inc()
		err := errPanicked
		// Deferred, since the recovery from a panic comes after this link and before the caller, but is
		// not to be relied on for a gauge that would never come down again.
		defer func() {
			m.inFlight.Dec()
			m.count(call, status.Code(err))
		}()
		err = next(ctx)
		return err
	}}
}

var errPanicked = status.Error(codes.Internal, "panic")

func (m *Metrics) count(call *chain.Call, code codes.Code) {
	labels := callLabels{call.Method, call.Transport, code}
	if !m.methods[call.Method] {
		labels.method = "other"
	}
	m.mu.RLock()
	series, ok := m.known[labels]
	m.mu.RUnlock()
	if !ok {
		series = callSeries{
			calls:   m.calls.WithLabelValues(labels.method, labels.transport, code.String()),
			seconds: m.seconds.WithLabelValues(labels.method, labels.transport),
		}
		m.mu.Lock()
		m.known[labels] = series
		m.mu.Unlock()
	}
	series.calls.Inc()
	series.seconds.Observe(time.Since(call.Start).Seconds())
	if call.Streaming {
		m.messages.WithLabelValues(labels.method).Add(float64(call.Sent()))
	}
}

// Handler serves the metrics, and with pprof also the profiles.
func (m *Metrics) Handler(withProfiles bool) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{MaxRequestsInFlight: 4}))
	if withProfiles {
		mux.HandleFunc("GET /debug/pprof/", pprof.Index)
		mux.HandleFunc("GET /debug/pprof/cmdline", pprof.Cmdline)
		mux.HandleFunc("GET /debug/pprof/profile", pprof.Profile)
		mux.HandleFunc("GET /debug/pprof/symbol", pprof.Symbol)
		mux.HandleFunc("GET /debug/pprof/trace", pprof.Trace)
	}
	return mux
}
