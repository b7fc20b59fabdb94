package mail

import (
	"cmp"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/mail"
	"slices"
	"strconv"
	"syscall"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"telltale/notify/delivery"
)

// Config says how to reach the SMTP server that takes our mails.
type Config struct {
	// Host is the server's name, as its certificate has it. Empty: no server, and
	// mails are kept as files.
	Host string `yaml:"host"`
	// Port is 587 where 0, or 465 with "tls: always".
	Port int `yaml:"port"`
	// TLS is "starttls" (the default): the server must offer STARTTLS or nothing is
	// sent; "always": TLS from the first byte; "never": in the clear, for a relay
	// on this machine. A password is not sent in the clear.
	TLS string `yaml:"tls"`
	// User and Password log in; no login where User is empty.
	User     string `yaml:"user"`
	Password string `yaml:"password"`
	// From is the sender, like "Telltale <telltale@example.org>". Bounces go there.
	From string `yaml:"from"`
	// Hello is the name we give ourselves; "localhost" where empty.
	Hello string `yaml:"hello"`
	// Roots are the authorities to trust; the system's where nil.
	Roots *x509.CertPool `yaml:"-"`
}

// Check says what is wrong with the configuration, all at once.
func (c *Config) Check() error {
	var all []error
	if c.Host == "" {
		all = append(all, errors.New("mail: host is missing"))
	}
	if c.Port < 0 || c.Port > 65535 {
		all = append(all, fmt.Errorf("mail: port %d is not a port", c.Port))
	}
	switch c.TLS {
	case "", "starttls", "always":
	case "never":
		if c.User != "" {
			all = append(all, errors.New("mail: a password is not sent in the clear; leave out user, or set tls to starttls or always"))
		}
	default:
		all = append(all, fmt.Errorf("mail: tls cannot be %q; it is one of: starttls, always, never", c.TLS))
	}
	if _, err := mail.ParseAddress(c.From); err != nil {
		all = append(all, fmt.Errorf("mail: from %q is not an address like \"Telltale <telltale@example.org>\"", c.From))
	}
	return errors.Join(all...)
}

// SMTP hands mails to an SMTP server, one connection and one recipient each: a
// bad recipient spoils no other's mail.
type SMTP struct{ Config }

// dialWithin bounds the connecting; the answers to commands have five minutes
// and the answer to the final dot twelve, as RFC 5321 section 4.5.3.2 asks: less
// makes duplicates.
const dialWithin = 30 * time.Second

// Send hands the stored bytes to the server. A 250 after the final dot is
// success, whatever the server does next.
func (s *SMTP) Send(ctx context.Context, d delivery.Delivery) error {
	from, err := mail.ParseAddress(s.From)
	if err != nil {
		return byCode(delivery.Ours, "reading the sender", err)
	}
	c, err := s.connect(ctx)
	if err != nil {
		return err
	}
	defer c.Close()
	// The client knows no context: closing the connection ends whatever waits.
	defer context.AfterFunc(ctx, func() { c.Close() })()
	if err := s.login(c); err != nil {
		return err
	}
	// A refused sender is refused for every recipient.
	if err := c.Mail(from.Address, &smtp.MailOptions{Size: int64(len(d.Raw))}); err != nil {
		if tooBig(err) {
			return byCode(delivery.Permanent, "offering the mail", err)
		}
		return byCode(delivery.Ours, "naming the sender", err)
	}
	if err := c.Rcpt(d.To, nil); err != nil {
		return byCode(delivery.Permanent, "naming the recipient", err)
	}
	if err := data(c, d.Raw); err != nil {
		return err
	}
	c.Quit() // it is theirs since the 250
	return nil
}

