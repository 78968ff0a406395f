// Package process is the running server: it opens the store, listens, serves until it is told to stop, and closes
// everything in the reverse order. The program, the tests and the command line's embedded mode start the very same.
package process

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"golang.org/x/net/netutil"
	"golang.org/x/sync/errgroup"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"
	"google.golang.org/grpc/tap"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/access"
	"github.com/catchline/catchline/server/api"
	"github.com/catchline/catchline/server/chain"
	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/gateway"
	"github.com/catchline/catchline/server/limits"
	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/telemetry"
)

// Services are what the server serves besides health and reflection.
type Services interface {
	Register(grpc.ServiceRegistrar)
	// Watch keeps up with what other servers write, until the context ends.
	Watch(context.Context)
}

// Options are what a program is made of that is not a setting.
type Options struct {
	Version  string
	Logger   *slog.Logger
	Services func(api.Options) Services // nil: those of the contract
	Pages    http.Handler               // nil: none
	// Seed loads the demo studio through the connection unless it is there. Nil: there is none.
	Seed func(ctx context.Context, conn grpc.ClientConnInterface) error
	// Beside lets the program run on a SQLite file on which a server runs already.
	Beside bool
}

// contract makes the services of the contract.
func contract(o api.Options) Services { return api.New(o) }

// Program is the server. Make it by Open.
type Program struct {
	config  config.Config
	log     *slog.Logger
	store   store.Store
	local   grpc.ClientConnInterface
	grpc    *grpc.Server
	http    *http.Server
	metrics *http.Server
	export  *telemetry.Export
	health  *health.Server

	grpcListener, httpListener, metricsListener net.Listener

	after    func(time.Duration) <-chan time.Time
	end      context.CancelFunc // of what goes on beside the calls
	stopping atomic.Bool
	closed   atomic.Bool
}

// Open verifies the settings, opens the store and listens. Nothing is served before Run. The context bounds the
// opening only.
func Open(ctx context.Context, c config.Config, o Options) (p *Program, err error) {
	if err := c.Verify(); err != nil {
		return nil, fmt.Errorf("the settings cannot be used: %w", err)
	}
	p = &Program{config: c, log: o.Logger, after: time.After}
	background, end := context.WithCancel(context.Background())
	p.end = end
	defer func() {
		if err != nil {
			p.Close()
			p = nil
		}
	}()
	for _, w := range c.Warnings() {
		p.log.Warn(w)
	}
	p.log.Info("settings", "config", c)
	if p.store, err = openStore(ctx, &c, !o.Beside); err != nil {
		return p, err
	}
	if err := p.listen(); err != nil {
		return p, err
	}

	guard, err := p.guard(background)
	if err != nil {
		return p, err
	}
	metrics := telemetry.NewMetrics(access.Methods(), o.Version)
	if c.Telemetry.OTLPEndpoint != "" {
		p.export, err = telemetry.NewExport(ctx, metrics, telemetry.ExportOptions{
			Endpoint: c.Telemetry.OTLPEndpoint, Plaintext: c.Telemetry.OTLPPlaintext, TraceRatio: c.Telemetry.TraceRatio, Version: o.Version,
		})
		if err != nil {
			return p, err
		}
	}
	limited := newLimits(&c, metrics)
	links := Links(&c, p.log, metrics, guard, limited)
	tell := []chain.Link{chain.RequestID(), telemetry.Log(p.log), metrics.Link()} // of calls that are refused before the links

	tlsConfig, err := p.tls()
	if err != nil {
		return p, err
	}
	if o.Services == nil {
		o.Services = contract
	}
	services := o.Services(api.Options{Store: p.store, Logger: p.log, OnlyStudio: access.OnlyStudio, Workers: processors, Turn: limited.Turn,
		KeyLife: access.KeyLife{Any: c.Keys.Life, ByToken: c.Keys.TokenLife}})
	channel := gateway.NewChannel("http", links)
	services.Register(channel)
	refused := chain.Refused("grpc", tell)
	caller := func(ctx context.Context, method string) error {
		if err := guard.Head(ctx, method); err != nil {
			return refused(ctx, method, err)
		}
		return limited.Connected(ctx)
	}
	p.makeGRPC(links, guard.Tap(refused), caller, limited, chain.Streams(channel.GetServiceInfo()), tlsConfig)
	if p.export != nil {
		channel.Trace(p.export.CallStats())
	}
	services.Register(limited.Registrar(p.grpc, caller))
	go services.Watch(background)

	// What the program itself asks for needs no key.
	anyone := access.NewGuard(background, p.store, access.Options{Anonymous: true, Logger: p.log})
	local := gateway.NewChannel("local", Links(&c, p.log, metrics, anyone, newLimits(&c, metrics)))
	services.Register(local)
	p.local = local

	p.health = health.NewServer()
	healthpb.RegisterHealthServer(p.grpc, p.health)
	reflection.Register(p.grpc)
	go p.watchReadiness(background)

	handler, err := gateway.New(background, gateway.Options{
		Services: channel, Pages: o.Pages, Ready: p.store.Ready, Stopping: p.stopping.Load,
		Fence: p.fence(), Origins: c.AllowedOrigins,
		Early:        &gateway.Early{Caller: guard.Head, Connected: limited.Connected, Refused: chain.Refused("http", tell), Limits: limited},
		MaxBodyBytes: c.HTTP.MaxBodyBytes, WriteTimeout: c.HTTP.WriteTimeout, Logger: p.log,
	})
	if err != nil {
		return p, err
	}
	p.makeHTTP(handler, metrics, tlsConfig)

	if c.Demo {
		if o.Seed == nil {
			return p, errors.New("this program has no demo studio; leave --demo out")
		}
		if err := o.Seed(ctx, p.local); err != nil {
			return p, fmt.Errorf("the demo studio cannot be loaded: %w", err)
		}
	}
	return p, nil
}

