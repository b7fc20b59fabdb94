package board_test

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/frame"
)

// listening serves the board as the program does, with what change makes of the server.
func listening(t *testing.T, change func(*http.Server)) (address string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	srv := frame.Server(board.Handler(boardtest.Sample(t).Frame))
	if change != nil {
		change(srv)
	}
	go srv.Serve(l)
	t.Cleanup(func() { srv.Close() })
	return l.Addr().String()
}

// say sends bytes as they are, and gives the answer; its status is 0 where the connection
// ended without one.
func say(t *testing.T, address, raw string) (status int, body string, h http.Header) {
	t.Helper()
	c, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	go io.WriteString(c, raw) // of which not all need be taken
	if err := c.SetReadDeadline(time.Now().Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	r, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		return 0, err.Error(), nil
	}
	defer r.Body.Close()
	b, _ := io.ReadAll(io.LimitReader(r.Body, 1<<20)) // a cut answer is an answer
	return r.StatusCode, string(b), r.Header
}

// What is said on the wire as no browser says it is answered by no page of the fleet.
func TestOddRequests(t *testing.T) {
	at := listening(t, nil)
	const own = "Host: 127.0.0.1\r\n"
	for name, c := range map[string]struct {
		raw  string
		want string // the statuses
	}{
		"another's address in full":   {"GET http://evil.example/due HTTP/1.1\r\n" + own + "\r\n", "421"},
		"with our name before it":     {"GET http://127.0.0.1@evil.example/due HTTP/1.1\r\n" + own + "\r\n", "400 421"},
		"with its name before ours":   {"GET /due HTTP/1.1\r\nHost: evil.example@127.0.0.1\r\n\r\n", "400 421"},
		"two hosts":                   {"GET /due HTTP/1.1\r\n" + own + "Host: evil.example\r\n\r\n", "400"},
		"two hosts in one":            {"GET /due HTTP/1.1\r\nHost: 127.0.0.1, evil.example\r\n\r\n", "400 421"},
		"no host":                     {"GET /due HTTP/1.1\r\n\r\n", "400"},
		"no host of old":              {"GET /due HTTP/1.0\r\n\r\n", "421"},
		"an empty host":               {"GET /due HTTP/1.1\r\nHost:\r\n\r\n", "400 421"},
		"a host in another header":    {"GET /due HTTP/1.1\r\nHost: evil.example\r\nX-Forwarded-Host: 127.0.0.1\r\nForwarded: host=127.0.0.1\r\n\r\n", "421"},
		"a host by another header":    {"GET /due HTTP/1.1\r\nHost: evil.example\r\nX-Original-URL: /due\r\nX-Rewrite-URL: /due\r\n\r\n", "421"},
		"a name that leads here":      {"GET /due HTTP/1.1\r\nHost: localhost.evil.example:4280\r\n\r\n", "421"},
		"a name of this machine":      {"GET /due HTTP/1.1\r\nHost: localhost.localdomain\r\n\r\n", "421"},
		"a name below ours":           {"GET /due HTTP/1.1\r\nHost: x.localhost\r\n\r\n", "421"},
		"two dots":                    {"GET /due HTTP/1.1\r\nHost: localhost..\r\n\r\n", "400 421"},
		"a number":                    {"GET /due HTTP/1.1\r\nHost: 2130706433\r\n\r\n", "421"},
		"a short address":             {"GET /due HTTP/1.1\r\nHost: 127.1\r\n\r\n", "421"},
		"an octal address":            {"GET /due HTTP/1.1\r\nHost: 0177.0.0.1\r\n\r\n", "421"},
		"an address inside":           {"GET /due HTTP/1.1\r\nHost: 192.168.1.1\r\n\r\n", "421"},
		"any address":                 {"GET /due HTTP/1.1\r\nHost: [::]\r\n\r\n", "421"},
		"half a bracket":              {"GET /due HTTP/1.1\r\nHost: [::1\r\n\r\n", "200 400 421"},
		"a tab in the host":           {"GET /due HTTP/1.1\r\nHost: 127.0.0.1\t.evil.example\r\n\r\n", "400 421"},
		"a line in the address":       {"GET /due\rX: y HTTP/1.1\r\n" + own + "\r\n", "400"},
		"a NUL in the address":        {"GET /due\x00 HTTP/1.1\r\n" + own + "\r\n", "400"},
		"a NUL in a header":           {"GET /due HTTP/1.1\r\n" + own + "X: a\x00b\r\n\r\n", "400"},
		"a folded header":             {"GET /due HTTP/1.1\r\n" + own + "X: a\r\n evil\r\n\r\n", "200 400"},
		"a header without a name":     {"GET /due HTTP/1.1\r\n" + own + ": a\r\n\r\n", "400"},
		"a blank before the colon":    {"GET /due HTTP/1.1\r\n" + own + "Transfer-Encoding : chunked\r\n\r\n", "400"},
		"two lengths":                 {"POST /me HTTP/1.1\r\n" + own + "Content-Length: 3\r\nContent-Length: 4\r\n\r\nabcd", "400"},
		"a length below nothing":      {"POST /me HTTP/1.1\r\n" + own + "Content-Length: -1\r\n\r\n", "400"},
		"a length with a sign":        {"POST /me HTTP/1.1\r\n" + own + "Content-Length: +3\r\n\r\nabc", "400"},
		"another transfer":            {"POST /me HTTP/1.1\r\n" + own + "Transfer-Encoding: gzip, chunked\r\n\r\n0\r\n\r\n", "400 501"},
		"a bad chunk":                 {"POST /v/bus-01/reading HTTP/1.1\r\n" + own + "Content-Type: application/x-www-form-urlencoded\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n", "400"},
		"chunks without end":          {"POST /v/bus-01/reading HTTP/1.1\r\n" + own + "Content-Type: application/x-www-form-urlencoded\r\nTransfer-Encoding: chunked\r\n\r\n" + strings.Repeat("1000\r\n"+strings.Repeat("a", 0x1000)+"\r\n", 64), "413"},
		"a form said to be huge":      {"POST /v/bus-01/reading HTTP/1.1\r\n" + own + "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 99999999999\r\n\r\n" + strings.Repeat("a=b&", 100_000), "413"},
		"trailers":                    {"POST /me HTTP/1.1\r\n" + own + "Trailer: Host\r\nTransfer-Encoding: chunked\r\n\r\n0\r\nHost: evil.example\r\n\r\n", "303 400 422"},
		"a long address":              {"GET /due?q=" + strings.Repeat("q", 1<<20) + " HTTP/1.1\r\n" + own + "\r\n", "431"},
		"a long header":               {"GET /due HTTP/1.1\r\n" + own + "X: " + strings.Repeat("x", 1<<20) + "\r\n\r\n", "431"},
		"a long cookie":               {"GET /due HTTP/1.1\r\n" + own + "Cookie: telltale-who=" + strings.Repeat("x", 1<<20) + "\r\n\r\n", "431"},
		"10,000 headers":              {"GET /due HTTP/1.1\r\n" + own + strings.Repeat("X: y\r\n", 10_000) + "\r\n", "431"},
		"10,000 cookies":              {"GET /due HTTP/1.1\r\n" + own + "Cookie: " + strings.Repeat("a=b; ", 10_000) + "\r\n\r\n", "431"},
		"a long method":               {strings.Repeat("G", 1<<20) + " /due HTTP/1.1\r\n" + own + "\r\n", "400 431"},
		"another protocol":            {"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03", "0 400"},
		"HTTP/2 without agreement":    {"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", "0 400 421 505"},
		"another version":             {"GET /due HTTP/3.0\r\n" + own + "\r\n", "400 505"},
		"no version":                  {"GET /due\r\n", "400"},
		"an upgrade":                  {"GET /due HTTP/1.1\r\n" + own + "Connection: Upgrade, HTTP2-Settings\r\nUpgrade: h2c\r\nHTTP2-Settings: AAMAAABkAAQAAP__\r\n\r\n", "200"},
		"a tunnel":                    {"CONNECT 127.0.0.1:4222 HTTP/1.1\r\nHost: 127.0.0.1:4222\r\n\r\n", "404 405"},
		"a proxy's request":           {"GET http://127.0.0.1:8222/varz HTTP/1.1\r\nHost: 127.0.0.1:8222\r\n\r\n", "404"},
		"of all":                      {"OPTIONS * HTTP/1.1\r\n" + own + "\r\n", "200 400 404 405"},
		"a trace":                     {"TRACE /due HTTP/1.1\r\n" + own + "Cookie: a=secret\r\n\r\n", "404 405"},
		"its method in a header":      {"POST /due HTTP/1.1\r\n" + own + "X-HTTP-Method-Override: GET\r\nContent-Length: 0\r\n\r\n", "404 405"},
		"a method in the form":        {"GET /me?_method=POST&who=ines HTTP/1.1\r\n" + own + "\r\n", "200"},
		"a path out of the folder":    {"GET /s/../../../etc/passwd HTTP/1.1\r\n" + own + "\r\n", "301 307 404"},
		"and encoded":                 {"GET /s/%2e%2e/%2e%2e/etc/passwd HTTP/1.1\r\n" + own + "\r\n", "301 307 404"},
		"and twice":                   {"GET /s/%252e%252e%252f%252e%252e%252fetc%252fpasswd HTTP/1.1\r\n" + own + "\r\n", "404"},
		"and the other way":           {"GET /s/..\\..\\etc\\passwd HTTP/1.1\r\n" + own + "\r\n", "400 404"},
		"a path that is another host": {"GET //evil.example/due HTTP/1.1\r\n" + own + "\r\n", "301 307 404"},
		"and one behind dots":         {"GET /.//evil.example/.. HTTP/1.1\r\n" + own + "\r\n", "301 307 404"},
		"a vehicle out of the folder": {"GET /v/..%2f..%2fetc%2fpasswd HTTP/1.1\r\n" + own + "\r\n", "404"},
		"a vehicle encoded twice":     {"GET /v/%2562us-01 HTTP/1.1\r\n" + own + "\r\n", "404"},
		"a vehicle in odd UTF-8":      {"GET /v/%c0%afbus-01 HTTP/1.1\r\n" + own + "\r\n", "404"},
		"a mapping out of the folder": {"GET /files?mapping=..%2f..%2fpeople.yaml HTTP/1.1\r\n" + own + "\r\n", "200 404"},
		"a rule out of the folder":    {"GET /rules/..%2fpeople.yaml HTTP/1.1\r\n" + own + "\r\n", "404"},
	} {
		status, body, h := say(t, at, c.raw)
		if !strings.Contains(" "+c.want+" ", fmt.Sprintf(" %d ", status)) {
			t.Errorf("%s: %d, want %s\n%.300s", name, status, c.want, body)
		}
		for _, gone := range []string{"http://evil", "root:", "larkfell.example", "a=secret", ".go:", "goroutine"} {
			if strings.Contains(body, gone) && !strings.Contains(c.raw, "/files?") {
				t.Errorf("%s: %d and %q in\n%.300s", name, status, gone, body)
			}
		}
		if to := h.Get("Location"); strings.HasPrefix(to, "//") || strings.Contains(to, ":") || strings.HasPrefix(to, "/\\") {
			t.Errorf("%s leads to %s", name, to)
		}
	}
}

