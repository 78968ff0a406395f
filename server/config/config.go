// Package config holds every setting of the server in one struct, and reads it from the command line,
// the environment, a file and the defaults, in this order of precedence.
//
// The struct's tags are the single place where a setting has its name, default and help, so flags, environment,
// file and documentation cannot disagree. A setting `grpc-address` is the flag --grpc-address, the environment
// variable CATCHLINE_GRPC_ADDRESS, and in a TOML file the key `grpc-address` or `address` in the table `grpc`.
package config

import "time"

// Config is every setting of the server.
type Config struct {
	Store       Database `name:"store" default:"catchline.db" help:"SQLite file, or the URL of a PostgreSQL database: postgres://user@host/name."`
	StoreDirect Database `name:"store-direct" help:"URL of the same PostgreSQL database without a pooler in between, for notifications, migrations and locks. Needed where store leads through a pooler, and only there."`
	Create      bool     `name:"create" help:"Make the SQLite file if there is none. Without it a missing file is an error, so that a wrong path or a lost disk is noticed."`
	Demo        bool     `name:"demo" help:"Load the invented demo studio at the start unless it is there."`

	GRPC      GRPC      `embed:"" prefix:"grpc-"`
	HTTP      HTTP      `embed:"" prefix:"http-"`
	TLS       TLS       `embed:"" prefix:"tls-"`
	Keys      Keys      `embed:""`
	JWT       JWT       `embed:"" prefix:"jwt-"`
	Limits    Limits    `embed:"" prefix:"limit-"`
	Deadlines Deadlines `embed:"" prefix:"deadline-"`
	Telemetry Telemetry `embed:""`

	AllowPlaintext bool `name:"allow-plaintext" help:"Serve addresses other than loopback without TLS. Given up: whoever is on the way can read and change keys and data."`
	AllowAnonymous bool `name:"allow-anonymous" help:"Serve addresses other than loopback without keys. Given up: whoever reaches the port may read, change and delete everything."`

	AllowedHosts   Names `name:"allowed-hosts" help:"Without keys: names, besides loopback and the server's own addresses, under which browsers may use it, as their address bar shows them; behind a proxy, its name."`
	TrustedProxies Names `name:"trusted-proxies" help:"Addresses or networks, such as 10.0.0.0/8, of proxies that bring many callers: their connections are not limited by address and may be idle for longer."`
	AllowedOrigins Names `name:"allowed-origins" help:"With keys: origins of web pages, such as https://app.example, that may use the server from a browser (CORS)."`

	ShutdownDelay time.Duration `name:"shutdown-delay" default:"0s" help:"How long the server still takes new requests after it was told to stop, while readiness says no, so that balancers and clients go elsewhere first: 5s where they do."`
	ShutdownGrace time.Duration `name:"shutdown-grace" default:"20s" help:"How long requests under way may take to end when the server is told to stop."`
}

// GRPC are the settings of the gRPC listener.
type GRPC struct {
	Address         string        `name:"address" default:"127.0.0.1:7400" help:"Where gRPC is served; empty: nowhere."`
	MaxMessageBytes int           `name:"max-message-bytes" default:"16777216" help:"Largest message in either direction, 64 KiB to 64 MiB."`
	MaxStreams      uint32        `name:"max-streams" default:"256" help:"Most calls at once on one connection."`
	MaxConnections  int           `name:"max-connections" default:"2000" help:"Most connections at once."`
	MaxHeaderBytes  uint32        `name:"max-header-bytes" default:"16384" help:"Largest list of headers of a call."`
	WriteTimeout    time.Duration `name:"write-timeout" default:"30s" help:"A stream of which the client takes nothing for this long is ended."`
	IdleTimeout     time.Duration `name:"idle-timeout" default:"15m" help:"A connection without calls is closed after this."`
	PingAfter       time.Duration `name:"ping-after" default:"30s" help:"A silent connection is asked whether it still lives after this, and closed if it does not say so within 10 s."`
}

// HTTP are the settings of the HTTP/JSON listener.
type HTTP struct {
	Address           string        `name:"address" default:"127.0.0.1:7480" help:"Where HTTP/JSON and the pages are served; empty: nowhere."`
	MaxBodyBytes      int64         `name:"max-body-bytes" default:"9437184" help:"Largest body of a request, 64 KiB to 64 MiB."`
	MaxHeaderBytes    int           `name:"max-header-bytes" default:"16384" help:"Largest head of a request."`
	MaxConnections    int           `name:"max-connections" default:"2000" help:"Most connections at once."`
	ReadHeaderTimeout time.Duration `name:"read-header-timeout" default:"5s" help:"A request's head has to arrive within this."`
	ReadTimeout       time.Duration `name:"read-timeout" default:"30s" help:"A whole request has to arrive within this."`
	WriteTimeout      time.Duration `name:"write-timeout" default:"30s" help:"A client that takes nothing of an answer for this long is cut off."`
	IdleTimeout       time.Duration `name:"idle-timeout" default:"2m" help:"A connection without requests is closed after this."`
}

// TLS are the settings of transport security, for gRPC and HTTP alike.
type TLS struct {
	Cert     string `name:"cert" help:"File with the certificate chain in PEM. It is read again when it changes."`
	Key      string `name:"key" help:"File with the certificate's private key in PEM."`
	ClientCA string `name:"client-ca" help:"File with the authorities in PEM whose client certificates are asked for; without one nobody gets in (mutual TLS)."`
}

