package listen

import (
	"bytes"
	"crypto/tls"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"os"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"telltale/cmd/telltale/internal/certificate"
	"telltale/notify/board/limits"
	"telltale/testdata/certs"
)

const host = "fleet.larkfell.example"

// served serves a page as the settings have it, and gives where, with a client that trusts
// the authority.
func served(t *testing.T, set *Settings, a *certs.Authority, pages http.HandlerFunc, log *slog.Logger) (port string, c *http.Client) {
	t.Helper()
	pair, err := set.Open("", log)
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", set.Board.Listen)
	if err != nil {
		t.Fatal(err)
	}
	s := set.Serve(l, set.Board.Listen, "the board", pages, pair, log)
	t.Cleanup(func() { s.Close() })
	_, port, err = net.SplitHostPort(l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	way := &http.Transport{ForceAttemptHTTP2: true, TLSClientConfig: &tls.Config{RootCAs: a.Pool(), ServerName: host}}
	t.Cleanup(way.CloseIdleConnections)
	return port, &http.Client{Transport: way}
}

// TestServe: beyond the loopback pages are served by TLS, as HTTP/2, and say that browsers are
// to stay with it; on the loopback they are not, and say nothing of the kind, which browsers
// must not be told there (RFC 6797, 7.2). X-Forwarded-Proto changes nothing of it.
func TestServe(t *testing.T) {
	a, dir := certs.New(t), t.TempDir()
	a.Pair(t, dir, time.Now().Add(time.Hour), host)
	files := certificate.Files{Certificate: dir + "/certificate.pem", Key: dir + "/key.pem"}
	page := func(w http.ResponseWriter, r *http.Request) { io.WriteString(w, r.Proto) }
	for _, tt := range []struct {
		name, listen, scheme string
		proxies              limits.Proxies
		pair                 certificate.Files
		proto, hsts          string
	}{
		{"beyond", "0.0.0.0:0", "https", nil, files, "HTTP/2.0", "max-age=31536000; includeSubDomains"},
		{"here", "127.0.0.1:0", "http", nil, files, "HTTP/1.1", ""},
		{"behind a proxy", "0.0.0.0:0", "http", limits.Proxies{netip.MustParsePrefix("10.20.0.5/32")}, certificate.Files{}, "HTTP/1.1", ""},
	} {
		set := &Settings{Pair: tt.pair, Proxies: tt.proxies, Board: Board{Listen: tt.listen, URL: "https://" + host}}
		port, c := served(t, set, a, page, slog.New(slog.DiscardHandler))
		ask, err := http.NewRequest("GET", tt.scheme+"://127.0.0.1:"+port, nil)
		if err != nil {
			t.Fatal(err)
		}
		ask.Header.Set("X-Forwarded-Proto", "https")
		r, err := c.Do(ask)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		body, _ := io.ReadAll(r.Body)
		r.Body.Close()
		if string(body) != tt.proto || r.Header.Get("Strict-Transport-Security") != tt.hsts {
			t.Errorf("%s: %s, %q", tt.name, body, r.Header.Get("Strict-Transport-Security"))
		}
	}
}

// TestServeToProxies: what is not encrypted is not shown to who is no proxy, though they
// reach the address.
func TestServeToProxies(t *testing.T) {
	own := outside(t)
	set := &Settings{Proxies: limits.Proxies{netip.MustParsePrefix("192.0.2.9/32")}, Board: Board{Listen: "0.0.0.0:0", URL: "https://" + host}}
	port, _ := served(t, set, certs.New(t), func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, "shown") }, slog.New(slog.DiscardHandler))
	if r, err := http.Get("http://" + net.JoinHostPort(own, port)); err == nil {
		t.Errorf("a stranger at %s got %s", own, r.Status)
	}
	set.Proxies = append(set.Proxies, netip.PrefixFrom(netip.MustParseAddr(own), 32))
	port, _ = served(t, set, certs.New(t), func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, "shown") }, slog.New(slog.DiscardHandler))
	r, err := http.Get("http://" + net.JoinHostPort(own, port))
	if err != nil {
		t.Fatalf("the proxy at %s: %v", own, err)
	}
	r.Body.Close()
}

// outside is an address of this machine beyond the loopback.
func outside(t *testing.T) string {
	t.Helper()
	all, err := net.InterfaceAddrs()
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range all {
		if n, ok := a.(*net.IPNet); ok && n.IP.To4() != nil && !n.IP.IsLoopback() {
			return n.IP.String()
		}
	}
	const lacks = "this machine has no address beyond the loopback"
	if os.Getenv("TELLTALE_CI") != "" {
		t.Fatal(lacks)
	}
	t.Skip(lacks)
	return ""
}

// lines is a log that is read while it is written.
type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// TestServeQuiet: who speaks no TLS, or an old one, fills no log: one line a minute; a panic is in it.
func TestServeQuiet(t *testing.T) {
	a, dir, said := certs.New(t), t.TempDir(), &lines{}
	a.Pair(t, dir, time.Now().Add(time.Hour), host)
	set := &Settings{Pair: certificate.Files{Certificate: dir + "/certificate.pem", Key: dir + "/key.pem"}, Board: Board{Listen: "0.0.0.0:0", URL: "https://" + host}}
	port, c := served(t, set, a, func(http.ResponseWriter, *http.Request) { panic("a fault of ours") }, slog.New(slog.NewTextHandler(said, nil)))
	if r, err := http.Get("http://127.0.0.1:" + port); err != nil || r.StatusCode != http.StatusBadRequest {
		t.Errorf("without TLS: %v, %v", r, err)
	}
	for range 5 {
		if _, err := tls.Dial("tcp", "127.0.0.1:"+port, &tls.Config{InsecureSkipVerify: true, MaxVersion: tls.VersionTLS11}); err == nil {
			t.Error("TLS 1.1 is spoken")
		}
	}
	if r, err := c.Get("https://127.0.0.1:" + port); err == nil {
		t.Errorf("a panic gives %s", r.Status)
	}
	for end := time.Now().Add(time.Minute); !strings.Contains(said.String(), "a fault of ours") && time.Now().Before(end); {
		runtime.Gosched() // it is written down behind the answer
	}
	if got := said.String(); strings.Count(got, "handshake") != 1 || !strings.Contains(got, "a fault of ours") {
		t.Errorf("the log has\n%s", got)
	}
}

// TestReached: the board's address is the one that people write.
func TestReached(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	at := l.Addr().String()
	_, port, _ := net.SplitHostPort(at)
	for _, tt := range []struct {
		board Board
		tls   bool
		want  string
	}{
		{Board{Listen: "127.0.0.1:0"}, true, "http://" + at},
		{Board{Listen: "127.0.0.1:0", URL: "https://" + host}, false, "http://" + at},
		{Board{Listen: "0.0.0.0:0", URL: "https://" + host}, true, "https://" + host},
		{Board{Listen: host + ":0"}, true, "https://" + host + ":" + port},
	} {
		set := Settings{Board: tt.board}
		if tt.tls {
			set.Pair.Certificate = "c"
		}
		if got := set.Reached(l); got != tt.want {
			t.Errorf("%+v: %s, want %s", tt.board, got, tt.want)
		}
	}
}