// Whoever sends or reads a little from time to time is let go.
func TestSlowSenders(t *testing.T) {
	own := frame.Server(http.NotFoundHandler())
	for name, d := range map[string]time.Duration{"headers": own.ReadHeaderTimeout, "a request": own.ReadTimeout, "an answer": own.WriteTimeout, "a quiet connection": own.IdleTimeout} {
		if d <= 0 || d > 2*time.Minute {
			t.Errorf("%s may take %v", name, d)
		}
	}
	at := listening(t, func(s *http.Server) { // as quick as a test wants it
		s.ReadHeaderTimeout, s.ReadTimeout, s.WriteTimeout, s.IdleTimeout = 200*time.Millisecond, 400*time.Millisecond, time.Second, 200*time.Millisecond
	})
	for name, first := range map[string]string{
		"nothing":       "",
		"half a line":   "GE",
		"half a header": "GET /due HTTP/1.1\r\nHost: 127.0.0.1\r\nX: ",
		"half a form":   "POST /v/bus-01/reading HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 9000\r\n\r\nday=",
		"half a chunk":  "POST /me HTTP/1.1\r\nHost: 127.0.0.1\r\nTransfer-Encoding: chunked\r\n\r\n5\r\na",
	} {
		t.Run(name, func(t *testing.T) {
			c, err := net.Dial("tcp", at)
			if err != nil {
				t.Fatal(err)
			}
			defer c.Close()
			go func() {
				for _, err := io.WriteString(c, first); err == nil; _, err = io.WriteString(c, "a") {
					<-time.After(20 * time.Millisecond)
				}
			}()
			_ = c.SetReadDeadline(time.Now().Add(30 * time.Second))
			b, err := io.ReadAll(c)
			if ne, ok := err.(net.Error); ok && ne.Timeout() {
				t.Errorf("it is still listened to, after %q", b)
			}
			if strings.Contains(string(b), " 200 ") || strings.Contains(string(b), " 303 ") {
				t.Errorf("answered: %.200s", b)
			}
		})
	}
}