// Links is the chain of every call, outermost first. What a request may hold is checked after them, by the services
// as they are registered, so that it holds with whichever chain.
func Links(c *config.Config, log *slog.Logger, metrics *telemetry.Metrics, guard *access.Guard, l *limits.Limits) []chain.Link {
	return []chain.Link{
		chain.RequestID(),
		telemetry.Log(log),
		metrics.Link(),
		chain.Recovery(log),
		chain.Deadline(deadlines(c)),
		guard.Link(),
		l.Link(),
	}
}

func newLimits(c *config.Config, metrics *telemetry.Metrics) *limits.Limits {
	l := &c.Limits
	compute := l.Compute
	if compute == 0 {
		compute = processors
	}
	return limits.New(limits.Options{
		RequestsPerSecond: l.RequestsPerSecond, StudioRequestsPerSecond: l.StudioRequestsPerSecond,
		Compute: access.Computing(), ComputeAtOnce: compute, Long: access.ComputingLong(), LongAtOnce: compute, StorageAtOnce: l.Concurrent,
		Queue: l.Queue, Arriving: l.Arriving, BodyBytes: l.BodyBytes, LargestBody: c.HTTP.MaxBodyBytes, QueueTime: l.QueueTime, StandingQueueTime: l.StandingQueueTime,
		Streams: l.Sheets, StudioStreams: l.StudioSheets, StreamMessages: l.StreamMessages,
	}, metrics.Shed)
}

func deadlines(c *config.Config) chain.Deadlines {
	return chain.Deadlines{
		Default: c.Deadlines.Default, Max: c.Deadlines.Max, Stream: c.Deadlines.Stream, Write: c.GRPC.WriteTimeout,
		Long: map[string]bool{pb.CalibrationService_FitCalibration_FullMethodName: true, pb.TileService_ImportTiles_FullMethodName: true},
	}
}

func (p *Program) guard(ctx context.Context) (*access.Guard, error) {
	c := &p.config
	o := access.Options{Anonymous: !c.NeedsKey(), Logger: p.log}
	operators, err := c.Keys.Operators()
	if err != nil {
		return nil, err
	}
	for _, k := range operators {
		o.Operators = append(o.Operators, k.Reveal())
	}
	if c.JWT.JWKS != "" {
		o.Tokens, err = access.NewTokens(ctx, access.TokenOptions{
			JWKS: c.JWT.JWKS, Issuer: c.JWT.Issuer, Audience: c.JWT.Audience, StudioClaim: c.JWT.StudioClaim, RoleClaim: c.JWT.RoleClaim,
		}, p.log)
		if err != nil {
			return nil, err
		}
	}
	return access.NewGuard(ctx, p.store, o), nil
}

// fence keeps web pages of elsewhere from the HTTP port, unless that needs keys.
func (p *Program) fence() *gateway.Fence {
	c := &p.config
	if c.NeedsKey() {
		return nil
	}
	return gateway.NewFence(append(config.HostsOf(c.HTTP.Address), c.AllowedHosts...), p.log)
}

// metricsFence keeps them from the port of the metrics, which never needs keys, unless that is open to others on purpose.
func (p *Program) metricsFence() *gateway.Fence {
	c := &p.config
	if !config.Loopback(c.Telemetry.MetricsAddress) {
		return nil
	}
	return gateway.NewFence(c.AllowedHosts, p.log)
}

func (p *Program) tls() (*tls.Config, error) {
	t := &p.config.TLS
	if t.Cert == "" {
		return nil, nil
	}
	return access.NewTLS(t.Cert, t.Key, t.ClientCA, p.log)
}