func data(c *smtp.Client, raw []byte) error {
	w, err := c.Data()
	if err != nil {
		return byCode(delivery.Permanent, "starting the mail", err)
	}
	if _, err := w.Write(raw); err != nil {
		return fmt.Errorf("sending the mail: %w", err) // no dot, so not taken
	}
	err = w.Close()
	var said *smtp.SMTPError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &said):
		return byCode(delivery.Permanent, "ending the mail", err)
	}
	return &delivery.Failure{Class: delivery.Unknown, Err: fmt.Errorf("waiting for the answer to the final dot: %w", err)}
}

func (s *SMTP) connect(ctx context.Context) (*smtp.Client, error) {
	usual := 587
	if s.TLS == "always" {
		usual = 465
	}
	addr := net.JoinHostPort(s.Host, strconv.Itoa(cmp.Or(s.Port, usual)))
	dialer := &net.Dialer{Timeout: dialWithin}
	conn, err := dialer.DialContext(ctx, "tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("connecting to %s: %w", addr, err)
	}
	stop := context.AfterFunc(ctx, func() { conn.Close() })
	defer stop()
	conf := &tls.Config{ServerName: s.Host, RootCAs: s.Roots, MinVersion: tls.VersionTLS12}
	switch s.TLS {
	case "always":
		return smtp.NewClient(tls.Client(conn, conf)), nil
	case "never":
		return smtp.NewClient(conn), nil
	}
	c, err := smtp.NewClientStartTLS(conn, conf)
	if err != nil {
		conn.Close()
		return nil, greeting("starting TLS with "+addr, err)
	}
	return c, nil
}

func (s *SMTP) login(c *smtp.Client) error {
	if err := c.Hello(cmp.Or(s.Hello, "localhost")); err != nil {
		return greeting("greeting the server", err)
	}
	if s.User == "" {
		return nil
	}
	if _, secure := c.TLSConnectionState(); !secure {
		return &delivery.Failure{Class: delivery.Ours, Err: errors.New("a password is not sent in the clear")}
	}
	if err := c.Auth(sasl.NewPlainClient("", s.User, s.Password)); err != nil {
		return byCode(delivery.Ours, "logging in", err)
	}
	return nil
}

// greeting classes errors before the login: what the server or its certificate
// refuses is our configuration, a lost connection is not.
func greeting(doing string, err error) error {
	var network net.Error
	var cert *tls.CertificateVerificationError
	var record tls.RecordHeaderError
	var alert tls.AlertError
	refused := errors.As(err, &cert) || errors.As(err, &record) || errors.As(err, &alert)
	if !refused && (errors.As(err, &network) || lost(err)) {
		return fmt.Errorf("%s: %w", doing, err)
	}
	return byCode(delivery.Ours, doing, err)
}

// aboutUs are the answers that are about us wherever they come: 530 and 535 ask for a
// login, 538 for TLS, 534 for a stronger way (RFC 4954).
var aboutUs = []int{530, 534, 535, 538}

// byCode gives a refusal the class it has at this point of the talk, unless the
// server says 4xx or said nothing.
func byCode(class delivery.Class, doing string, err error) error {
	var said *smtp.SMTPError
	err = fmt.Errorf("%s: %w", doing, err)
	switch {
	case errors.As(err, &said) && said.Temporary():
		return err
	case errors.As(err, &said) && slices.Contains(aboutUs, said.Code), class == delivery.Ours && !lost(err):
		return &delivery.Failure{Class: delivery.Ours, Err: err}
	case errors.As(err, &said):
		return &delivery.Failure{Class: class, Err: err}
	}
	return err
}

// tooBig is 552 with 5.3.4, which is about this mail and not about the sender.
func tooBig(err error) bool {
	var said *smtp.SMTPError
	return errors.As(err, &said) && said.Code == 552
}

// lost reports a connection that ended or ran out of time.
func lost(err error) bool {
	var network net.Error
	return errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, net.ErrClosed) ||
		errors.Is(err, syscall.ECONNRESET) || errors.Is(err, syscall.EPIPE) || errors.As(err, &network) && network.Timeout()
}
