package limits

import (
	"errors"
	"io"
	"net"
	"net/netip"
	"testing"
	"testing/synctest"
)

// comer is a connection from an address.
type comer struct {
	net.Conn
	from   net.Addr
	closed chan struct{}
}

func (c *comer) RemoteAddr() net.Addr { return c.from }

func (c *comer) Close() error { close(c.closed); return nil }

// door is a listener to which a test brings connections.
type door struct{ come chan net.Conn }

func (d *door) Accept() (net.Conn, error) {
	if c, ok := <-d.come; ok {
		return c, nil
	}
	return nil, io.EOF
}
func (d *door) Close() error   { return nil }
func (d *door) Addr() net.Addr { return &net.TCPAddr{} }

func from(address string) *comer {
	return &comer{from: net.TCPAddrFromAddrPort(netip.MustParseAddrPort(address)), closed: make(chan struct{})}
}

// TestGuard: of one address, only so many connections are open at once; another's and a
// proxy's do not count with them; one that ends makes room, once.
func TestGuard(t *testing.T) {
	d := &door{make(chan net.Conn, 100)}
	p := Proxies{netip.MustParsePrefix("10.0.0.0/8")}
	g := p.guard(d, false, 100, 3).(*guard)
	for _, a := range []string{"192.0.2.7:1", "192.0.2.7:2", "192.0.2.7:3", "192.0.2.8:1", "10.0.0.1:1", "10.0.0.1:2", "10.0.0.1:3", "10.0.0.1:4", "127.0.0.1:1", "127.0.0.1:2", "127.0.0.1:3", "127.0.0.1:4",
		"[2001:db8::1]:1", "[2001:db8::2]:2", "[2001:db8::3]:3"} {
		d.come <- from(a)
	}
	var open []net.Conn
	for range 15 {
		c, err := g.Accept()
		if err != nil {
			t.Fatal(err)
		}
		open = append(open, c)
	}
	tooMany, theirs := from("192.0.2.7:4"), from("[2001:db8::4]:9")
	d.come <- tooMany
	d.come <- theirs
	d.come <- from("192.0.2.9:1")
	if c, err := g.Accept(); err != nil || c.RemoteAddr().String() != "192.0.2.9:1" {
		t.Errorf("after two too many: %v, %v", c, err)
	}
	<-tooMany.closed
	<-theirs.closed
	open[0].Close()
	d.come <- from("192.0.2.7:5")
	if c, err := g.Accept(); err != nil || c.RemoteAddr().String() != "192.0.2.7:5" {
		t.Errorf("where one left: %v, %v", c, err)
	}
	for _, c := range open[1:] {
		c.Close()
	}
	if g.open["2001:db8::/64"] != 0 || g.open["192.0.2.7/32"] != 1 || len(g.open) != 2 {
		t.Errorf("still counted: %v", g.open)
	}
	close(d.come)
	if _, err := g.Accept(); !errors.Is(err, io.EOF) {
		t.Error(err)
	}
}

// TestGuardOfAProxy: where nothing is encrypted, only the proxies come in, and this machine.
func TestGuardOfAProxy(t *testing.T) {
	d := &door{make(chan net.Conn, 10)}
	g := Proxies{netip.MustParsePrefix("10.0.0.0/8")}.Guard(d, true)
	stranger := from("192.0.2.7:1")
	for _, c := range []net.Conn{stranger, from("10.0.0.1:1"), from("127.0.0.1:1")} {
		d.come <- c
	}
	for _, want := range []string{"10.0.0.1:1", "127.0.0.1:1"} {
		if c, err := g.Accept(); err != nil || c.RemoteAddr().String() != want {
			t.Errorf("%v, %v, want %s", c, err, want)
		}
	}
	<-stranger.closed
}

// TestGuardInAll: with as many open as may be, the next one waits until one ends.
func TestGuardInAll(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &door{make(chan net.Conn, mostOpen+1)}
		g := Proxies{}.Guard(d, false)
		for i := range mostOpen + 1 {
			d.come <- from(netip.AddrPortFrom(netip.AddrFrom4([4]byte{192, 0, byte(i >> 8), byte(i)}), 1).String())
		}
		var open []net.Conn
		go func() {
			for range mostOpen + 1 {
				c, err := g.Accept()
				if err != nil {
					t.Error(err)
				}
				open = append(open, c)
			}
		}()
		synctest.Wait()
		if len(open) != mostOpen {
			t.Errorf("%d are open", len(open))
		}
		open[0].Close()
		synctest.Wait()
		if len(open) != mostOpen+1 {
			t.Errorf("%d were taken after one ended", len(open))
		}
	})
}
