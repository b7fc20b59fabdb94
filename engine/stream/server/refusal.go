package server

import (
	"log/slog"
	"net"
	"regexp"
	"strconv"
	"time"

	"golang.org/x/time/rate"
)

// Refusal is what a client tried and may not.
type Refusal struct {
	At time.Time
	// Key is the public half of the client's key; "" where it came without one, or by
	// another way.
	Key string
	// Subject is what it wanted to publish to, or to hear; "" where it was not let in at all.
	Subject string
	// Hear: it wanted to hear the subject, not to publish.
	Hear bool
	// From is the address that it came from, without the port.
	From string
}

// listener reads refusals from what the server logs, since it tells of them nowhere else.
// They are heard in a goroutine of their own, since the server's holds the client meanwhile.
type listener struct {
	told  chan Refusal // nil where nobody wants to hear
	ended chan struct{}
}

// refusalsWaiting is how many refusals may wait to be heard; more than that are dropped.
const refusalsWaiting = 256

func listen(log *slog.Logger, anyone string, heard func(Refusal)) *serverLog {
	l := &listener{}
	if heard != nil {
		l.told, l.ended = make(chan Refusal, refusalsWaiting), make(chan struct{})
		go func() {
			defer close(l.ended)
			for r := range l.told {
				if r.Key == anyone {
					r.Key = ""
				}
				heard(r)
			}
		}()
	}
	return &serverLog{log: log, listener: l, fatal: make(chan error, 1), broken: make(chan error, 1), handshakes: rate.Sometimes{Interval: time.Minute}}
}

// close ends the listening; the server is down by then.
func (l *listener) close() {
	if l.told != nil {
		close(l.told)
		<-l.ended
	}
}

// Lines that tell of a refusal begin with where the client came from, and have what it calls
// itself and what it asked for in quotes as Go writes them.
const (
	logPlace  = `^(\S+) - cid:\d+ - (?:"(?:[^"\\]|\\.)*" - )?`
	logQuoted = `("(?:[^"\\]|\\.)*")`
)

var (
	mayNot   = regexp.MustCompile(logPlace + `"[^"/]*/(?:nkey:([A-Z2-7]*))?[^"]*" - (Publish|Subscription) Violation - (?:Subject|Reply) ` + logQuoted)
	notKnown = regexp.MustCompile(logPlace + `authentication error(?: - Nkey "([A-Z2-7]*)")?`)
)

// take takes a line that tells of a refusal. Where too many wait it is dropped, so that no
// client can hold up the server.
func (l *listener) take(text string) bool {
	if l.told == nil {
		return false
	}
	r, ok := readRefusal(text)
	if !ok {
		return false
	}
	r.At = time.Now()
	select {
	case l.told <- r:
	default:
	}
	return true
}

func readRefusal(text string) (r Refusal, ok bool) {
	if m := mayNot.FindStringSubmatch(text); m != nil {
		subject, err := strconv.Unquote(m[4])
		if err != nil {
			return Refusal{}, false
		}
		return Refusal{From: hostOf(m[1]), Key: m[2], Hear: m[3] == "Subscription", Subject: subject}, true
	}
	if m := notKnown.FindStringSubmatch(text); m != nil {
		return Refusal{From: hostOf(m[1]), Key: m[2]}, true
	}
	return Refusal{}, false
}

func hostOf(address string) string {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return address
	}
	return host
}
