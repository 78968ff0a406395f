package limits

import (
	"net"
	"net/netip"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// fakeConn is a connection from an address, of which it is known whether it is closed.
type fakeConn struct {
	net.Conn
	from  string
	ended atomic.Bool
}

func (f *fakeConn) RemoteAddr() net.Addr {
	return net.TCPAddrFromAddrPort(netip.MustParseAddrPort(f.from))
}
func (f *fakeConn) Close() error { f.ended.Store(true); return nil }

func (f *fakeConn) closed() bool { return f.ended.Load() }

func few() ConnectionOptions {
	return ConnectionOptions{Most: 4, Reserve: 2, PerAddress: 3, StrangerIdle: 10 * time.Second}
}

func (c *Connections) from(address string) (*conn, *fakeConn) {
	f := &fakeConn{from: address}
	return c.admit(f), f
}

func TestStrangersOfOneAddress(t *testing.T) {
	o := few()
	o.Most, o.Trusted = 100, []netip.Prefix{netip.MustParsePrefix("10.0.0.0/8")}
	c := NewConnections(o)
	first, _ := c.from("192.0.2.1:1000")
	_, second := c.from("192.0.2.1:1001")
	_, third := c.from("192.0.2.1:1002")
	if !first.introduce("s") {
		t.Error("there is no place for one that is known")
	}
	c.from("192.0.2.1:1003")
	if second.closed() {
		t.Error("with three strangers of one address one is closed: who is known still counts as one")
	}
	if c.from("192.0.2.2:1"); second.closed() {
		t.Error("one of another address closes it")
	}
	if c.from("[::ffff:192.0.2.1]:1003"); !second.closed() || third.closed() {
		t.Errorf("with a fourth, its address written as IPv6, the oldest is closed %v, the next one %v", second.closed(), third.closed())
	}
	_, network := c.from("[2001:db8::1]:1")
	c.from("[2001:db8::2]:1")
	c.from("[2001:db8::ffff:1]:1")
	if c.from("[2001:db8:0:1::]:1"); network.closed() {
		t.Error("one of another network closes it")
	}
	if c.from("[2001:db8:0:0:8::]:1"); !network.closed() {
		t.Error("four of one network of IPv6 are let in")
	}
	for range 20 {
		if n, _ := c.from("10.1.2.3:1"); n.stranger != nil {
			t.Fatal("a trusted proxy is a stranger")
		}
	}
}

// However many strangers there are, a new one is let in: the oldest goes. And those that are known leave room for strangers.
func TestThereIsAlwaysAPlaceForOneMore(t *testing.T) {
	c := NewConnections(few())
	var strangers []*fakeConn
	address := func(i int) string {
		return netip.AddrPortFrom(netip.AddrFrom4([4]byte{192, 0, 2, byte(i)}), 1).String()
	}
	for i := range 20 {
		_, f := c.from(address(i))
		strangers = append(strangers, f)
	}
	for i, f := range strangers {
		if f.closed() != (i < 14) {
			t.Errorf("number %d of 20 strangers, for whom there are 6 places: closed is %v", i, f.closed())
		}
	}
	var known []*conn
	for i := range 5 {
		n, _ := c.from(address(100 + i))
		party := []string{"a", "b"}[i%2]
		if got := n.introduce(party); got != (i < 4) {
			t.Errorf("number %d that is known, of 4: %v", i, got)
		}
		known = append(known, n)
	}
	for i := range 5 {
		if _, check := c.from(address(200 + i)); check.closed() {
			t.Error("a health check is not let in")
		}
	}
	for _, n := range known[:4] {
		n.Close()
		n.Close()
	}
	if c.known != 0 || len(c.parties) != 0 || len(c.addresses) != 2 || c.strangers.Len() != 2 {
		t.Errorf("%d known of %v, %d strangers of %d addresses", c.known, c.parties, c.strangers.Len(), len(c.addresses))
	}
}

func TestOneStudioHasHalfOfTheConnections(t *testing.T) {
	c := NewConnections(few())
	for i := range 3 {
		n, _ := c.from("192.0.2.1:1")
		if got := n.introduce("loud"); got != (i < 2) {
			t.Errorf("number %d of one studio: %v", i, got)
		}
	}
	if n, _ := c.from("192.0.2.1:1"); !n.introduce("quiet") {
		t.Error("there is no place for another studio")
	}
}

func TestIdleStrangersAreClosed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := few()
		o.PerAddress = 0
		c := NewConnections(o)
		_, idle := c.from("192.0.2.1:1")
		known, knows := c.from("192.0.2.1:2")
		known.introduce("s")
		busy, works := c.from("192.0.2.1:3")
		busy.working(func(int) int { return 1 })
		time.Sleep(11 * time.Second)
		if !idle.closed() || knows.closed() || works.closed() {
			t.Errorf("closed: an idle one %v, a known one %v, one with a call %v", idle.closed(), knows.closed(), works.closed())
		}
		busy.working(func(int) int { return 0 })
		time.Sleep(9 * time.Second)
		if works.closed() {
			t.Error("it is closed before its time")
		}
		time.Sleep(2 * time.Second)
		if !works.closed() || c.strangers.Len() != 0 {
			t.Errorf("after its last call: closed is %v, %d strangers", works.closed(), c.strangers.Len())
		}
	})
}
