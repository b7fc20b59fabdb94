package server

import (
	"bufio"
	"bytes"
	"crypto/tls"
	"errors"
	"io"
	"log/slog"
	"net"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine/stream/server/accounts"
	"telltale/testdata/certs"
)

const host = "fleet.larkfell.example"

// heard is a log that a test reads while it is written.
type heard struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (h *heard) Write(p []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.b.Write(p)
}

func (h *heard) String() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.b.String()
}

// pairs has a server's certificate changed while it runs, as the service's own room does.
type pairs struct {
	now atomic.Pointer[tls.Certificate]
}

func (p *pairs) put(t *testing.T, a *certs.Authority) []byte {
	t.Helper()
	dir := t.TempDir()
	a.Pair(t, dir, time.Now().Add(time.Hour), host, "127.0.0.1")
	pair, err := tls.LoadX509KeyPair(filepath.Join(dir, "certificate.pem"), filepath.Join(dir, "key.pem"))
	if err != nil {
		t.Fatal(err)
	}
	p.now.Store(&pair)
	return pair.Certificate[0]
}

func (p *pairs) config() *tls.Config {
	return &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return p.now.Load(), nil }}
}

// TestTLS: a stock client that trusts the authority gets in, by tls:// and by nats://; one that
// does not, or speaks an old TLS, stays out. A renewed certificate is the next connection's, and
// ends none; so it is after who may do what has changed. The service itself needs none.
func TestTLS(t *testing.T) {
	a, p, said := certs.New(t), &pairs{}, &heard{}
	first := p.put(t, a)
	ca := filepath.Join(t.TempDir(), "ca.pem")
	a.Write(t, ca)
	srv, err := Embed(t.Context(), Config{Dir: t.TempDir(), Listen: "127.0.0.1:-1", TLS: p.config(), Log: slog.New(slog.NewTextHandler(said, nil))})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { srv.Close() })
	if !strings.HasPrefix(srv.URL(), "tls://127.0.0.1:") {
		t.Errorf("its address is %s", srv.URL())
	}
	if err := srv.Conn().Publish("telltale.in.van-1.reading", nil); err != nil || srv.Conn().FlushTimeout(time.Minute) != nil || srv.Conn().TLSRequired() {
		t.Errorf("the service's own connection: %v", err)
	}
	answers(t, srv)
	trusted := connected(t, srv.URL(), nats.RootCAs(ca))
	if got := servedTo(t, trusted); !bytes.Equal(got, first) {
		t.Error("another certificate is served")
	}
	connected(t, strings.Replace(srv.URL(), "tls:", "nats:", 1), nats.RootCAs(ca))
	for name, opts := range map[string][]nats.Option{
		"one that trusts the system's authorities": nil,
		"one that looks for another name":          {nats.Secure(&tls.Config{RootCAs: a.Pool(), ServerName: "other.example"})},
		"TLS 1.0":                                  {nats.Secure(&tls.Config{RootCAs: a.Pool(), MinVersion: tls.VersionTLS10, MaxVersion: tls.VersionTLS10})},
		"TLS 1.1":                                  {nats.Secure(&tls.Config{RootCAs: a.Pool(), MinVersion: tls.VersionTLS11, MaxVersion: tls.VersionTLS11})},
	} {
		if nc, err := nats.Connect(srv.URL(), opts...); err == nil {
			nc.Close()
			t.Errorf("%s is let in", name)
		}
	}
	plain(t, srv)
	renewed := p.put(t, a)
	if got := servedTo(t, connected(t, srv.URL(), nats.RootCAs(ca))); !bytes.Equal(got, renewed) {
		t.Error("the next connection does not get the renewed certificate")
	}
	works(t, trusted)

	g := newGateway(t, "gateway-3")
	if err := srv.SetPrograms([]accounts.Program{g.may("telltale.in.van-1.reading")}, false); err != nil {
		t.Fatal(err)
	}
	again := p.put(t, a)
	if got := servedTo(t, connected(t, srv.URL(), nats.RootCAs(ca), nats.Nkey(g.public(), g.key.Sign))); !bytes.Equal(got, again) {
		t.Error("after the accounts changed the certificate is not renewed any more")
	}
	works(t, trusted)
	if n := strings.Count(said.String(), "TLS handshake error"); n != 1 {
		t.Errorf("of strangers the log has %d lines, want one a minute:\n%s", n, said)
	}
}

// answers has the service answer what clients may ask.
func answers(t *testing.T, srv *Server) {
	t.Helper()
	if _, err := srv.Conn().Subscribe("telltale.query.health", func(m *nats.Msg) { m.Respond([]byte("well")) }); err != nil {
		t.Fatal(err)
	}
	if err := srv.Conn().FlushTimeout(time.Minute); err != nil {
		t.Fatal(err)
	}
}

func works(t *testing.T, nc *nats.Conn) {
	t.Helper()
	if m, err := nc.Request("telltale.query.health", nil, time.Minute); err != nil || string(m.Data) != "well" {
		t.Errorf("%s: %v", nc.ConnectedUrl(), err)
	}
}

func connected(t *testing.T, url string, opts ...nats.Option) *nats.Conn {
	t.Helper()
	nc, err := nats.Connect(url, append(opts, nats.MaxReconnects(0))...)
	if err != nil {
		t.Fatalf("%s: %v", url, err)
	}
	t.Cleanup(nc.Close)
	if len(opts) == 1 {
		works(t, nc)
	}
	return nc
}

func servedTo(t *testing.T, nc *nats.Conn) []byte {
	t.Helper()
	state, err := nc.TLSConnectionState()
	if err != nil || state.Version < tls.VersionTLS12 {
		t.Fatalf("%x, %v", state.Version, err)
	}
	return state.PeerCertificates[0].Raw
}

// plain sends without TLS to a server that has it: nothing is taken, and it is let go.
func plain(t *testing.T, srv *Server) {
	t.Helper()
	c, err := net.Dial("tcp", srv.ns.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	c.SetDeadline(time.Now().Add(time.Minute))
	in := bufio.NewReader(c)
	if line, err := in.ReadString('\n'); err != nil || !strings.Contains(line, `"tls_required":true`) {
		t.Errorf("%s (%v)", line, err)
	}
	io.WriteString(c, "CONNECT {\"verbose\":true}\r\nPUB telltale.in.van-1.reading 2\r\n{}\r\n")
	rest, err := io.ReadAll(in)
	if e := net.Error(nil); errors.As(err, &e) && e.Timeout() || bytes.Contains(rest, []byte("+OK")) {
		t.Errorf("without TLS it says %q (%v)", rest, err)
	}
}