// Keys are the settings of access by keys.
type Keys struct {
	Require         bool          `name:"require-keys" help:"Let nobody in without a key. On by itself when an operator key or an identity provider is given."`
	OperatorKey     Secret        `name:"operator-key" help:"Key that may create studios and do everything, at least 32 characters. Better in a file: --operator-key-file."`
	Life            time.Duration `name:"key-life" default:"0s" help:"Longest life of a studio's key: one that is made without an expiry gets this, one that asks for longer is refused; 0: no limit."`
	TokenLife       time.Duration `name:"key-life-by-token" default:"2160h" help:"The same of keys that the bearer of an identity provider's token makes, which outlive the token: 90 days; 0: as key-life."`
	OperatorKeyFile string        `name:"operator-key-file" help:"File with one operator key a line; more than one while changing them. Read at the start."`
}

// JWT are the settings of access by tokens of an outside identity provider.
type JWT struct {
	JWKS        string `name:"jwks" help:"File or https URL of the provider's keys (JWKS)."`
	Issuer      string `name:"issuer" help:"Issuer (iss) that a token must have."`
	Audience    string `name:"audience" help:"Audience (aud) that a token must have."`
	StudioClaim string `name:"studio-claim" default:"catchline_studio" help:"Claim with the studio's id."`
	RoleClaim   string `name:"role-claim" default:"catchline_role" help:"Claim with the role: view, record or manage."`
}

// Limits are how much is taken on.
type Limits struct {
	RequestsPerSecond       float64       `name:"requests-per-second" default:"0" help:"Requests a second in all; 0: as many as the machine can do."`
	StudioRequestsPerSecond float64       `name:"studio-requests-per-second" default:"2000" help:"Requests a second of one studio, with all of its keys; 0: no limit."`
	Concurrent              int           `name:"concurrent" default:"64" help:"Requests at once that read and write records."`
	Compute                 int           `name:"compute" default:"0" help:"Requests at once that compute, such as scores, and as many again that compute for long, such as fits and parts of sheets; 0: one a processor."`
	Queue                   int           `name:"queue" default:"128" help:"Requests of either kind that may wait for their turn. When it is full, the studio with most of them loses one to a studio with fewer."`
	Arriving                int           `name:"arriving" default:"4096" help:"gRPC requests of which the head has come and not yet the body; what comes beyond is turned away. 0: no limit."`
	BodyBytes               int64         `name:"body-bytes" default:"67108864" help:"Memory for requests that are read, parsed and worked on, at least 6 times http-max-body-bytes; one studio may have half of it. What has no room waits for queue-time, then is turned away."`
	QueueTime               time.Duration `name:"queue-time" default:"200ms" help:"Longest wait for a turn, as in a burst after a quiet moment."`
	StandingQueueTime       time.Duration `name:"standing-queue-time" default:"5ms" help:"Longest wait once a studio's queue has not been empty for queue-time: more comes than can be done."`
	Sheets                  int           `name:"sheets" default:"8" help:"Sheets and exports that are worked on at once. Beyond it a studio that has none may still have one, up to four times as many in all."`
	StudioSheets            int           `name:"studio-sheets" default:"3" help:"Sheets and exports of one studio at once."`
	AddressConnections      int           `name:"address-connections" default:"256" help:"Connections of one address (in IPv6: of one /64 network) on which no valid key has been seen, on each port; beyond it the oldest is closed. 0: no limit."`
	KeylessConnections      int           `name:"keyless-connections" default:"64" help:"Connections beyond max-connections that only those without a key may have, such as health checks. When there is no place, the one that has been without a key for longest is closed."`
	KeylessIdle             time.Duration `name:"keyless-idle" default:"10s" help:"A connection on which no valid key has been seen is closed after this without a call."`
	StreamMessages          int           `name:"stream-messages" default:"200000" help:"Most messages of one stream."`
}

// Deadlines are how long work may take.
type Deadlines struct {
	Default time.Duration `name:"default" default:"30s" help:"Of a request that gives none."`
	Max     time.Duration `name:"max" default:"2m" help:"At most, whatever the client asks for."`
	Stream  time.Duration `name:"stream" default:"10m" help:"Of sheets, exports, imports and fits, at most and when none is given."`
}

// Telemetry are the settings of logs, metrics and traces.
type Telemetry struct {
	LogLevel       string  `name:"log-level" default:"info" enum:"debug,info,warn,error" help:"Least level that is logged: debug (every request), info (refused requests), warn, error."`
	LogFormat      string  `name:"log-format" default:"json" enum:"json,text" help:"Form of the log on standard error: json or text."`
	MetricsAddress string  `name:"metrics-address" default:"127.0.0.1:7490" help:"Where Prometheus metrics are served under /metrics, without keys; empty: nowhere."`
	Pprof          bool    `name:"pprof" help:"Also serve profiles under /debug/pprof/ there; loopback only."`
	OTLPEndpoint   string  `name:"otlp-endpoint" help:"host:port of an OpenTelemetry collector (OTLP over gRPC) that gets traces and metrics; empty: none."`
	OTLPPlaintext  bool    `name:"otlp-plaintext" help:"Talk to the collector without TLS."`
	TraceRatio     float64 `name:"trace-ratio" default:"0.01" help:"Share of requests that are traced when the caller has not decided, 0 to 1."`
}
