// Package listen is where the service is reached: what telltale.yaml says of the addresses
// of the board, of the pages behind links and of NATS, which of them may stand open, and
// how they are served.
//
// What listens on the loopback alone is served without TLS: nobody stands between, and a
// proxy on the machine finds it there. What listens beyond it is served with the folder's
// certificate or, to named proxies alone, without.
package listen

import (
	"cmp"
	"net"
	"net/netip"
	"net/url"
	"path/filepath"
	"strconv"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/cmd/telltale/internal/certificate"
	"telltale/notify/board/limits"
	"telltale/notify/board/signin/fleet"
	"telltale/rules/source"
)

// Keys are those of telltale.yaml that [Read] reads.
var Keys = []string{"answers", "board", "certificate", "key", "ca", "proxy"}

// Settings are what telltale.yaml says of where the service is reached.
type Settings struct {
	Answers Answers
	Board   Board
	// Pair is where the certificate lies; nothing where there is none.
	Pair certificate.Files
	// CA is the file with the authority that connections to NATS trust in place of the
	// system's; "" for these.
	CA string
	// Proxies are in front of the pages.
	Proxies limits.Proxies
}

// Answers says whether and how mails carry links to be answered by.
type Answers struct {
	// Listen is where the pages are served, host:port; "" for no links at all.
	Listen string
	// URL is how people reach them; where they are served where empty.
	URL string
	// KeyFile holds the key that signs the links, 32 bytes in hex; made if missing.
	KeyFile string
}

// Board says where the board's pages are.
type Board struct {
	// Listen is where they are served, host:port; "" for nowhere.
	Listen string
	// URL is how people reach them; where they are served where empty.
	URL string
	// Written: the settings name the address, so that no other may stand in for it.
	Written bool
	// SignIn is what the settings say of signing in: "always", "never", or "" where it
	// hangs on who can reach the board, see [Settings.SignsIn].
	SignIn string
	// Fleet is the fleet's own provider, at which people sign in; none without an issuer.
	Fleet fleet.Config
}

// BoardAt is where the board is served where the settings do not say.
const BoardAt = "127.0.0.1:4280"

// Defaults are those of a folder without settings.
func Defaults() Settings { return Settings{Board: Board{Listen: BoardAt}} }

// Read reads the keys at their nodes. dir is where relative paths begin.
func Read(s *source.Document, m map[string]*yaml.Node, dir string) Settings {
	set := Defaults()
	path := func(key string) string {
		p := s.Text(m[key], key)
		if p == "" || filepath.IsAbs(p) {
			return p
		}
		return filepath.Join(dir, p)
	}
	set.Pair, set.CA = certificate.Files{Certificate: path("certificate"), Key: path("key")}, path("ca")
	set.Proxies = readProxies(s, m["proxy"])
	if n := m["answers"]; n != nil {
		set.Answers = readAnswers(s, n)
	}
	if n := m["board"]; n != nil {
		set.Board = readBoard(s, n, dir)
	}
	if a := &set.Answers; a.Listen != "" && a.URL == "" {
		a.URL = set.Address(a.Listen)
	}
	return set
}

func readAnswers(s *source.Document, n *yaml.Node) Answers {
	m := s.Mapping(n, "answers", "listen", "url", "key file")
	a := Answers{Listen: "127.0.0.1:8080"}
	if l := m["listen"]; l != nil {
		a.Listen = Address(s, l, "listen", 0)
	}
	if u := m["url"]; u != nil {
		a.URL = webAddress(s, u)
	}
	a.KeyFile = cmp.Or(s.Text(m["key file"], "key file"), "answers.key")
	return a
}

func readBoard(s *source.Document, n *yaml.Node, dir string) Board {
	m := s.Mapping(n, "board", "listen", "url", "sign in", "fleet sign-in")
	b := Board{Listen: BoardAt}
	if l := m["listen"]; l != nil {
		b.Written = true
		if b.Listen = s.Text(l, "listen"); b.Listen == "off" {
			b.Listen = ""
		} else {
			b.Listen = Address(s, l, "listen", 0)
		}
	}
	if u := m["url"]; u != nil {
		b.URL = webAddress(s, u)
	}
	if n := m["sign in"]; n != nil {
		b.SignIn = []string{"always", "never"}[s.Choice(n, "sign in", "always", "never")]
	}
	if n := m["fleet sign-in"]; n != nil {
		b.Fleet = readFleet(s, n, dir)
		if b.URL == "" {
			s.Fault(n, "write url: https://fleet.example.org under board", "the fleet's sign-in has to lead back, and no url says to where")
		}
	}
	return b
}

// Address asks for host:port, the port from least to 65535.
func Address(s *source.Document, n *yaml.Node, key string, least int) string {
	_, port, err := net.SplitHostPort(n.Value)
	p, bad := strconv.Atoi(port)
	if err != nil || bad != nil || p < least || p > 65535 {
		s.Fault(n, "write it like 127.0.0.1:4222", "%s %q is not an address to listen on", key, n.Value)
	}
	return n.Value
}

// webAddress reads how people reach pages, without a slash at its end.
func webAddress(s *source.Document, n *yaml.Node) string {
	text := strings.TrimSuffix(s.Text(n, "url"), "/")
	if at, err := url.Parse(text); err != nil || at.Host == "" || at.Scheme != "https" && at.Scheme != "http" {
		s.Fault(n, "write it like https://fleet.example.org", "url %q is not a web address", text)
	}
	return text
}

func readProxies(s *source.Document, n *yaml.Node) (all limits.Proxies) {
	for _, r := range s.Items(n, "proxy") {
		text, ok := s.Given(r, "proxy")
		p, err := netip.ParsePrefix(text)
		if a, bad := netip.ParseAddr(text); bad == nil && a.Zone() == "" {
			p, err = netip.PrefixFrom(a, a.BitLen()), nil
		}
		switch {
		case !ok:
		case err != nil || p.Masked() != p:
			s.Fault(r, "write it like 10.20.0.5 or 10.20.0.0/16", "proxy %q is not an address or a range of addresses", text)
		case p.Bits() == 0:
			s.Fault(r, "write the proxy's own address, like 10.20.0.5", "proxy %q is everybody, who could then say that they come from anywhere", text)
		default:
			all = append(all, p)
		}
	}
	return all
}

// Loopback reports whether the address, host:port, is reached from this machine alone.
func Loopback(address string) bool {
	host, port, err := net.SplitHostPort(address)
	_, bad := strconv.ParseUint(port, 10, 16)
	return err == nil && bad == nil && loopback(host)
}

// beyond reports whether others than those at this machine reach what listens at an
// address. Nothing listens at "", and at one that is none.
func beyond(address string) bool {
	host, _, err := net.SplitHostPort(address)
	return err == nil && !loopback(host)
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// SignsIn reports whether whoever looks at the board has to sign in: where the settings ask
// for it; or where people.yaml says who may do what; or where others than those at this
// machine can reach the board, by its address or through a proxy under its name.
func (set *Settings) SignsIn(rights bool) bool {
	switch set.Board.SignIn {
	case "always":
		return true
	case "never":
		return false
	}
	return rights || set.Board.open()
}

// open reports whether others than those at this machine can reach the board.
func (b *Board) open() bool {
	u, err := url.Parse(b.URL)
	return beyond(b.Listen) || b.URL != "" && (err != nil || !loopback(u.Hostname()))
}