func (p *Program) listen() error {
	c := &p.config
	proxies, err := c.Proxies()
	if err != nil {
		return err
	}
	connections := func(most int) func(net.Listener) net.Listener {
		return limits.NewConnections(limits.ConnectionOptions{
			Most: most, Reserve: c.Limits.KeylessConnections, PerAddress: c.Limits.AddressConnections,
			StrangerIdle: c.Limits.KeylessIdle, Trusted: proxies,
		}).Listener
	}
	for _, l := range []struct {
		setting, address string
		limited          func(net.Listener) net.Listener
		to               *net.Listener
	}{
		{"grpc-address", c.GRPC.Address, connections(c.GRPC.MaxConnections), &p.grpcListener},
		{"http-address", c.HTTP.Address, connections(c.HTTP.MaxConnections), &p.httpListener},
		{"metrics-address", c.Telemetry.MetricsAddress, func(l net.Listener) net.Listener { return netutil.LimitListener(l, 32) }, &p.metricsListener},
	} {
		if l.address == "" {
			continue
		}
		listener, err := net.Listen("tcp", l.address)
		if l.to == &p.metricsListener && errors.Is(err, syscall.EADDRINUSE) {
			p.log.Warn("metrics are not served: another server may be running there; give another --metrics-address", "address", l.address, "error", err)
			continue
		}
		if err != nil {
			return fmt.Errorf("cannot listen at %s: %w; another server may be running there: stop it, or give another --%s", l.address, err, l.setting)
		}
		*l.to = l.limited(listener)
	}
	return nil
}

const streamWorkers = 64

// Transport is how gRPC is served, whatever is served. Benchmarks serve their floor by it.
func Transport(c *config.GRPC) []grpc.ServerOption {
	return []grpc.ServerOption{
		// Goroutines that stay, with the stack that a call has grown. What comes when all are busy gets one of its own.
		grpc.NumStreamWorkers(streamWorkers),
		grpc.MaxRecvMsgSize(c.MaxMessageBytes),
		grpc.MaxSendMsgSize(c.MaxMessageBytes),
		grpc.MaxConcurrentStreams(c.MaxStreams),
		grpc.MaxHeaderListSize(c.MaxHeaderBytes),
		grpc.ConnectionTimeout(10 * time.Second),
		grpc.KeepaliveParams(keepalive.ServerParameters{MaxConnectionIdle: c.IdleTimeout, Time: c.PingAfter, Timeout: 10 * time.Second}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 10 * time.Second, PermitWithoutStream: true}),
	}
}

func (p *Program) makeGRPC(links []chain.Link, keyTap tap.ServerInHandle, caller func(context.Context, string) error, limited *limits.Limits, streams map[string]bool, tlsConfig *tls.Config) {
	options := append(Transport(&p.config.GRPC),
		grpc.UnaryInterceptor(chain.Unary("grpc", links)),
		grpc.ChainStreamInterceptor(limited.Stream(caller), chain.Stream("grpc", links)),
		grpc.InTapHandle(chain.Taps(chain.HeadTap, keyTap, limits.TapConnection, limited.Tap(streams), chain.DeadlineTap(deadlines(&p.config), streams))),
		limits.Codec(),
		grpc.WaitForHandlers(true), // the store is closed after the server
	)
	if tlsConfig != nil {
		options = append(options, grpc.Creds(credentials.NewTLS(tlsConfig)))
	}
	if p.export != nil {
		options = append(options, grpc.StatsHandler(p.export.CallStats()))
	}
	p.grpc = grpc.NewServer(options...)
}

func (p *Program) makeHTTP(handler http.Handler, metrics *telemetry.Metrics, tlsConfig *tls.Config) {
	c := &p.config.HTTP
	p.http = &http.Server{
		Handler:           handler,
		ReadHeaderTimeout: c.ReadHeaderTimeout,
		ReadTimeout:       c.ReadTimeout,
		IdleTimeout:       c.IdleTimeout,
		MaxHeaderBytes:    c.MaxHeaderBytes,
		ConnContext:       limits.ConnContext,
		ConnState:         limits.ConnState,
		ErrorLog:          slog.NewLogLogger(p.log.Handler(), slog.LevelInfo),
		HTTP2:             &http.HTTP2Config{MaxConcurrentStreams: 100, SendPingTimeout: 30 * time.Second, PingTimeout: 10 * time.Second},
	}
	if tlsConfig != nil {
		p.http.TLSConfig = tlsConfig.Clone()
		p.http.TLSConfig.NextProtos = []string{"h2", "http/1.1"}
	}
	p.metrics = &http.Server{
		Handler:           p.metricsFence().Around(metrics.Handler(p.config.Telemetry.Pprof)),
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       10 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    8 << 10,
		ErrorLog:          slog.NewLogLogger(p.log.Handler(), slog.LevelInfo),
	}
}

// Local returns a connection to the services in this process, which needs neither address nor key.
func (p *Program) Local() grpc.ClientConnInterface { return p.local }

