package config

import (
	"errors"
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"os"
	"strings"
	"time"
)

// minOperatorKey is the least length of an operator key: 32 characters of base64 are 192 bits.
const minOperatorKey = 32

// Verify reports every fault of the settings at once, each with what to do about it.
func (c *Config) Verify() error {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }

	if c.Store == "" {
		fault("store is empty: name a file or a postgres:// URL")
	}
	if c.Create && c.Store.PostgreSQL() {
		fault("create is for SQLite: a PostgreSQL database is made by its administrator, its tables by the command migrate")
	}
	if c.StoreDirect != "" && (!c.Store.PostgreSQL() || !c.StoreDirect.PostgreSQL()) {
		fault("store-direct is for PostgreSQL behind a pooler: give the postgres:// URL of the pooler as store, and that of the database as store-direct")
	}
	c.verifyListeners(fault)
	c.verifyAccess(fault)
	c.verifyLimits(fault)
	c.verifyTimes(fault)
	if c.Telemetry.TraceRatio < 0 || c.Telemetry.TraceRatio > 1 || c.Telemetry.TraceRatio != c.Telemetry.TraceRatio {
		fault("trace-ratio is %g: 0 to 1 is allowed", c.Telemetry.TraceRatio)
	}
	if c.Telemetry.OTLPEndpoint != "" {
		if _, _, err := net.SplitHostPort(c.Telemetry.OTLPEndpoint); err != nil {
			fault("otlp-endpoint is %q: host:port is needed", c.Telemetry.OTLPEndpoint)
		}
	}
	return errors.Join(faults...)
}

type faultFunc func(format string, args ...any)

func (c *Config) verifyListeners(fault faultFunc) {
	seen := map[string]string{}
	for _, l := range []struct{ name, address string }{
		{"grpc-address", c.GRPC.Address}, {"http-address", c.HTTP.Address}, {"metrics-address", c.Telemetry.MetricsAddress},
	} {
		if l.address == "" {
			continue
		}
		_, port, err := net.SplitHostPort(l.address)
		if err != nil {
			fault("%s is %q: host:port is needed, such as 127.0.0.1:7400 (port 0: any free one)", l.name, l.address)
			continue
		}
		if other, taken := seen[l.address]; taken && port != "0" {
			fault("%s is the same as %s: each needs a port of its own", l.name, other)
		}
		seen[l.address] = l.name
	}
	if c.Telemetry.Pprof {
		if c.Telemetry.MetricsAddress == "" {
			fault("pprof needs a metrics-address to be served at")
		} else if !Loopback(c.Telemetry.MetricsAddress) {
			fault("pprof shows memory, so metrics-address has to be loopback with it, and is %q", c.Telemetry.MetricsAddress)
		}
	}
	between(fault, "grpc-max-message-bytes", c.GRPC.MaxMessageBytes, 64<<10, 64<<20)
	between(fault, "http-max-body-bytes", c.HTTP.MaxBodyBytes, 64<<10, 64<<20)
	between(fault, "grpc-max-streams", c.GRPC.MaxStreams, 1, 10_000)
	between(fault, "grpc-max-connections", c.GRPC.MaxConnections, 1, 1_000_000)
	between(fault, "http-max-connections", c.HTTP.MaxConnections, 1, 1_000_000)
	between(fault, "grpc-max-header-bytes", c.GRPC.MaxHeaderBytes, 4<<10, 1<<20)
	between(fault, "http-max-header-bytes", c.HTTP.MaxHeaderBytes, 4<<10, 1<<20)
	if int64(c.GRPC.MaxMessageBytes) < c.HTTP.MaxBodyBytes {
		fault("http-max-body-bytes (%d) is more than grpc-max-message-bytes (%d): the same request has to be possible either way", c.HTTP.MaxBodyBytes, c.GRPC.MaxMessageBytes)
	}
}

