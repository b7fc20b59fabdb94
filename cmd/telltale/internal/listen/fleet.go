package listen

import (
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/notify/board/signin/fleet"
	"telltale/rules/source"
)

// readFleet reads how the fleet's own provider is reached; a relative path of the secret's
// file begins in dir.
func readFleet(s *source.Document, n *yaml.Node, dir string) (c fleet.Config) {
	m := s.Mapping(n, "fleet sign-in", "issuer", "client", "secret file", "second factor")
	for _, key := range []string{"issuer", "client", "secret file"} {
		if m[key] == nil {
			s.Fault(n, "write {issuer: https://login.example.org, client: telltale, secret file: secrets/login}", "fleet sign-in has no %s", key)
		}
	}
	c.Issuer, c.Client = s.Text(m["issuer"], "issuer"), s.Text(m["client"], "client")
	u, err := url.Parse(c.Issuer)
	switch {
	case m["issuer"] == nil:
	case err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" || u.RawQuery != "" || u.Fragment != "":
		s.Fault(m["issuer"], "write it as the provider has it, like https://login.example.org", "issuer %q is not a web address", c.Issuer)
	case u.Scheme == "http" && !loopback(u.Hostname()):
		s.Fault(m["issuer"], "write https://", "issuer %q is without TLS: whoever is on the way could sign in as anybody", c.Issuer)
	}
	for _, f := range s.Items(m["second factor"], "second factor") {
		if text, ok := s.Given(f, "second factor"); ok {
			c.SecondFactor = append(c.SecondFactor, text)
		}
	}
	if p := m["secret file"]; p != nil {
		path := s.Text(p, "secret file")
		if !filepath.IsAbs(path) {
			path = filepath.Join(dir, path)
		}
		text, err := os.ReadFile(path)
		if err != nil {
			s.Fault(p, "", "reading the secret: %v", err)
		}
		c.Secret = strings.TrimRight(string(text), "\r\n")
	}
	return c
}
