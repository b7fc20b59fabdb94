package audit

import (
	"crypto/sha256"
	"encoding/hex"
	"net/netip"
	"regexp"
	"strings"
	"unicode"
)

// The bounds of an entry's parts, so that it fits into maxSize whatever it says.
const (
	maxName   = 160 // bytes
	maxWords  = 400
	maxEvents = 20
	maxSize   = 16 << 10
)

// Fingerprint is by what a secret is told from others and not found out: the first eight
// hex digits of its SHA-256.
func Fingerprint(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:4])
}

// Network is the network of an address, of which an entry keeps no more: the first 24 bits
// of an IPv4 address and the first 48 of an IPv6 one. It takes an address with its port, as
// http.Request.RemoteAddr has it, or without; anything else is "".
func Network(address string) string {
	ip, err := netip.ParseAddr(address)
	if err != nil {
		port, err := netip.ParseAddrPort(address)
		if err != nil {
			return ""
		}
		ip = port.Addr()
	}
	ip, bits := ip.Unmap().WithZone(""), 48
	if ip.Is4() {
		bits = 24
	}
	net, err := ip.Prefix(bits)
	if err != nil {
		return ""
	}
	return net.String()
}

// cleaned is the entry as it may be stored. It has no control characters, by which one
// entry could look like two (ASVS 5.0.0, 16.4.1), no secrets (16.2.5) and no address that
// leads to a person.
func (e Entry) cleaned() Entry {
	if !network(e.From) {
		e.From = Network(e.From)
	}
	e.Who, e.Vehicle = oneLine(e.Who, maxName), oneLine(e.Vehicle, maxName)
	e.By = oneLine(guarded(e.By), maxName)
	e.Why, e.Words = oneLine(guarded(e.Why), maxWords), oneLine(guarded(e.Words), maxWords)
	e.Time = e.Time.UTC()
	if len(e.Events) > maxEvents {
		e.Events = e.Events[:maxEvents:maxEvents]
	}
	return e
}

// network reports whether a text is what Network makes.
func network(text string) bool {
	p, err := netip.ParsePrefix(text)
	return err == nil && p == p.Masked() && p.Bits() <= 48 && (p.Addr().Is6() || p.Bits() <= 24)
}

// What may be a token, and what leads to a mailbox.
var (
	long    = regexp.MustCompile(`[A-Za-z0-9_\-+/=]{20,}`)
	mailbox = regexp.MustCompile(`[^\s<>"(),:;]+@[^\s<>"(),:;]+`)
)

// guarded takes out of a text what may be a secret, should one have got there: it becomes
// its fingerprint. Callers write none; this is the second lock.
func guarded(text string) string {
	text = long.ReplaceAllStringFunc(text, func(s string) string {
		if !random(s) {
			return s
		}
		return "#" + Fingerprint(s)
	})
	return mailbox.ReplaceAllString(text, "(a mail address)")
}

// random reports whether a row of characters looks made by chance: twenty and more letters
// and digits on end that are no word in small letters, or a change between capitals, small
// letters and digits at each fifth place. Names of files and vehicles have none of that.
func random(s string) bool {
	const row, each = 20, 5
	changes, run, word, before := 0, 0, true, 0
	for _, c := range []byte(s) {
		class := classOf(c)
		switch {
		case class == 0:
			run, word = 0, true
		default:
			run++
			word = word && class == small
			if before != 0 && class != before {
				changes++
			}
		}
		if run >= row && !word {
			return true
		}
		before = class
	}
	return len(s) > row && changes*each >= len(s)
}

// small is the class of small letters.
const small = 1

// classOf is 0 for what is neither a letter nor a digit.
func classOf(c byte) int {
	switch {
	case 'a' <= c && c <= 'z':
		return small
	case 'A' <= c && c <= 'Z':
		return small + 1
	case '0' <= c && c <= '9':
		return small + 2
	}
	return 0
}

// oneLine is a text without control characters and marks that are not seen, and no longer
// than some bytes.
func oneLine(text string, most int) string {
	text = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case r == unicode.ReplacementChar, unicode.IsControl(r), unicode.Is(unicode.Cf, r):
			return -1
		}
		return r
	}, text)
	text = strings.TrimSpace(text)
	if len(text) > most {
		text = strings.ToValidUTF8(text[:most-len("…")], "") + "…"
	}
	return text
}
