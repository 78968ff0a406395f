package limits

import (
	"container/list"
	"context"
	"net"
	"net/http"
	"net/netip"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/tap"

	"github.com/catchline/catchline/server/chain"
)

// ConnectionOptions are the limits of one listener's connections. A connection is a stranger until a call on it has shown a valid key; where no
// keys are needed, until any call has come that would need one.
type ConnectionOptions struct {
	Most         int // that are no strangers; half of them of one studio
	Reserve      int // of places besides, which are for strangers only, such as health checks
	PerAddress   int // strangers of one address; 0: no limit
	StrangerIdle time.Duration
	Trusted      []netip.Prefix // proxies, which are no strangers, as they bring many callers
}

// Connections counts the connections of one listener. A new one is let in: if there is no place, the stranger that has been there for longest
// goes; if its address has too many, the one of that address.
type Connections struct {
	o ConnectionOptions

	mu        sync.Mutex
	known     int
	parties   map[string]int            // of those that are known, by the party that was first to show itself
	strangers *list.List                // of *conn, the oldest first
	addresses map[netip.Addr]*list.List // the same, by address
}

// NewConnections returns the connections of a listener that has none yet.
func NewConnections(o ConnectionOptions) *Connections {
	return &Connections{o: o, strangers: list.New(), parties: map[string]int{}, addresses: map[netip.Addr]*list.List{}}
}

// Listener lets connections in as far as the limits say.
func (c *Connections) Listener(l net.Listener) net.Listener { return &listener{l, c} }

type listener struct {
	net.Listener
	connections *Connections
}

// Accept implements net.Listener.
func (l *listener) Accept() (net.Conn, error) {
	inner, err := l.Listener.Accept()
	if err != nil {
		return nil, err
	}
	return l.connections.admit(inner), nil
}

// conn is a connection that is counted.
type conn struct {
	net.Conn
	of      *Connections
	address netip.Addr

	introduced atomic.Bool // so that most calls need not ask for the lock

	// Of these Connections.mu takes care.
	stranger *list.Element // among all; nil: it is none
	ofOne    *list.Element // among those of its address
	party    string        // of who is known; empty: nobody's in particular
	closed   bool
	calls    int // under way, while it is a stranger
	idle     *time.Timer
}

// endpoint is the remote address of a connection, by which the connection is found from a call on it, through TLS too.
type endpoint struct {
	net.Addr
	conn *conn
}

// RemoteAddr implements net.Conn.
func (c *conn) RemoteAddr() net.Addr { return endpoint{c.Conn.RemoteAddr(), c} }

// admit counts a connection, and makes a place for it.
func (c *Connections) admit(inner net.Conn) *conn {
	n := &conn{Conn: inner, of: c, address: addressOf(inner)}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.known < c.o.Most && c.trusts(n.address) {
		c.known++
		c.parties[""]++
		return n
	}
	group := groupOf(n.address)
	if of := c.addresses[group]; of != nil && c.o.PerAddress > 0 && of.Len() >= c.o.PerAddress {
		c.end(of.Front())
	}
	if c.known+c.strangers.Len() >= c.o.Most+c.o.Reserve {
		c.end(c.strangers.Front()) // there is one, since those that are known leave the reserve free
	}
	if c.addresses[group] == nil {
		c.addresses[group] = list.New()
	}
	n.stranger, n.ofOne = c.strangers.PushBack(n), c.addresses[group].PushBack(n)
	n.idle = time.AfterFunc(c.o.StrangerIdle, n.tooLong)
	return n
}

func (c *Connections) trusts(a netip.Addr) bool {
	for _, p := range c.o.Trusted {
		if p.Contains(a) {
			return true
		}
	}
	return false
}

// end closes a stranger. c.mu is held.
func (c *Connections) end(stranger *list.Element) {
	n := stranger.Value.(*conn)
	c.forget(n)
	n.Conn.Close()
}

// forget ends the counting of a stranger. c.mu is held.
func (c *Connections) forget(n *conn) {
	c.strangers.Remove(n.stranger)
	n.stranger = nil
	n.closed = true
	n.idle.Stop()
	group := groupOf(n.address)
	c.addresses[group].Remove(n.ofOne)
	if c.addresses[group].Len() == 0 {
		delete(c.addresses, group)
	}
}

