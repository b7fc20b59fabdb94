package limits_test

import (
	"bufio"
	"bytes"
	"crypto/tls"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/http2"
	"golang.org/x/net/http2/hpack"

	"telltale/notify/board/frame"
	"telltale/notify/board/limits"
	"telltale/testdata/certs"
)

// hurried is a server of pages as the board's is, with its times a hundred times shorter, and
// room for so many connections.
func hurried(t *testing.T, room int, pair *tls.Config, h http.Handler) string {
	t.Helper()
	s := frame.Server(h)
	s.ErrorLog = slog.NewLogLogger(slog.DiscardHandler, 0)
	for _, limit := range []*time.Duration{&s.ReadHeaderTimeout, &s.ReadTimeout, &s.WriteTimeout, &s.IdleTimeout} {
		if *limit == 0 {
			t.Fatal("a time has no limit")
		}
		*limit /= 100
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	l = limits.Small(l, false, room, room)
	if pair != nil {
		s.TLSConfig = pair
		go s.ServeTLS(l, "", "")
	} else {
		go s.Serve(l)
	}
	return l.Addr().String()
}

func dial(t *testing.T, address, begin string) net.Conn {
	t.Helper()
	c, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	if _, err := io.WriteString(c, begin); err != nil {
		t.Fatal(err)
	}
	return c
}

// ends reads until the connection ends, which it must, and gives what came.
func ends(t *testing.T, c net.Conn) string {
	t.Helper()
	c.SetReadDeadline(time.Now().Add(time.Minute))
	b, err := io.ReadAll(c)
	if e, ok := err.(net.Error); ok && e.Timeout() {
		t.Fatal("the connection does not end")
	}
	return string(b)
}

const asks = "Host: 127.0.0.1\r\n"

// TestSlowSenders: whoever sends their header or their form byte by byte, sends nothing, or
// does not read is cut off, and meanwhile takes up no more than the room there is; then
// others get in.
func TestSlowSenders(t *testing.T) {
	read := make(chan error, 100)
	address := hurried(t, 8, nil, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/form":
			_, err := io.ReadAll(r.Body)
			read <- err
		case "/large":
			line := strings.Repeat("x", 1<<16)
			for range 1 << 10 { // 64 MB, more than any buffer on the way
				if _, err := io.WriteString(w, line); err != nil {
					read <- err
					return
				}
			}
			read <- nil
		}
	}))
	silent := dial(t, address, "")
	header := dial(t, address, "GET / HTTP/1.1\r\n"+asks+"X-Slow: ")
	form := dial(t, address, "POST /form HTTP/1.1\r\n"+asks+"Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 10000\r\n\r\na=")
	chunked := dial(t, address, "POST /form HTTP/1.1\r\n"+asks+"Transfer-Encoding: chunked\r\n\r\n2\r\na=\r\n")
	deaf := dial(t, address, "GET /large HTTP/1.1\r\n"+asks+"\r\n")
	idle := dial(t, address, "GET / HTTP/1.1\r\n"+asks+"\r\n")
	for range 2 { // and the room is full
		dial(t, address, "")
	}
	stop := make(chan struct{})
	defer close(stop)
	for _, c := range []net.Conn{header, form} { // a byte now and then
		go func() {
			for {
				select {
				case <-stop:
					return
				case <-time.After(20 * time.Millisecond):
					if _, err := io.WriteString(c, "b"); err != nil {
						return
					}
				}
			}
		}()
	}
	for name, c := range map[string]net.Conn{"silent": silent, "header": header, "form": form, "chunked": chunked, "idle": idle} {
		got := ends(t, c)
		if name == "idle" && !strings.HasPrefix(got, "HTTP/1.1 200") {
			t.Errorf("%s: %q", name, got)
		}
	}
	for range 3 { // the two forms, and the page that nobody took
		select {
		case err := <-read:
			if err == nil {
				t.Error("a form was read to its end, or a page was taken")
			}
		case <-time.After(time.Minute):
			t.Fatal("a handler is still held")
		}
	}
	deaf.Close()
	c := dial(t, address, "GET / HTTP/1.1\r\nConnection: close\r\n"+asks+"\r\n")
	if got := ends(t, c); !strings.HasPrefix(got, "HTTP/1.1 200") {
		t.Errorf("after them: %q", got)
	}
}

