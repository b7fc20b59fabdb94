package limits

import (
	"net"
	"net/netip"
	"sync"

	"golang.org/x/net/netutil"
)

const (
	// mostOpen bounds the connections that are open at once, so that those who send slowly
	// use up no files that the log needs; more wait. It is twice the pages that may hear of
	// changes.
	mostOpen = 1000
	// mostOpenEach bounds those of one address, as [Key] has it; more are closed at once. A
	// browser opens six to a host, so that is 30 people behind one address.
	mostOpenEach = 200
)

// Guard bounds the connections of a listener. With only, it takes none but those of the
// proxies and of the loopback: behind it nothing is encrypted.
func (p Proxies) Guard(l net.Listener, only bool) net.Listener {
	return p.guard(l, only, mostOpen, mostOpenEach)
}

func (p Proxies) guard(l net.Listener, only bool, inAll, each int) net.Listener {
	return &guard{Listener: netutil.LimitListener(l, inAll), proxies: p, only: only, most: each, open: map[string]int{}}
}

type guard struct {
	net.Listener
	proxies Proxies
	only    bool
	most    int

	mu   sync.Mutex
	open map[string]int
}

// Accept implements net.Listener.
func (g *guard) Accept() (net.Conn, error) {
	for {
		c, err := g.Listener.Accept()
		if err != nil {
			return nil, err
		}
		from := addressOf(c.RemoteAddr().String())
		key := Key(from)
		if g.proxies.has(from) {
			key = "" // it brings everybody
		}
		if g.enters(from, key) {
			return &counted{Conn: c, leave: sync.OnceFunc(func() { g.leave(key) })}, nil
		}
		c.Close() // what is wrong with closing it is nobody's concern
	}
}

func (g *guard) enters(from netip.Addr, key string) bool {
	if g.only && !from.IsLoopback() && !g.proxies.has(from) {
		return false
	}
	if key == "" {
		return true
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.open[key] >= g.most {
		return false
	}
	g.open[key]++
	return true
}

func (g *guard) leave(key string) {
	if key == "" {
		return
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.open[key]--; g.open[key] == 0 {
		delete(g.open, key)
	}
}

// counted is a connection that counts until it is closed.
type counted struct {
	net.Conn
	leave func()
}

// Close implements net.Conn.
func (c *counted) Close() error {
	defer c.leave()
	return c.Conn.Close()
}
