package webhook

import (
	"context"
	"encoding/binary"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"sync/atomic"
	"testing"

	"golang.org/x/net/dns/dnsmessage"
)

// No spelling of an address inside is called: those that some systems read as addresses,
// those that hold another inside, those with a zone, and names of this machine.
func TestGuardSpellings(t *testing.T) {
	port, reached := door(t)
	for _, host := range []string{
		"2130706433", "0x7f000001", "017700000001", "0177.0.0.1", "0x7f.0.0.1", "127.1", "127.0.1", "0", "0.0.0.0", "127.0.0.1.", "127.000.000.001", "１２７.0.0.1", "127。0。0。1", "127.0.0.1%00.larkfell.example", "①②⑦.0.0.1",
		"LOCALHOST", "localhost.", "[::]", "[::1]", "[0:0:0:0:0:0:0:1]", "[::127.0.0.1]", "[::ffff:7f00:1]", "[::ffff:0:127.0.0.1]", "[64:ff9b::127.0.0.1]", "[64:ff9b:1::127.0.0.1]", "[2002:7f00:1::1]", "[2001:0:7f00:1::1]", "[2001:0:1::80ff:fffe]",
		"[fe80::1%25lo]", "[::1%25lo]", "[fec0::1]", "[fc00::1]", "[ff02::1]", "[100::1]", "[2001:db8::1]",
		"169.254.169.254", "[fd00:ec2::254]", "192.0.0.192", "192.0.2.1", "198.51.100.1", "203.0.113.1", "224.0.0.1", "255.255.255.255", "172.16.0.1", "172.31.255.255", "192.88.99.1",
	} {
		for _, scheme := range []string{"http://", "https://"} {
			if err := sender().Send(t.Context(), aDelivery(scheme+host+port)); err == nil {
				t.Errorf("%s%s was called", scheme, host)
			}
		}
	}
	if n := reached.Load(); n != 0 {
		t.Errorf("an address inside was reached %d times", n)
	}
}

// door is a port of this machine, by all its addresses, and how many connections came there.
func door(t *testing.T) (port string, reached *atomic.Int32) {
	t.Helper()
	l, err := net.Listen("tcp", ":0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	reached = &atomic.Int32{}
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			reached.Add(1)
			c.Close()
		}
	}()
	_, port, _ = net.SplitHostPort(l.Addr().String())
	return ":" + port, reached
}

// What is allowed inside opens nothing beside it, in whatever way that is written.
func TestGuardAllowsNoMore(t *testing.T) {
	s := sender("10.1.0.0/16", "fd00:1::/32")
	for _, address := range []string{"10.2.0.1:1", "127.0.0.1:1", "[::ffff:10.2.0.1]:1", "[fd00:2::1]:1", "[::1]:1", "169.254.169.254:1", "x:1", "10.1.0.1", ""} {
		if s.allowed(address) {
			t.Errorf("%s is allowed", address)
		}
	}
	for _, address := range []string{"10.1.2.3:1", "[::ffff:10.1.2.3]:1", "[fd00:1::1]:1"} {
		if !s.allowed(address) {
			t.Errorf("%s is not allowed", address)
		}
	}
}

// A name that leads outside when it is asked for and inside when it is asked for again is
// looked at as it is dialled.
func TestGuardTurningName(t *testing.T) {
	port, reached := door(t)
	asked := turningName(t, netip.MustParseAddr("127.0.0.1"))
	for range 4 {
		if err := sender().Send(t.Context(), aDelivery("https://fleet.larkfell.example"+port)); err == nil {
			t.Error("the name was called")
		}
	}
	if reached.Load() != 0 || asked.Load() == 0 {
		t.Errorf("reached: %d times, the name was asked for %d times", reached.Load(), asked.Load())
	}
	if err := sender("127.0.0.0/8").Send(t.Context(), aDelivery("http://fleet.larkfell.example"+port)); reached.Load() == 0 {
		t.Errorf("allowed, it is not reached: %v", err)
	}
}

// turningName has each name lead to an address that is not there (RFC 5737) together with
// one inside, and every other time to the one inside alone, until the test ends.
func turningName(t *testing.T, inside netip.Addr) *atomic.Int32 {
	t.Helper()
	conn, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	was, asked := net.DefaultResolver, &atomic.Int32{}
	net.DefaultResolver = &net.Resolver{PreferGo: true, Dial: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, "udp", conn.LocalAddr().String())
	}}
	t.Cleanup(func() { net.DefaultResolver = was; conn.Close() })
	go func() {
		buf := make([]byte, 1500)
		for {
			n, from, err := conn.ReadFrom(buf)
			if err != nil {
				return
			}
			var q dnsmessage.Message
			if q.Unpack(buf[:n]) != nil || len(q.Questions) != 1 {
				continue
			}
			q.Response = true
			if q.Questions[0].Type == dnsmessage.TypeA {
				h := dnsmessage.ResourceHeader{Name: q.Questions[0].Name, Class: dnsmessage.ClassINET}
				if asked.Add(1)%2 == 1 {
					q.Answers = append(q.Answers, dnsmessage.Resource{Header: h, Body: &dnsmessage.AResource{A: [4]byte{192, 0, 2, 1}}})
				}
				q.Answers = append(q.Answers, dnsmessage.Resource{Header: h, Body: &dnsmessage.AResource{A: inside.As4()}})
			}
			if b, err := q.Pack(); err == nil && binary.BigEndian.Uint16(b) == q.ID {
				_, _ = conn.WriteTo(b, from)
			}
		}
	}()
	return asked
}

// A name within the message that is signed, or the url, adds no header.
func TestGuardHeaders(t *testing.T) {
	var got http.Header
	srv := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) { got = r.Header.Clone() }))
	defer srv.Close()
	s := sender("127.0.0.0/8")
	for _, bad := range []string{"x\r\nX-Forged: yes", "x\nX-Forged: yes", "x\x00", "x\r"} {
		got = nil
		d := aDelivery(srv.URL)
		d.MessageID = bad
		if err := s.Send(t.Context(), d); err == nil || got != nil {
			t.Errorf("%q: %v, %v", bad, err, got)
		}
		if err := s.Send(t.Context(), aDelivery(srv.URL+"/"+bad)); err == nil || got.Get("X-Forged") != "" {
			t.Errorf("a url with %q: %v, %v", bad, err, got)
		}
	}
}
