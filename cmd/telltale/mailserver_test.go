package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/emersion/go-smtp"

	"telltale/notify/delivery"
)

// TestMailServerRefuses has a mail server that is not in the mood: the mail waits
// and says why, the service answers, and trying again delivers it once.
func TestMailServerRefuses(t *testing.T) {
	t.Parallel()
	server := &moodyServer{}
	port := server.listen(t)
	dir := folder(t, map[string]string{
		"rules/bus.yaml": busRules,
		"telltale.yaml":  fmt.Sprintf("clock: events\nmail: {from: telltale@larkfell.example}\nsmtp: {host: 127.0.0.1, port: %d, tls: never}\n", port),
		"vehicles.yaml":  "vehicles:\n  bus-07: {name: Bus 7, kind: minibus, meters: {odometer: distance}}\n",
		"people.yaml":    "people:\n  ines: {name: Ines Thornbeck, mail: ines@larkfell.example}\ntell:\n  all: {who: [ines]}\n",
		"events.jsonl": `{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":"r-1","subject":"bus-07","time":"2031-01-03T06:10:00Z","data":{"meter":"odometer","value":1000,"unit":"mi"}}
{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":"r-2","subject":"bus-07","time":"2031-03-03T06:10:00Z","data":{"meter":"odometer","value":6200,"unit":"mi"}}
`,
	})
	s := serving(t, dir)
	telltale(t, "send", "--dir", dir, filepath.Join(dir, "events.jsonl"))
	d := storedDelivery(t, dir, func(d delivery.Delivery) bool { return d.LastError != "" })
	if d.State != delivery.Waiting || d.Attempts != 1 || !strings.Contains(d.LastError, "451") || !strings.Contains(d.LastError, "not now") {
		t.Errorf("refused by the server, the mail is %s after %d tries: %q", d.State, d.Attempts, d.LastError)
	}
	if got := telltale(t, "alarms", "--dir", dir); !strings.Contains(got, "due      bus-07") {
		t.Errorf("alarms:\n%s", got)
	}

	server.cheerUp()
	if out := telltale(t, "deliveries", "--dir", dir, "--retry", d.Key); out != "" {
		t.Errorf("trying again prints %q", out)
	}
	d = storedDelivery(t, dir, func(d delivery.Delivery) bool { return d.State != delivery.Waiting && d.State != delivery.Sending })
	if d.State != delivery.Sent || d.Attempts != 2 {
		t.Errorf("tried again, the mail is %s after %d tries: %q", d.State, d.Attempts, d.LastError)
	}
	s.end(t)
	got := server.taken()
	if len(got) != 1 || !strings.HasPrefix(got[0], "ines@larkfell.example\n") || !strings.Contains(got[0], "\nMessage-ID: "+d.MessageID) {
		t.Errorf("the server took %d mails: %q", len(got), got)
	}
}

// delivery waits until the only delivery is as wanted.
func storedDelivery(t *testing.T, dir string, wanted func(delivery.Delivery) bool) (d delivery.Delivery) {
	t.Helper()
	var out string
	if !poll(patience, func() bool {
		out = telltale(t, "deliveries", "--dir", dir, "--json")
		d = delivery.Delivery{}
		return strings.Count(out, "\n") == 1 && json.Unmarshal([]byte(out), &d) == nil && wanted(d)
	}) {
		t.Fatalf("deliveries: %s", out)
	}
	return d
}

// moodyServer is an SMTP server that refuses for now until it is cheered up.
type moodyServer struct {
	mu       sync.Mutex
	cheerful bool
	mails    []string // recipient and text
}

func (m *moodyServer) listen(t *testing.T) (port int) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	srv := smtp.NewServer(m)
	done := make(chan struct{})
	go func() { defer close(done); _ = srv.Serve(l) }() // ends with Close
	t.Cleanup(func() { srv.Close(); <-done })
	return l.Addr().(*net.TCPAddr).Port
}

func (m *moodyServer) cheerUp() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.cheerful = true
}

func (m *moodyServer) taken() []string {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.mails
}

// NewSession begins a conversation.
func (m *moodyServer) NewSession(*smtp.Conn) (smtp.Session, error) {
	return &moodySession{server: m}, nil
}

type moodySession struct {
	server *moodyServer
	to     string
}

func (s *moodySession) Reset()                               {}
func (s *moodySession) Logout() error                        { return nil }
func (s *moodySession) Mail(string, *smtp.MailOptions) error { return nil }

func (s *moodySession) Rcpt(to string, _ *smtp.RcptOptions) error {
	s.server.mu.Lock()
	defer s.server.mu.Unlock()
	if !s.server.cheerful {
		return &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 3, 0}, Message: "not now"}
	}
	s.to = to
	return nil
}

func (s *moodySession) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	s.server.mu.Lock()
	defer s.server.mu.Unlock()
	s.server.mails = append(s.server.mails, s.to+"\n"+string(text))
	return err
}
