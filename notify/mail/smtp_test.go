package mail

import (
	"bufio"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"fmt"
	"io"
	"log"
	"math/big"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"telltale/notify/delivery"
)

// script is an SMTP server that refuses where it is told to.
type script struct {
	auth, from, rcpt, data error

	mu   sync.Mutex
	got  []string // "from > to: body"
	user string
}

func (s *script) NewSession(*smtp.Conn) (smtp.Session, error) { return &session{script: s}, nil }

type session struct {
	*script
	sender, to string
}

func (s *session) AuthMechanisms() []string { return []string{sasl.Plain} }

func (s *session) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.user = user + ":" + password
		return s.auth
	}), nil
}

func (s *session) Mail(from string, _ *smtp.MailOptions) error {
	s.sender = from
	return s.from
}

func (s *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	s.to = to
	return s.rcpt
}

func (s *session) Data(r io.Reader) error {
	b, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	if s.data != nil {
		return s.data
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.got = append(s.got, s.sender+" > "+s.to+": "+string(b))
	return nil
}

func (s *session) Reset()        {}
func (s *session) Logout() error { return nil }

// authority makes a certificate for 127.0.0.1 and the pool that trusts it.
func authority(t *testing.T) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	form := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test"}, IsCA: true, BasicConstraintsValid: true,
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	der, err := x509.CreateCertificate(rand.Reader, form, form, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(cert)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, pool
}

// serve starts the scripted server; withTLS is "", starttls or always.
func serve(t *testing.T, s *script, withTLS string) Config {
	t.Helper()
	cert, pool := authority(t)
	server := smtp.NewServer(s)
	server.Domain, server.AllowInsecureAuth = "relay.larkfell.example", true
	server.ErrorLog = log.New(io.Discard, "", 0)
	conf := &tls.Config{Certificates: []tls.Certificate{cert}}
	if withTLS != "" {
		server.TLSConfig = conf
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	if withTLS == "always" {
		l = tls.NewListener(l, conf)
	}
	go server.Serve(l)
	t.Cleanup(func() { server.Close() })
	return Config{Host: "127.0.0.1", Port: l.Addr().(*net.TCPAddr).Port, TLS: withTLS, Roots: pool, From: sender}
}

func aDelivery() delivery.Delivery {
	return delivery.Delivery{Key: "a", To: "ines@larkfell.example", Raw: []byte("Subject: x\r\n\r\n.dot\r\nhello\r\n")}
}

func TestSMTPSends(t *testing.T) {
	for _, way := range []string{"starttls", "always"} {
		s := &script{}
		c := serve(t, s, way)
		c.User, c.Password = "telltale", "open sesame"
		if err := (&SMTP{c}).Send(t.Context(), aDelivery()); err != nil {
			t.Fatalf("%s: %v", way, err)
		}
		want := "telltale@larkfell.example > ines@larkfell.example: Subject: x\r\n\r\n.dot\r\nhello\r\n"
		if len(s.got) != 1 || s.got[0] != want || s.user != "telltale:open sesame" {
			t.Errorf("%s: got %q as %q, want %q", way, s.got, s.user, want)
		}
	}
	s := &script{}
	c := serve(t, s, "")
	c.TLS = "never"
	if err := (&SMTP{c}).Send(t.Context(), aDelivery()); err != nil || len(s.got) != 1 {
		t.Errorf("in the clear: %v %q", err, s.got)
	}
}

func refusal(code int, enhanced ...int) error {
	return &smtp.SMTPError{Code: code, EnhancedCode: smtp.EnhancedCode(enhanced), Message: "no"}
}

// classOf is the class of an error, "temporary" for any that is not a Failure.
func classOf(err error) string {
	var f *delivery.Failure
	switch {
	case err == nil:
		return "sent"
	case !errors.As(err, &f):
		return "temporary"
	}
	return [...]string{delivery.Temporary: "temporary", delivery.Permanent: "permanent", delivery.Ours: "ours", delivery.Unknown: "unknown"}[f.Class]
}

func TestSMTPClasses(t *testing.T) {
	for _, c := range []struct {
		name string
		s    *script
		want string
	}{
		{"wrong password", &script{auth: refusal(535, 5, 7, 8)}, "ours"},
		{"login not now", &script{auth: refusal(454, 4, 7, 0)}, "temporary"},
		{"sender refused", &script{from: refusal(550, 5, 7, 1)}, "ours"},
		{"sender not now", &script{from: refusal(451, 4, 3, 0)}, "temporary"},
		{"over the server's size", &script{from: refusal(552, 5, 3, 4)}, "permanent"},
		{"login asked for", &script{from: refusal(530, 5, 7, 0)}, "ours"},
		{"no such mailbox", &script{rcpt: refusal(550, 5, 1, 1)}, "permanent"},
		{"greylisted", &script{rcpt: refusal(450, 4, 7, 1)}, "temporary"},
		{"mailbox full", &script{rcpt: refusal(452, 4, 2, 2)}, "temporary"},
		{"content refused", &script{data: refusal(554, 5, 7, 1)}, "permanent"},
		{"no disk", &script{data: refusal(452, 4, 3, 1)}, "temporary"},
	} {
		conf := serve(t, c.s, "starttls")
		conf.User, conf.Password = "u", "p"
		err := (&SMTP{conf}).Send(t.Context(), aDelivery())
		if got := classOf(err); got != c.want {
			t.Errorf("%s: %s (%v), want %s", c.name, got, err, c.want)
		}
	}
}

func TestSMTPFaultsOfTLS(t *testing.T) {
	s := &script{}
	untrusted := serve(t, s, "starttls")
	untrusted.Roots = x509.NewCertPool()
	always := serve(t, s, "always")
	always.Roots = x509.NewCertPool()
	none := serve(t, s, "")
	clear := serve(t, s, "")
	clear.TLS, clear.User = "never", "u"
	notTLS := serve(t, s, "")
	notTLS.TLS = "always"
	for name, c := range map[string]Config{"an authority nobody trusts": untrusted, "the same from the first byte": always,
		"no STARTTLS": none, "a password in the clear": clear, "no TLS at all": notTLS} {
		if err := (&SMTP{c}).Send(t.Context(), aDelivery()); classOf(err) != "ours" {
			t.Errorf("%s: %s (%v), want ours", name, classOf(err), err)
		}
	}
	if len(s.got) > 0 || s.user != "" {
		t.Errorf("something went out: %q %q", s.got, s.user)
	}
}

// rough is a server of one connection that answers each line by what lines says,
// and closes the connection at "".
func rough(t *testing.T, greeting string, lines map[string]string) Config {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		conn, err := l.Accept()
		if err != nil {
			return
		}
		defer conn.Close()
		fmt.Fprintf(conn, "%s\r\n", greeting)
		in := bufio.NewScanner(conn)
		for in.Scan() {
			word, _, _ := strings.Cut(in.Text(), " ")
			answer, known := lines[word]
			switch {
			case known && answer == "":
				return
			case known:
				fmt.Fprintf(conn, "%s\r\n", answer)
			}
		}
	}()
	return Config{Host: "127.0.0.1", Port: l.Addr().(*net.TCPAddr).Port, TLS: "never", From: sender}
}

func TestSMTPLostConnections(t *testing.T) {
	polite := func(change ...string) map[string]string {
		m := map[string]string{"EHLO": "250 hi", "MAIL": "250 ok", "RCPT": "250 ok", "DATA": "354 go on", ".": "250 taken", "QUIT": "221 bye"}
		for i := 0; i < len(change); i += 2 {
			m[change[i]] = change[i+1]
		}
		return m
	}
	for _, c := range []struct {
		name, greeting string
		lines          map[string]string
		want           string
	}{
		{"all well", "220 hi", polite(), "sent"},
		{"too busy", "421 come back", polite(), "temporary"},
		{"no mail here", "554 no", polite(), "ours"},
		{"gone at EHLO", "220 hi", polite("EHLO", ""), "temporary"},
		{"gone at MAIL", "220 hi", polite("MAIL", ""), "temporary"},
		{"gone at RCPT", "220 hi", polite("RCPT", ""), "temporary"},
		{"gone at DATA", "220 hi", polite("DATA", ""), "temporary"},
		{"gone after the dot", "220 hi", polite(".", ""), "unknown"},
		{"busy after the dot", "220 hi", polite(".", "451 later"), "temporary"},
		{"gone after 250", "220 hi", polite("QUIT", ""), "sent"},
	} {
		if err := (&SMTP{rough(t, c.greeting, c.lines)}).Send(t.Context(), aDelivery()); classOf(err) != c.want {
			t.Errorf("%s: %s (%v), want %s", c.name, classOf(err), err, c.want)
		}
	}
	if err := (&SMTP{Config{Host: "127.0.0.1", Port: 1, TLS: "never", From: sender}}).Send(t.Context(), aDelivery()); classOf(err) != "temporary" {
		t.Errorf("nobody there: %v", err)
	}
}

// Told to stop, a try that waits for the server ends, and says what is known.
func TestSMTPStops(t *testing.T) {
	for word, want := range map[string]string{"RCPT": "temporary", ".": "unknown"} {
		lines := map[string]string{"EHLO": "250 hi", "MAIL": "250 ok", "RCPT": "250 ok", "DATA": "354 go on", ".": "250 taken"}
		delete(lines, word) // no answer, ever
		ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
		err := (&SMTP{rough(t, "220 hi", lines)}).Send(ctx, aDelivery())
		cancel()
		if classOf(err) != want {
			t.Errorf("no answer to %s: %s (%v), want %s", word, classOf(err), err, want)
		}
	}
}

func TestConfigCheck(t *testing.T) {
	bad := Config{Port: 70000, TLS: "sometimes", From: "nobody"}
	want := `mail: host is missing
mail: port 70000 is not a port
mail: tls cannot be "sometimes"; it is one of: starttls, always, never
mail: from "nobody" is not an address like "Telltale <telltale@example.org>"`
	if err := bad.Check(); err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
	clear := Config{Host: "h", TLS: "never", User: "u", From: sender}
	if err := clear.Check(); err == nil {
		t.Error("a password in the clear was taken")
	}
	good := Config{Host: "h", From: sender}
	if err := good.Check(); err != nil {
		t.Error(err)
	}
}