// tooLong closes a stranger that has been idle for its time.
func (n *conn) tooLong() {
	n.of.mu.Lock()
	idle := n.stranger != nil && n.calls == 0
	n.of.mu.Unlock()
	if idle {
		n.Close()
	}
}

// Close implements net.Conn.
func (n *conn) Close() error {
	n.of.mu.Lock()
	switch {
	case n.closed:
	case n.stranger != nil:
		n.of.forget(n)
	default:
		n.closed = true
		n.of.known--
		if n.of.parties[n.party]--; n.of.parties[n.party] <= 0 {
			delete(n.of.parties, n.party)
		}
	}
	n.of.mu.Unlock()
	return n.Conn.Close()
}

// introduce makes a stranger known, if there is a place for one more of the party.
func (n *conn) introduce(party string) bool {
	if n.introduced.Load() {
		return true
	}
	n.of.mu.Lock()
	defer n.of.mu.Unlock()
	if n.stranger == nil {
		return true // already, or closed
	}
	if n.of.known >= n.of.o.Most || party != "" && n.of.parties[party] >= max(1, n.of.o.Most/2) {
		return false
	}
	n.of.forget(n)
	n.closed, n.party = false, party
	n.introduced.Store(true)
	n.of.known++
	n.of.parties[party]++
	return true
}

// working notes how many calls are under way on a connection, as it follows from how many there were. A stranger is not idle meanwhile.
func (n *conn) working(calls func(before int) int) {
	n.of.mu.Lock()
	defer n.of.mu.Unlock()
	if n.stranger == nil {
		return
	}
	if n.calls = calls(n.calls); n.calls > 0 {
		n.idle.Stop()
	} else {
		n.idle.Reset(n.of.o.StrangerIdle)
	}
}

// ReasonConnections is why a call is turned away for whose connection there is no place.
const ReasonConnections = "connections"

// TapConnection is for gRPC calls: a stranger is not idle while one is under way.
func TapConnection(ctx context.Context, _ *tap.Info) (context.Context, error) {
	if n := connOf(ctx); n != nil && !n.introduced.Load() {
		n.working(func(before int) int { return before + 1 })
		context.AfterFunc(ctx, func() { n.working(func(before int) int { return before - 1 }) })
	}
	return ctx, nil
}

type connKey struct{}

// ConnContext is for an http.Server, so that Connected finds the connection of a request.
func ConnContext(ctx context.Context, c net.Conn) context.Context {
	if at, ok := c.RemoteAddr().(endpoint); ok {
		return context.WithValue(ctx, connKey{}, at.conn)
	}
	return ctx
}

// ConnState is for an http.Server, so that a stranger is not idle while it is answered.
func ConnState(c net.Conn, state http.ConnState) {
	at, ok := c.RemoteAddr().(endpoint)
	if !ok {
		return
	}
	switch state {
	case http.StateActive:
		at.conn.working(func(int) int { return 1 }) // over HTTP/2 some more, for all of which this is told once
	case http.StateIdle:
		at.conn.working(func(int) int { return 0 })
	}
}

// Connected is for calls whose heads have shown who sends them.
func (l *Limits) Connected(ctx context.Context) error {
	n := connOf(ctx)
	if n == nil || n.introduce(chain.HeadOf(ctx).Party) {
		return nil
	}
	return l.refuse(ReasonConnections, time.Second, "The server has as many connections as it may have; try again later.")
}

// connOf returns the connection that a call came on, or nil.
func connOf(ctx context.Context) *conn {
	if p, ok := peer.FromContext(ctx); ok {
		if at, ok := p.Addr.(endpoint); ok {
			return at.conn
		}
	}
	n, _ := ctx.Value(connKey{}).(*conn)
	return n
}

// addressOf is the address that a connection comes from.
func addressOf(c net.Conn) netip.Addr {
	if tcp, ok := c.RemoteAddr().(*net.TCPAddr); ok {
		return tcp.AddrPort().Addr().Unmap().WithZone("")
	}
	return netip.Addr{}
}

// ofOneHost is how much of an IPv6 address says whose it is: a host has as many of the rest as it likes.
const ofOneHost = 64

// groupOf is what counts as one address.
func groupOf(a netip.Addr) netip.Addr {
	if a.Is6() {
		if p, err := a.Prefix(ofOneHost); err == nil {
			return p.Addr()
		}
	}
	return a
}
