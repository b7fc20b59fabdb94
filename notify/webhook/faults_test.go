package webhook

import (
	"context"
	"encoding/binary"
	"errors"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"telltale/notify/delivery"
)

// A receiver that answers with a gigabyte is read a little, and is taken at its code.
func TestGigabyteAnswerIsNotRead(t *testing.T) {
	var written atomic.Int64
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		part := make([]byte, 1<<20)
		for range 1024 {
			n, err := w.Write(part)
			if written.Add(int64(n)); err != nil {
				return
			}
		}
	}))
	defer srv.Close()
	if err := sender("127.0.0.0/8").Send(t.Context(), aDelivery(srv.URL)); err != nil {
		t.Error(err)
	}
	srv.CloseClientConnections()
	if n := written.Load(); n > 64<<20 {
		t.Errorf("%d MiB were taken", n>>20)
	}
}

// One that begins an answer and never ends it is left when the time is over.
func TestSlowAnswerIsLeft(t *testing.T) {
	release := make(chan bool)
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(http.StatusServiceUnavailable)
		w.(http.Flusher).Flush()
		<-release
	}))
	defer srv.Close()
	defer close(release)
	ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
	defer cancel()
	if err := sender("127.0.0.0/8").Send(ctx, aDelivery(srv.URL)); err == nil {
		t.Error("an answer that never ended was success")
	}
}

// A certificate that nobody vouches for is no receiver.
func TestBadCertificateIsRefused(t *testing.T) {
	called := false
	srv := httptest.NewTLSServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { called = true }))
	defer srv.Close()
	srv.Config.ErrorLog = nil
	err := sender("127.0.0.0/8").Send(t.Context(), aDelivery(srv.URL))
	var f *delivery.Failure
	if err == nil || errors.As(err, &f) && f.Class != delivery.Temporary || !strings.Contains(err.Error(), "certificate") || called {
		t.Errorf("got %v, called %v", err, called)
	}
}

// A name that leads outside when it is looked at and inside when it is called is
// looked at as it is called.
func TestNameThatLeadsInsideIsNotCalled(t *testing.T) {
	reached := false
	srv := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { reached = true }))
	defer srv.Close()
	asked := answerInside(t)
	for range 2 {
		err := sender().Send(t.Context(), aDelivery("https://fleet.rebound.example"+srv.URL[strings.LastIndex(srv.URL, ":"):]))
		if err == nil || !strings.Contains(err.Error(), "prohibited") && !strings.Contains(err.Error(), "denied") {
			t.Errorf("got %v", err)
		}
	}
	if asked.Load() == 0 || reached {
		t.Errorf("asked %d times, reached %v", asked.Load(), reached)
	}
}

// answerInside has every name lead to 127.0.0.1 by a name server of the test's own.
func answerInside(t *testing.T) *atomic.Int64 {
	t.Helper()
	conn, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var asked atomic.Int64
	go func() {
		buf := make([]byte, 512)
		for {
			n, from, err := conn.ReadFrom(buf)
			if err != nil {
				return
			}
			asked.Add(1)
			conn.WriteTo(inside(buf[:n]), from)
		}
	}()
	before := net.DefaultResolver
	net.DefaultResolver = &net.Resolver{PreferGo: true, Dial: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return new(net.Dialer).DialContext(ctx, "udp", conn.LocalAddr().String())
	}}
	t.Cleanup(func() { net.DefaultResolver = before; conn.Close() })
	return &asked
}

// inside answers a question of RFC 1035 with the address 127.0.0.1, and one for
// another kind of record with nothing.
func inside(question []byte) []byte {
	end := 12
	for question[end] != 0 {
		end += int(question[end]) + 1
	}
	end += 5 // the root, the kind and the class
	out := append([]byte{}, question[:end]...)
	out[2], out[3] = 0x81, 0x80                    // an answer, without a fault
	binary.BigEndian.PutUint16(out[6:], 0)         // answers
	copy(out[8:12], []byte{0, 0, 0, 0})            // no other sections
	if binary.BigEndian.Uint16(out[end-4:]) == 1 { // A
		binary.BigEndian.PutUint16(out[6:], 1)
		out = append(out, 0xc0, 12, 0, 1, 0, 1, 0, 0, 0, 0, 0, 4, 127, 0, 0, 1)
	}
	return out
}
