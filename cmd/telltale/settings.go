package main

import (
	"errors"
	"fmt"
	netmail "net/mail"
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
	"gopkg.in/yaml.v3"

	"telltale/cmd/telltale/internal/cli"
	"telltale/cmd/telltale/internal/listen"
	"telltale/notify/mail"
	"telltale/rules/source"
	"telltale/rules/unit"
)

// settings are telltale.yaml: how a folder's service runs. Every key may be left
// out; a folder without the file runs by the defaults.
type settings struct {
	// Clock is wall (a tick each quarter of an hour) or events (a tick at each
	// midnight UTC that the events' reported times pass, for reading in a past year).
	Clock string
	// Listen is where the embedded NATS server listens, host:port; -1 is any free port.
	Listen string
	// NATS is the server to join instead of embedding one.
	NATS string
	// NATSKey is the file with the key by which the service signs in there; "" for none.
	NATSKey string
	// MaxMiB bounds the log of events; 0 is the disk alone.
	MaxMiB int
	// Metrics is where /metrics, /healthz and /readyz are served, host:port on the
	// loopback; off where empty. Port 0 is any free one.
	Metrics string
	// Mail is how mails go out; without a host they are written into DIR/mail.
	Mail mail.Config
	// Settings say where it is reached.
	listen.Settings
	// Baselines is when the fleet's baselines are made anew: the next time after one.
	Baselines func(time.Time) time.Time
	// Reads are the units in which people read of the fleet; of what it does not say,
	// the book's.
	Reads unit.System
	// Webhooks are ranges inside that webhooks may call all the same.
	Webhooks []netip.Prefix

	file *source.Document // nil where there is no file
	at   map[string]*yaml.Node
}

func defaults() settings {
	next, err := parseSchedule(monthly)
	if err != nil {
		panic(err) // a constant
	}
	return settings{Clock: "wall", Listen: "127.0.0.1:4222", Baselines: next, Mail: mail.Config{From: "Telltale <telltale@localhost>"},
		Settings: listen.Defaults()}
}

// loadSettings reads DIR/telltale.yaml; all faults come at once.
func loadSettings(dir string) (settings, error) { return settingsIn(dir, nil) }

// settingsIn is loadSettings of a folder of which an editor has those texts open.
func settingsIn(dir string, open cli.Texts) (settings, error) {
	path := filepath.Join(dir, "telltale.yaml")
	text, err := open.Read(path)
	if os.IsNotExist(err) {
		return defaults(), nil
	}
	if err != nil {
		return defaults(), fmt.Errorf("reading the settings: %w", err)
	}
	return readSettings(path, text)
}

// readSettings reads the text of a telltale.yaml at a path, beside which files lie that it
// names.
func readSettings(path string, text []byte) (settings, error) {
	set, dir := defaults(), filepath.Dir(path)
	s, root := source.Read(path, text)
	if root == nil {
		return set, s.Err()
	}
	m := s.Mapping(root, "the settings", append([]string{"clock", "listen", "nats", "nats key file", "max log", "metrics", "mail", "smtp", "webhooks", "baselines", "reads"}, listen.Keys...)...)
	set.file, set.at = s, m
	set.Clock = []string{"wall", "events"}[s.Choice(m["clock"], "clock", "wall", "events")]
	if n := m["listen"]; n != nil {
		set.Listen = listen.Address(s, n, "listen", -1)
	}
	set.NATS = s.Text(m["nats"], "nats")
	if n := m["nats key file"]; n != nil {
		set.NATSKey = inside(dir, s.Text(n, "nats key file"))
	}
	set.Settings = listen.Read(s, m, dir)
	set.Check(s, m, set.ownNATS())
	if n := m["max log"]; n != nil {
		set.MaxMiB = s.Whole(n, "max log (in MiB)", 1, 1<<24)
	}
	if n := m["reads"]; n != nil {
		set.Reads = readUnits(s, n)
	}
	if n := m["metrics"]; n != nil {
		set.Metrics = s.Text(n, "metrics")
		if !listen.Loopback(set.Metrics) {
			s.Fault(n, "write metrics: 127.0.0.1:9464; put a proxy in front of it to show it to others", "metrics can only be served on the loopback, not on %q", set.Metrics)
		}
	}
	if n := m["baselines"]; n != nil {
		text := s.Text(n, "baselines")
		if next, err := parseSchedule(text); err != nil {
			s.Fault(n, "write it like \"0 0 1 * *\", the first of each month", "baselines %q: the schedule %v", text, err)
		} else {
			set.Baselines = next
		}
	}
	if n := m["mail"]; n != nil {
		readMail(s, n, &set.Mail)
	}
	if n := m["webhooks"]; n != nil {
		set.Webhooks = readWebhooks(s, n)
	}
	if n := m["smtp"]; n != nil {
		readSMTP(s, n, &set.Mail, dir)
		if set.Mail.From == defaults().Mail.From {
			s.Fault(n, "write mail: {from: \"Telltale <telltale@example.org>\"}", "smtp has no sender: mails need an address that bounces go to")
		}
		if err := set.Mail.Check(); err != nil && s.Err() == nil {
			s.Fault(n, "", "%v", err)
		}
	}
	return set, s.Err()
}