// GRPCAddress returns where gRPC is served, empty if nowhere.
func (p *Program) GRPCAddress() string { return addressOf(p.grpcListener) }

// HTTPAddress returns where HTTP is served, empty if nowhere.
func (p *Program) HTTPAddress() string { return addressOf(p.httpListener) }

// MetricsAddress returns where metrics are served, empty if nowhere.
func (p *Program) MetricsAddress() string { return addressOf(p.metricsListener) }

func addressOf(l net.Listener) string {
	if l == nil {
		return ""
	}
	return l.Addr().String()
}

// Run serves until the context ends, or one of the servers fails, which stops the others. Stopped by the
// context it returns nil.
func (p *Program) Run(told context.Context) error {
	group, ctx := errgroup.WithContext(told)
	if p.grpcListener != nil {
		group.Go(func() error { return unlessClosed(p.grpc.Serve(p.grpcListener)) })
	}
	if p.httpListener != nil {
		group.Go(func() error {
			if p.http.TLSConfig != nil {
				return unlessClosed(p.http.ServeTLS(p.httpListener, "", ""))
			}
			return unlessClosed(p.http.Serve(p.httpListener))
		})
	}
	if p.metricsListener != nil {
		group.Go(func() error { return unlessClosed(p.metrics.Serve(p.metricsListener)) })
	}
	group.Go(func() error {
		<-ctx.Done()
		delay := p.config.ShutdownDelay
		if told.Err() == nil {
			delay = 0 // a server has failed: whoever comes finds half of it
		}
		p.stop(delay)
		return nil
	})
	p.log.Info("serving", "grpc", p.GRPCAddress(), "http", p.HTTPAddress(), "metrics", p.MetricsAddress(), "tls", p.config.TLS.Cert != "", "keys", p.config.NeedsKey())
	return group.Wait()
}

func unlessClosed(err error) error {
	if errors.Is(err, http.ErrServerClosed) || errors.Is(err, grpc.ErrServerStopped) {
		return nil
	}
	return err
}

// stop ends the servers. First health and readiness tell that nobody should come any more, and for the delay whoever comes all the same is still
// served, since balancers and clients look only now and then. Then the listeners close, and what is under way ends or is cut off.
func (p *Program) stop(delay time.Duration) {
	p.log.Info("stopping", "delay", delay, "grace", p.config.ShutdownGrace)
	p.stopping.Store(true)
	p.health.Shutdown()
	if delay > 0 {
		<-p.after(delay)
	}
	ctx, cancel := context.WithTimeout(context.Background(), p.config.ShutdownGrace)
	defer cancel()
	var both sync.WaitGroup
	both.Go(func() {
		if err := p.http.Shutdown(ctx); err != nil {
			p.log.Warn("requests over HTTP were cut off", "error", err)
			p.http.Close()
		}
	})
	both.Go(func() {
		done := make(chan struct{})
		go func() {
			p.grpc.GracefulStop()
			close(done)
		}()
		select {
		case <-done:
		case <-ctx.Done():
			p.log.Warn("calls over gRPC were cut off")
			p.grpc.Stop()
			<-done
		}
	})
	both.Wait()
	p.metrics.Close()
}

// readinessEvery is how often health asks the storage.
const readinessEvery = time.Second

// watchReadiness lets gRPC health say what the storage says.
func (p *Program) watchReadiness(ctx context.Context) {
	tick := time.NewTicker(readinessEvery)
	defer tick.Stop()
	var last healthpb.HealthCheckResponse_ServingStatus
	for {
		asked, cancel := context.WithTimeout(ctx, 2*readinessEvery)
		err := p.store.Ready(asked)
		cancel()
		now := healthpb.HealthCheckResponse_SERVING
		if err != nil {
			now = healthpb.HealthCheckResponse_NOT_SERVING
		}
		if ctx.Err() != nil {
			return
		}
		if now != last {
			if err != nil {
				p.log.Warn("not ready", "error", err)
			}
			// After Shutdown this does nothing.
			p.health.SetServingStatus("", now)
			last = now
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// Close frees everything, the store last. A running program is to be stopped by its context first.
func (p *Program) Close() error {
	if p.closed.Swap(true) {
		return nil
	}
	p.end()
	for _, l := range []net.Listener{p.grpcListener, p.httpListener, p.metricsListener} {
		if l != nil {
			l.Close() // closed already after a run
		}
	}
	if p.grpc != nil {
		p.grpc.Stop()
	}
	var errs []error
	if p.export != nil {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		if err := p.export.Close(ctx); err != nil {
			p.log.Warn("traces and metrics were not all sent", "error", err)
		}
	}
	if p.store != nil {
		if err := p.store.Close(); err != nil {
			errs = append(errs, fmt.Errorf("the store was not closed well: %w", err))
		}
	}
	return errors.Join(errs...)
}