func (c *Config) verifyAccess(fault faultFunc) {
	if (c.TLS.Cert == "") != (c.TLS.Key == "") {
		fault("tls-cert and tls-key belong together: give both or neither")
	}
	if c.TLS.ClientCA != "" && c.TLS.Cert == "" {
		fault("tls-client-ca needs tls-cert and tls-key")
	}
	if c.Keys.OperatorKey.IsSet() && c.Keys.OperatorKeyFile != "" {
		fault("operator-key and operator-key-file are both given: give one")
	}
	if keys, err := c.Keys.Operators(); err != nil {
		fault("%w", err)
	} else {
		for i, key := range keys {
			if len(key.Reveal()) < minOperatorKey {
				fault("operator key %d has %d characters: at least %d are needed; make one with: openssl rand -base64 32", i+1, len(key.Reveal()), minOperatorKey)
			}
		}
	}
	if c.JWT.JWKS == "" && (c.JWT.Issuer != "" || c.JWT.Audience != "") {
		fault("jwt-issuer and jwt-audience need jwt-jwks")
	}
	if c.JWT.JWKS != "" {
		if c.JWT.Issuer == "" || c.JWT.Audience == "" {
			fault("jwt-jwks needs jwt-issuer and jwt-audience: a token that was made for someone else must not open this server")
		}
		if strings.HasPrefix(c.JWT.JWKS, "http://") {
			host := strings.TrimPrefix(c.JWT.JWKS, "http://")
			host, _, _ = strings.Cut(host, "/")
			if !loopbackHost(host) {
				fault("jwt-jwks is fetched over http: https is needed, since whoever changes the answer could make keys of his own")
			}
		}
		if c.JWT.StudioClaim == "" || c.JWT.RoleClaim == "" {
			fault("jwt-studio-claim and jwt-role-claim must not be empty")
		}
	}
	for _, l := range []struct{ name, address string }{{"grpc-address", c.GRPC.Address}, {"http-address", c.HTTP.Address}} {
		if l.address == "" || Loopback(l.address) {
			continue
		}
		if c.TLS.Cert == "" && !c.AllowPlaintext {
			fault("%s is %s, which others can reach: give tls-cert and tls-key, or accept with allow-plaintext that whoever is on the way can read and change keys and data", l.name, l.address)
		}
		if !c.NeedsKey() && !c.AllowAnonymous {
			fault("%s is %s, which others can reach: give operator-key-file (or jwt-jwks), or accept with allow-anonymous that whoever reaches it may do everything", l.name, l.address)
		}
	}
	for _, h := range c.AllowedHosts {
		if u, err := url.Parse("http://" + h); err != nil || u.Host != h || u.Hostname() == "" || strings.Contains(h, "*") {
			fault("allowed-hosts has %q: a name or an address is needed as a browser's address bar shows it, such as catchline.example or catchline.example:8443", h)
		}
	}
	for _, o := range c.AllowedOrigins {
		if u, err := url.Parse(o); err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || o != u.Scheme+"://"+u.Host || strings.Contains(o, "*") {
			fault("allowed-origins has %q: scheme, host and no more are needed, such as https://app.example; every origin has to be named, there is no *", o)
		}
	}
	if _, err := c.Proxies(); err != nil {
		fault("%w", err)
	}
	if len(c.AllowedOrigins) > 0 && !c.NeedsKey() {
		fault("allowed-origins needs keys: without them whoever made a page there could do everything; give operator-key-file (or jwt-jwks)")
	}
	if c.NeedsKey() && c.AllowAnonymous {
		fault("allow-anonymous contradicts keys: give one of them")
	}
	if c.Keys.Require && !c.Keys.OperatorKey.IsSet() && c.Keys.OperatorKeyFile == "" && c.JWT.JWKS == "" {
		fault("require-keys without operator-key-file and jwt-jwks would let nobody create a studio: give one of them")
	}
}

