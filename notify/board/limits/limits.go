// Package limits bounds what one person, one address or everybody together may ask of the
// pages, so that nobody takes them from the others (ASVS 5.0.0, 2.4.1). Nothing in it locks
// anyone out: whoever waits gets on (6.1.1). Everything is kept in the process alone.
//
// [By] is a rate for each of many, [Take] takes from several rates at once. [Pages] and
// [Mails] are those of the board. [Proxies] says from whom a request is, and [Proxies.Guard]
// bounds connections.
package limits

import (
	"container/list"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// Rate is how much is let through: Most at once, and as many again over Per, evenly. So
// of any stretch of Per at most twice Most; over longer, Most in each.
type Rate struct {
	Most int
	Per  time.Duration
}

// mostKept bounds for how many a rate is kept, some 3 MB. Of more, the one that asked
// longest ago is forgotten, and begins anew.
const mostKept = 10_000

// By is a rate for each of many, by a key. It is safe for concurrent use.
type By struct {
	rate Rate

	mu    sync.Mutex
	all   map[string]*list.Element
	order list.List // of *one; who asked last is first
}

type one struct {
	key string
	*rate.Limiter
}

// Each is a rate for each key.
func Each(r Rate) *By { return &By{rate: r, all: map[string]*list.Element{}} }

// of is the key's own.
func (b *By) of(key string) *rate.Limiter {
	b.mu.Lock()
	defer b.mu.Unlock()
	if e := b.all[key]; e != nil {
		b.order.MoveToFront(e)
		return e.Value.(*one).Limiter
	}
	if len(b.all) >= mostKept {
		last := b.order.Remove(b.order.Back()).(*one)
		delete(b.all, last.key)
	}
	l := rate.NewLimiter(rate.Every(b.rate.Per/time.Duration(b.rate.Most)), b.rate.Most)
	b.all[key] = b.order.PushFront(&one{key, l})
	return l
}

// Use is one of a key's; without a key nothing is bounded.
type Use struct {
	Of  *By
	Key string
}

// Take takes one of each, or none of any: then wait is how long until all can be had.
func Take(now time.Time, uses ...Use) (wait time.Duration) {
	var took []*rate.Reservation
	for _, u := range uses {
		if u.Key == "" {
			continue
		}
		r := u.Of.of(u.Key).ReserveN(now, 1)
		took = append(took, r)
		wait = max(wait, r.DelayFrom(now))
	}
	if wait > 0 {
		for _, r := range took {
			r.CancelAt(now)
		}
	}
	return wait
}

// Kind is what a request costs.
type Kind int

// The kinds of requests.
const (
	// Page is a page or a form that is sent.
	Page Kind = iota
	// Fleet is a list of the whole fleet in one piece: a file, or on paper.
	Fleet
	// Part belongs to a page that asks for many of its kind: a picture, a code.
	Part
	// Again is a page that its script loads once more because something changed.
	Again
)

// Pages are the limits of the board's pages, for each person who is signed in, and for each
// address from which somebody comes who is not.
type Pages struct{ kinds [4]*By }

// NewPages makes those of the board. A minute's 60 pages and 10 lists are common practice,
// no source: nobody reads faster.
func NewPages() *Pages {
	return &Pages{[4]*By{
		Page:  Each(Rate{60, time.Minute}),
		Fleet: Each(Rate{10, time.Minute}),
		Part:  Each(Rate{600, time.Minute}),
		Again: Each(Rate{60, time.Minute}),
	}}
}

// Take takes a request of whom the key names, or says how long they must wait. A list is a
// page too.
func (p *Pages) Take(k Kind, key string, now time.Time) (wait time.Duration) {
	if k == Fleet {
		return Take(now, Use{p.kinds[Fleet], key}, Use{p.kinds[Page], key})
	}
	return Take(now, Use{p.kinds[k], key})
}

// Mails are the limits of mails by which people sign in. They are on mails, not on people:
// who has a session, a passkey or a mail that came before is kept from nothing.
type Mails struct{ person, address, all *By }

// NewMails are 3 in 15 minutes for a person, 10 an hour from an address, and 200 an hour in
// all, so that nobody's mailbox is flooded and no mail server shuts the service out. The
// figures are common practice, no source.
func NewMails() *Mails {
	return &Mails{Each(Rate{3, 15 * time.Minute}), Each(Rate{10, time.Hour}), Each(Rate{200, time.Hour})}
}

// Take takes a mail to a person (or to what was typed in place of one, so that the answer is
// the same), asked for from an address as [Key] has it; or says how long they must wait.
func (m *Mails) Take(person, address string, now time.Time) (wait time.Duration) {
	return Take(now, Use{m.person, person}, Use{m.address, address}, Use{m.all, "all"})
}
