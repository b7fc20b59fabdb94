package listen

import (
	"fmt"
	"net"
	"net/url"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/cmd/telltale/internal/certificate"
	"telltale/rules/source"
)

// TLS reports whether what listens at the address is served with the certificate.
func (set *Settings) TLS(address string) bool {
	return set.Pair != certificate.Files{} && beyond(address)
}

// Address is the web address of what listens at host:port.
func (set *Settings) Address(at string) string {
	if set.TLS(at) {
		return "https://" + at
	}
	return "http://" + at
}

// Check says what must not stand open as the settings have it. nats is where the service's
// own NATS server listens, "" where it joins one. m are the keys of telltale.yaml.
func (set *Settings) Check(s *source.Document, m map[string]*yaml.Node, nats string) {
	c := check{set, s, m}
	c.pair(nats)
	c.pages("board", "the board", set.Board.Listen, set.Board.URL, BoardAt)
	c.pages("answers", "the pages of the answers", set.Answers.Listen, set.Answers.URL, "127.0.0.1:8080")
	if set.Board.SignIn == "never" && set.Board.open() {
		s.Fault(source.Value(m["board"], "sign in"), "delete it, or write listen: "+BoardAt+" and no url",
			"whoever reaches the board could do everything: without signing in it may be open to this machine alone")
	}
	if err := set.Bare(nats); err != nil {
		s.Fault(m["listen"], err.Hint, "%s", err.Text)
	}
}

// Bare says that NATS would be open without a certificate; nil where it is not.
func (set *Settings) Bare(nats string) *certificate.Fault {
	if !beyond(nats) || set.Pair != (certificate.Files{}) {
		return nil
	}
	return &certificate.Fault{Text: fmt.Sprintf("NATS cannot be open on %q without a certificate: whoever is on the way could read along and change what is sent", nats),
		Hint: "write certificate: and key:, or listen: 127.0.0.1:4222"}
}

// Strangers says that NATS would be open to whoever comes; nil where it is not. signs says
// that people.yaml names the programs, so that each has to sign in.
func (set *Settings) Strangers(nats string, signs bool) *certificate.Fault {
	if signs || !beyond(nats) {
		return nil
	}
	return &certificate.Fault{Text: fmt.Sprintf("NATS cannot be open on %q without programs in people.yaml: whoever reaches it could send events and ask", nats),
		Hint: "write programs: into people.yaml, for each gateway what telltale programs add prints, or listen: 127.0.0.1:4222"}
}

type check struct {
	*Settings
	s *source.Document
	m map[string]*yaml.Node
}

// pair looks whether there are both halves, and something to be served with them.
func (c *check) pair(nats string) {
	one, other := "certificate", "key"
	if c.m[one] == nil {
		one, other = other, one
	}
	switch n := c.m[one]; {
	case n == nil:
	case c.m[other] == nil:
		c.s.Fault(n, "write "+other+": beside it", "%s without %s: both are needed to be served with", one, other)
	case !c.TLS(c.Board.Listen) && !c.TLS(c.Answers.Listen) && !c.TLS(nats):
		c.s.Fault(n, "write board: {listen: 0.0.0.0:4280, url: \"https://fleet.example.org:4280\"}, or delete certificate and key",
			"the certificate serves nothing: all that listens here listens on the loopback, where no TLS is needed")
	}
}

// pages looks at pages that others may reach.
func (c *check) pages(key, what, listen, address, usual string) {
	u, err := url.Parse(address)
	if err != nil {
		return // which is a fault already
	}
	written, tls := source.Value(c.m[key], "url"), c.TLS(listen)
	if written != nil && !tls && u.Scheme == "http" && !loopback(u.Hostname()) { // a proxy does not help who comes to it in clear
		c.s.Fault(written, "write "+strings.Replace(address, "http:", "https:", 1)+", and have the proxy serve it with a certificate",
			"url %q is without TLS: whoever is on the way could read along and %s", address, map[string]string{"board": "sign in as others", "answers": "answer for others"}[key])
	}
	if !beyond(listen) {
		return
	}
	at := source.Value(c.m[key], "listen")
	switch {
	case !tls && c.Proxies == nil:
		c.s.Fault(at, "write certificate: and key:, or listen: "+usual+" for a proxy on this machine, or proxy: with the address of one elsewhere",
			"%s cannot be open on %q without a certificate: whoever is on the way could read along and change what is sent", what, listen)
	case certificate.Host(listen) == "" && (u.Host == "" || u.Host == listen):
		name := "https://fleet.example.org"
		if _, port, _ := net.SplitHostPort(listen); tls && port != "443" {
			name += ":" + port // with a proxy in front, the port is the proxy's
		}
		c.s.Fault(at, "write url: \""+name+"\" under "+key, "no url says under which name people reach %s: %q is every address of this machine", what, listen)
	case tls && u.Scheme == "http":
		c.s.Fault(source.Value(c.m[key], "url"), "write "+strings.Replace(address, "http:", "https:", 1), "url %q is without TLS, and %s is served with the certificate", address, what)
	}
}

// Hosts are the names and addresses under which people come where there is TLS: one of them
// must be the certificate's. nats is as in [Settings.Check].
func (set *Settings) Hosts(nats string) (hosts []string) {
	add := func(host string) {
		if host != "" && !loopback(host) {
			hosts = append(hosts, host)
		}
	}
	for _, p := range []struct{ listen, url string }{{set.Board.Listen, set.Board.URL}, {set.Answers.Listen, set.Answers.URL}, {nats, ""}} {
		if !set.TLS(p.listen) {
			continue
		}
		if u, err := url.Parse(p.url); err == nil {
			add(u.Hostname())
		}
		add(certificate.Host(p.listen))
	}
	return hosts
}