func (c *Config) verifyLimits(fault faultFunc) {
	l := &c.Limits
	for _, r := range []struct {
		name string
		v    float64
	}{{"limit-requests-per-second", l.RequestsPerSecond}, {"limit-studio-requests-per-second", l.StudioRequestsPerSecond}} {
		if !(r.v >= 0 && r.v <= 1e9) {
			fault("%s is %g: 0 (none) to 1e9 is allowed", r.name, r.v)
		}
	}
	between(fault, "limit-concurrent", l.Concurrent, 1, 100_000)
	between(fault, "limit-compute", l.Compute, 0, 100_000)
	between(fault, "limit-arriving", l.Arriving, 0, 10_000_000)
	between(fault, "limit-queue", l.Queue, 0, 1_000_000)
	between(fault, "limit-sheets", l.Sheets, 1, 10_000)
	between(fault, "limit-studio-sheets", l.StudioSheets, 1, 10_000)
	between(fault, "limit-address-connections", l.AddressConnections, 0, 1_000_000)
	between(fault, "limit-keyless-connections", l.KeylessConnections, 1, 100_000)
	between(fault, "limit-stream-messages", l.StreamMessages, 1, 1<<30)
	if l.StudioSheets > l.Sheets {
		fault("limit-studio-sheets (%d) is more than limit-sheets (%d)", l.StudioSheets, l.Sheets)
	}
	between(fault, "limit-body-bytes", l.BodyBytes, 1<<20, 1<<40)
	if least := 6 * c.HTTP.MaxBodyBytes; l.BodyBytes < least {
		fault("limit-body-bytes (%d) is less than 6 times http-max-body-bytes: at least %d is needed to read one such body", l.BodyBytes, least)
	}
}

func (c *Config) verifyTimes(fault faultFunc) {
	for _, d := range []struct {
		name        string
		v           time.Duration
		least, most time.Duration
	}{
		{"grpc-write-timeout", c.GRPC.WriteTimeout, 100 * time.Millisecond, time.Hour},
		{"grpc-idle-timeout", c.GRPC.IdleTimeout, time.Second, 24 * time.Hour},
		{"grpc-ping-after", c.GRPC.PingAfter, time.Second, time.Hour}, // gRPC itself raises less to 1 s
		{"http-read-header-timeout", c.HTTP.ReadHeaderTimeout, 100 * time.Millisecond, time.Minute},
		{"http-read-timeout", c.HTTP.ReadTimeout, 100 * time.Millisecond, time.Hour},
		{"http-write-timeout", c.HTTP.WriteTimeout, 100 * time.Millisecond, time.Hour},
		{"http-idle-timeout", c.HTTP.IdleTimeout, time.Second, time.Hour},
		{"limit-keyless-idle", c.Limits.KeylessIdle, 100 * time.Millisecond, time.Hour},
		{"limit-queue-time", c.Limits.QueueTime, time.Millisecond, time.Minute},
		{"limit-standing-queue-time", c.Limits.StandingQueueTime, 100 * time.Microsecond, time.Minute},
		{"deadline-default", c.Deadlines.Default, time.Millisecond, time.Hour},
		{"deadline-max", c.Deadlines.Max, time.Millisecond, time.Hour},
		{"deadline-stream", c.Deadlines.Stream, time.Millisecond, 24 * time.Hour},
		{"key-life", c.Keys.Life, 0, 100 * 365 * 24 * time.Hour},
		{"key-life-by-token", c.Keys.TokenLife, 0, 100 * 365 * 24 * time.Hour},
		{"shutdown-delay", c.ShutdownDelay, 0, time.Hour},
		{"shutdown-grace", c.ShutdownGrace, 0, time.Hour},
	} {
		if d.v < d.least || d.v > d.most {
			fault("%s is %s: %s to %s is allowed", d.name, d.v, d.least, d.most)
		}
	}
	if c.Deadlines.Default > c.Deadlines.Max {
		fault("deadline-default (%s) is more than deadline-max (%s)", c.Deadlines.Default, c.Deadlines.Max)
	}
	if c.Limits.QueueTime >= c.Deadlines.Default {
		fault("limit-queue-time (%s) has to be less than deadline-default (%s), or nothing is left for the work", c.Limits.QueueTime, c.Deadlines.Default)
	}
	if c.Limits.StandingQueueTime > c.Limits.QueueTime {
		fault("limit-standing-queue-time (%s) is more than limit-queue-time (%s)", c.Limits.StandingQueueTime, c.Limits.QueueTime)
	}
	if c.HTTP.ReadHeaderTimeout > c.HTTP.ReadTimeout {
		fault("http-read-header-timeout (%s) is more than http-read-timeout (%s)", c.HTTP.ReadHeaderTimeout, c.HTTP.ReadTimeout)
	}
}