// door is how the service is reached over the NATS server that it joins; where it runs its
// own, the address is in the folder, and not among the settings.
func (s *settings) door() cli.Door {
	if s.NATS == "" {
		return cli.Door{Certificate: s.Pair.Certificate}
	}
	return cli.Door{URL: s.NATS, Key: s.NATSKey, CA: s.CA}
}

// ownNATS is where the service's own NATS server listens; "" where it joins one.
func (s *settings) ownNATS() string {
	if s.NATS != "" {
		return ""
	}
	return s.Listen
}

// readsOf are the units in which people read of the fleet in a folder: what its settings
// say of that, whatever else is wrong with them.
func readsOf(dir string) unit.System {
	set, _ := loadSettings(dir) // of which check and serve tell the faults
	return set.Reads
}

func readUnits(s *source.Document, n *yaml.Node) unit.System {
	u, err := unit.SystemOf(s.Texts(n, "reads"))
	if err != nil {
		s.Fault(n, "write reads: [mi, qt]", "reads: %v", err)
	}
	return u
}

func readMail(s *source.Document, n *yaml.Node, c *mail.Config) {
	from := s.Mapping(n, "mail", "from")["from"]
	if from == nil {
		return
	}
	c.From = s.Text(from, "from")
	if _, err := netmail.ParseAddress(c.From); err != nil {
		s.Fault(from, "write it like \"Telltale <telltale@example.org>\"", "from %q is not an e-mail address", c.From)
	}
}

// readSMTP reads how the mail server is reached; a relative path of the password's file
// begins in dir.
func readSMTP(s *source.Document, n *yaml.Node, c *mail.Config, dir string) {
	m := s.Mapping(n, "smtp", "host", "port", "user", "password file", "tls", "hello")
	c.Host, c.User, c.Hello = s.Text(m["host"], "host"), s.Text(m["user"], "user"), s.Text(m["hello"], "hello")
	if m["host"] == nil {
		s.Fault(n, "write host: mail.example.org, or delete smtp to have mails written as files", "smtp has no host")
	}
	if p := m["port"]; p != nil {
		c.Port = s.Whole(p, "port", 1, 65535)
	}
	c.TLS = []string{"starttls", "always", "never"}[s.Choice(m["tls"], "tls", "starttls", "always", "never")]
	if p := m["password file"]; p != nil {
		text, err := os.ReadFile(inside(dir, s.Text(p, "password file")))
		if err != nil {
			s.Fault(p, "", "reading the password: %v", err)
		}
		c.Password = strings.TrimRight(string(text), "\r\n")
	}
}

func readWebhooks(s *source.Document, n *yaml.Node) (allow []netip.Prefix) {
	for _, r := range s.Items(s.Mapping(n, "webhooks", "allow")["allow"], "allow") {
		text, ok := s.Given(r, "allow")
		p, err := netip.ParsePrefix(text)
		switch {
		case !ok:
		case err != nil || p.Masked() != p:
			s.Fault(r, "write it like 10.20.0.0/16", "allow %q is not a range of addresses", text)
		default:
			allow = append(allow, p)
		}
	}
	return allow
}

// monthly is when the fleet's baselines are made anew where the settings do not say:
// the first of each month.
const monthly = "0 0 1 * *"

// parseSchedule reads a cron specification, in UTC.
func parseSchedule(text string) (next func(time.Time) time.Time, err error) {
	if strings.Contains(text, "TZ=") {
		return nil, errors.New("names a zone; it is in UTC")
	}
	parsed, err := cron.ParseStandard(text)
	if err != nil {
		return nil, fmt.Errorf("cannot be read: %w", err)
	}
	spec, ok := parsed.(*cron.SpecSchedule)
	if !ok {
		return nil, errors.New("is not a schedule of times")
	}
	spec.Location = time.UTC
	if spec.Next(time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
		return nil, errors.New("never comes")
	}
	return func(t time.Time) time.Time { return spec.Next(t.UTC()) }, nil
}