// Looking changes nothing, whatever stands behind the question mark: not even of the forms
// that are sent to the same address.
func TestLookingChangesNothing(t *testing.T) {
	f := boardtest.Sample(t)
	h := board.Handler(f.Frame)
	held := func() string {
		all, err := f.Log.Sizes(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return fmt.Sprintf("%+v", all)
	}
	before := held()
	seen := map[string]bool{}
	for _, c := range crawl(t, h, 2, "/") {
		path, _, _ := strings.Cut(c.path, "?")
		if seen[path] {
			continue
		}
		seen[path] = true
		for _, query := range []string{"do=enter&do=look&form=0123456789abcdef0123&day=2031-06-06&meter0=999999&meter1=99999&task=engine+oil&note=x&answer=acknowledge&rule=engine+oil&why=x", "_method=POST&who=tobias&again=yes&send=yes&stop=yes&back=yes"} {
			for _, method := range []string{"GET", "HEAD"} {
				w := httptest.NewRecorder()
				h.ServeHTTP(w, httptest.NewRequest(method, "http://127.0.0.1:4280"+path+"?"+query, nil))
				if w.Code >= 500 || w.Header().Get("Set-Cookie") != "" {
					t.Errorf("%s %s: %d, %v", method, path, w.Code, w.Header())
				}
			}
		}
	}
	if after := held(); after != before {
		t.Errorf("the streams went from %s\nto %s", before, after)
	}
}
