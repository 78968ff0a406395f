package telemetry

import (
	"context"
	"errors"
	"fmt"

	prometheusbridge "go.opentelemetry.io/contrib/bridges/prometheus"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/exporters/otlp/otlpmetric/otlpmetricgrpc"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracegrpc"
	"go.opentelemetry.io/otel/propagation"
	sdkmetric "go.opentelemetry.io/otel/sdk/metric"
	"go.opentelemetry.io/otel/sdk/resource"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"google.golang.org/grpc/stats"
)

// ExportOptions say where traces and metrics are sent.
type ExportOptions struct {
	Endpoint   string // host:port of a collector
	Plaintext  bool
	TraceRatio float64 // of calls whose caller has not decided
	Version    string
}

// Export sends traces and metrics to a collector. Make it by NewExport.
type Export struct {
	traces  *sdktrace.TracerProvider
	metrics *sdkmetric.MeterProvider
}

// NewExport starts sending. It does not wait for the collector: that one being away is no reason not to serve.
func NewExport(ctx context.Context, m *Metrics, o ExportOptions) (*Export, error) {
	spanOptions := []otlptracegrpc.Option{otlptracegrpc.WithEndpoint(o.Endpoint)}
	metricOptions := []otlpmetricgrpc.Option{otlpmetricgrpc.WithEndpoint(o.Endpoint)}
	if o.Plaintext {
		spanOptions = append(spanOptions, otlptracegrpc.WithInsecure())
		metricOptions = append(metricOptions, otlpmetricgrpc.WithInsecure())
	}
	spans, err := otlptracegrpc.New(ctx, spanOptions...)
	if err != nil {
		return nil, fmt.Errorf("traces cannot be sent to %s: %w; check otlp-endpoint", o.Endpoint, err)
	}
	metrics, err := otlpmetricgrpc.New(ctx, metricOptions...)
	if err != nil {
		return nil, fmt.Errorf("metrics cannot be sent to %s: %w; check otlp-endpoint", o.Endpoint, err)
	}
	who := resource.NewSchemaless(attribute.String("service.name", "catchline"), attribute.String("service.version", o.Version))
	return &Export{
		traces: sdktrace.NewTracerProvider(
			sdktrace.WithBatcher(spans),
			sdktrace.WithResource(who),
			sdktrace.WithSampler(sdktrace.ParentBased(sdktrace.TraceIDRatioBased(o.TraceRatio))),
		),
		// What is counted is counted once, and sent as well as served.
		metrics: sdkmetric.NewMeterProvider(
			sdkmetric.WithResource(who),
			sdkmetric.WithReader(sdkmetric.NewPeriodicReader(metrics,
				sdkmetric.WithProducer(prometheusbridge.NewMetricProducer(prometheusbridge.WithGatherer(m.registry))))),
		),
	}, nil
}

// CallStats makes a span of each call. Its messages are not recorded.
func (e *Export) CallStats() stats.Handler {
	return otelgrpc.NewServerHandler(
		otelgrpc.WithTracerProvider(e.traces),
		otelgrpc.WithMeterProvider(sdkmetric.NewMeterProvider()), // calls are counted by Metrics
		otelgrpc.WithPropagators(propagation.TraceContext{}),
	)
}

// Close sends what has not been sent yet.
func (e *Export) Close(ctx context.Context) error {
	return errors.Join(e.traces.Shutdown(ctx), e.metrics.Shutdown(ctx))
}