// TestLongHeaders: a header over 32 KiB is refused, whatever it is made of.
func TestLongHeaders(t *testing.T) {
	address := hurried(t, 8, nil, http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) { t.Errorf("%d headers came through", len(r.Header)) }))
	for name, long := range map[string]string{
		"one":     "X-Long: " + strings.Repeat("x", 64<<10) + "\r\n",
		"many":    strings.Repeat("X-A: b\r\n", 16<<10),
		"cookies": "Cookie: " + strings.Repeat("a=b; ", 16<<10) + "\r\n",
	} {
		c := dial(t, address, "")
		go fmt.Fprintf(c, "GET / HTTP/1.1\r\n%s%s\r\n", asks, long)
		r, err := http.ReadResponse(bufio.NewReader(c), nil)
		if err == nil && r.StatusCode != http.StatusRequestHeaderFieldsTooLarge { // or cut off while it was sent
			t.Errorf("%s: %s", name, r.Status)
		}
	}
}

// TestSlowHTTP2: by HTTP/2 neither, where one connection carries many requests: one that says
// nothing, leaves a header half sent, or sends pings alone ends, and a form that does not come
// ends, and with it the handler.
func TestSlowHTTP2(t *testing.T) {
	dir, a, read := t.TempDir(), certs.New(t), make(chan error, 10)
	a.Pair(t, dir, time.Now().Add(time.Hour), "fleet.larkfell.example")
	pair, err := tls.LoadX509KeyPair(dir+"/certificate.pem", dir+"/key.pem")
	if err != nil {
		t.Fatal(err)
	}
	address := hurried(t, 8, &tls.Config{Certificates: []tls.Certificate{pair}}, http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		_, err := io.ReadAll(r.Body)
		read <- err
	}))
	open := func() (*tls.Conn, *http2.Framer) {
		c, err := tls.Dial("tcp", address, &tls.Config{RootCAs: a.Pool(), ServerName: "fleet.larkfell.example", NextProtos: []string{"h2"}})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { c.Close() })
		io.WriteString(c, http2.ClientPreface)
		f := http2.NewFramer(c, c)
		f.WriteSettings()
		return c, f
	}
	var fields bytes.Buffer
	e := hpack.NewEncoder(&fields)
	for _, h := range [][2]string{{":method", "POST"}, {":scheme", "https"}, {":authority", "127.0.0.1"}, {":path", "/form"}} {
		e.WriteField(hpack.HeaderField{Name: h[0], Value: h[1]})
	}
	handshake, _ := net.Dial("tcp", address)
	defer handshake.Close()
	silent, _ := open()
	half, f := open()
	f.WriteHeaders(http2.HeadersFrameParam{StreamID: 1, BlockFragment: fields.Bytes()[:2]}) // and no more of it
	pings, pinging := open()
	go func() {
		for range 1000 {
			if pinging.WritePing(false, [8]byte{}) != nil {
				return
			}
			time.Sleep(10 * time.Millisecond)
		}
	}()
	form, f := open()
	f.WriteHeaders(http2.HeadersFrameParam{StreamID: 1, BlockFragment: fields.Bytes(), EndHeaders: true})
	f.WriteData(1, false, []byte("a="))
	for _, c := range []net.Conn{handshake, silent, half, pings, form} {
		ends(t, c)
	}
	select {
	case err := <-read:
		if err == nil {
			t.Error("a form was read to its end")
		}
	case <-time.After(time.Minute):
		t.Fatal("a handler is still held")
	}
}