// Proxies are the networks of the trusted proxies.
func (c *Config) Proxies() ([]netip.Prefix, error) {
	var all []netip.Prefix
	for _, name := range c.TrustedProxies {
		p, err := netip.ParsePrefix(name)
		if a, alone := netip.ParseAddr(name); alone == nil {
			p, err = a.Prefix(a.BitLen())
		}
		if err != nil {
			return nil, fmt.Errorf("trusted-proxies has %q: an address or a network is needed, such as 10.0.0.7 or 10.0.0.0/8", name)
		}
		all = append(all, p.Masked())
	}
	return all, nil
}

// NeedsKey reports whether nobody gets in without a key or a token.
func (c *Config) NeedsKey() bool {
	return c.Keys.Require || c.Keys.OperatorKey.IsSet() || c.Keys.OperatorKeyFile != "" || c.JWT.JWKS != ""
}

// Operators returns the operator's keys.
func (k *Keys) Operators() ([]Secret, error) {
	if k.OperatorKeyFile == "" {
		if !k.OperatorKey.IsSet() {
			return nil, nil
		}
		return []Secret{k.OperatorKey}, nil
	}
	text, err := os.ReadFile(k.OperatorKeyFile)
	if err != nil {
		return nil, fmt.Errorf("operator-key-file cannot be read: %w", err)
	}
	var keys []Secret
	for line := range strings.Lines(string(text)) {
		if line = strings.TrimSpace(line); line != "" {
			keys = append(keys, NewSecret(line))
		}
	}
	if len(keys) == 0 {
		return nil, fmt.Errorf("operator-key-file %s has no key in it", k.OperatorKeyFile)
	}
	return keys, nil
}

// Warnings says what is given up by flags that were set on purpose.
func (c *Config) Warnings() []string {
	var w []string
	for _, l := range []struct{ name, address string }{{"grpc-address", c.GRPC.Address}, {"http-address", c.HTTP.Address}} {
		if l.address == "" || Loopback(l.address) {
			continue
		}
		if c.TLS.Cert == "" {
			w = append(w, l.name+" "+l.address+" is served without TLS: whoever is on the way can read and change keys and data")
		}
		if !c.NeedsKey() {
			w = append(w, l.name+" "+l.address+" is served without keys: whoever reaches it may read, change and delete everything")
		}
	}
	if a := c.Telemetry.MetricsAddress; a != "" && !Loopback(a) {
		w = append(w, "metrics-address "+a+" is not loopback: metrics are served without keys")
	}
	return w
}

func between[T int | int64 | uint32](fault faultFunc, name string, v, least, most T) {
	if v < least || v > most {
		fault("%s is %d: %d to %d is allowed", name, v, least, most)
	}
}

// HostsOf returns the name of an address to listen at, or nothing where it is a number or every address.
func HostsOf(address string) []string {
	host, _, err := net.SplitHostPort(address)
	if err != nil || host == "" || net.ParseIP(host) != nil {
		return nil
	}
	return []string{host}
}

// Loopback reports whether nobody outside of the machine can reach the address.
func Loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	return err == nil && loopbackHost(host)
}

func loopbackHost(host string) bool {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(strings.Trim(host, "[]"))
	return ip != nil && ip.IsLoopback()
}
