// Package signin has people sign in by a link in a mail, or by the code in the same mail,
// and out again; and keeps the board's door: who is signed in on which device.
//
// [New] makes the [Door] of a board; [Pages] are its pages. Another way to sign in ends in
// [Door.SignIn], and is named on the page of signing in by [Door.Ways].
//
// What is promised: a link works once, for ten minutes, in the browser that asked for it. A
// code takes five tries there, and ten a day for an address. Whoever asks hears the same,
// after the same work, whether there is such a person or not. Nothing that a stranger typed
// is stored but the address, for the same ten minutes. Nobody is locked out by the tries of
// others: a session, a passkey, and the link in a mail still open the door.
package signin

import (
	"cmp"
	"context"
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"telltale/engine/stream/audit"
	"telltale/engine/stream/sessions"
	"telltale/notify/board/frame"
	"telltale/notify/board/limits"
	"telltale/notify/people"
	"telltale/notify/rights"
)

// Door is where people come in. It implements [frame.Door].
type Door struct {
	*frame.Frame
	Sessions *sessions.Sessions
	// Wall is the clock on the wall: a session ends by it, whatever the clock of the events
	// says.
	Wall func() time.Time
	// Ways are further ways to sign in, Further their pages, and Also what else stands on the
	// page of signing in: the button of a passkey, with fields that its form takes along. Nil
	// for nothing.
	Ways []frame.Link
	// Tablet is where one begins that is nobody's own.
	Tablet  frame.Link
	Further []frame.Route
	Also    func(ctx context.Context, r *frame.Request, hidden []frame.Hidden) (template.HTML, error)
	// Elsewhere reports whether a person signs in at the fleet's own provider, and so by no
	// other way; nil where there is none.
	Elsewhere func(*people.Person) bool
	// Offer is where a person goes on who has signed in by a mail, in place of to; nil for to
	// itself.
	Offer func(ctx context.Context, person, to string) (string, error)

	mails *limits.Mails
	posts sync.WaitGroup // mails that are being written after their page was answered
}

// New makes the door of a board.
func New(f *frame.Frame) *Door {
	d := &Door{Frame: f, Sessions: sessions.New(f.Log), Wall: time.Now, mails: limits.NewMails()}
	d.Sessions.Idle = d.idle
	return d
}

// Settle waits until the mails that were asked for are stored.
func (d *Door) Settle() { d.posts.Wait() }

// idle is how long a session lasts unused: of whoever runs the service shorter.
func (d *Door) idle(s *sessions.Session) time.Duration {
	if id, ok := strings.CutPrefix(s.Who, ofPeople); ok && d.People().Access(id).Anywhere(rights.Watch) {
		return sessions.IdleOperator
	}
	return sessions.Idle(s)
}

// What the source of a person's or a tablet's entries begins with.
const (
	ofPeople  = "/people/"
	ofDevices = "/devices/"
)

// Identify implements [frame.Door].
func (d *Door) Identify(ctx context.Context, r *http.Request) (*frame.Identity, error) {
	token := d.read(r, sessionCookie)
	if token == "" {
		return nil, nil
	}
	find := d.Sessions.Find
	if r.Header.Get("Sec-Fetch-Dest") == "empty" && r.Method == http.MethodGet {
		find = d.Sessions.Look // a page that is open keeps itself up to date: nobody need sit there
	}
	s, err := find(ctx, token, d.Wall())
	switch {
	case errors.Is(err, sessions.ErrNone):
		return nil, nil
	case err != nil:
		return nil, err
	case !d.known(&s):
		// Somebody else may get the same id one day (ASVS 5.0.0, 7.4.2).
		return nil, d.Sessions.End(ctx, s.ID)
	}
	id := &frame.Identity{Session: s.ID, How: audit.How(s.How), Strong: s.Strong, Lately: d.Wall().Sub(s.Strong) < frame.Recent}
	if s.Tablet() {
		id.Tablet, id.Who, id.Entry = true, strings.TrimPrefix(s.Who, ofDevices), s.Entry
		id.Name = cmp.Or(s.Name, id.Who)
	} else {
		id.Who = strings.TrimPrefix(s.Who, ofPeople)
	}
	return id, nil
}

// mailOf is by what a person is known again: an id may be given to somebody else, and who
// has another address now is to show that they read it.
func mailOf(p *people.Person) string {
	if p.To[people.Mail] == "" {
		return ""
	}
	return sessions.Hash(strings.ToLower(p.To[people.Mail]))
}

// known reports whether people.yaml still has who is signed in: the person, at the same
// address and with the same subject, or what a tablet was paired for.
func (d *Door) known(s *sessions.Session) bool {
	if s.Tablet() {
		return slices.Contains(d.People().Pairable(), s.Entry)
	}
	p := d.People().Person(strings.TrimPrefix(s.Who, ofPeople))
	switch {
	case p == nil, s.Mail != "" && s.Mail != mailOf(p), s.Subject != "" && s.Subject != sessions.Hash(p.Subject):
		return false
	}
	return s.How == sessions.Fleet || !d.elsewhere(p)
}

// elsewhere: who leaves the fleet's provider has left here too, so nothing else lets them in
// (ASVS 5.0.0, 6.3.4).
func (d *Door) elsewhere(p *people.Person) bool { return d.Elsewhere != nil && d.Elsewhere(p) }

// Strange implements [frame.Door]: a page that was asked for leads to the page of signing
// in and back; a form that was sent comes back with it, see [kept].
func (d *Door) Strange(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	if r.Method != http.MethodPost {
		to := frame.Back(frame.SignIn, ownPath(r.URL.RequestURI()))
		if r.Viewer.SignedIn != nil {
			to = frame.SignIn + "?" + url.Values{"again": {"1"}, "to": {ownPath(r.URL.RequestURI())}}.Encode()
		}
		return &frame.Page{To: to}, nil
	}
	p, lead := asking{Kept: keep(r)}, wordKept
	switch {
	case strings.HasPrefix(r.Header.Get("Content-Type"), "multipart/"):
		p.Kept, lead = nil, wordFile
	case p.Kept != nil && p.Kept.To == "":
		p.Kept, lead = nil, wordLost
	}
	if r.Viewer.SignedIn != nil {
		lead, p.To = wordAgain, cameFrom(r)
	}
	return d.askPage(ctx, r, &p, http.StatusForbidden, lead)
}

// cameFrom is the page on which a form was sent, to go back to; "" where that is not known.
func cameFrom(r *frame.Request) string {
	u, err := url.Parse(r.Referer())
	if err != nil || u.Host == "" || u.Host != r.Host {
		return ""
	}
	return ownPath(u.RequestURI())
}

// SignIn begins a session of s.Who on the device of a request, in place of the one that it
// had, and goes on to a page of the board: what was typed before, or to, see [ownPath].
func (d *Door) SignIn(ctx context.Context, r *frame.Request, s sessions.Session, to string) (*frame.Page, error) {
	now := d.Wall()
	s.Device = sessions.Device(r.UserAgent())
	if p := d.People().Person(strings.TrimPrefix(s.Who, ofPeople)); p != nil && !s.Tablet() {
		if s.Mail = mailOf(p); s.How == sessions.Fleet {
			s.Subject = sessions.Hash(p.Subject)
		}
	}
	if before := r.Viewer.SignedIn; before != nil {
		if err := d.Sessions.End(ctx, before.Session); err != nil {
			return nil, err
		}
	}
	token, err := d.Sessions.Begin(ctx, s, now)
	d.note(ctx, r, audit.Entry{What: audit.SignIn, Who: s.Who, How: audit.How(s.How), Outcome: outcome(err)})
	if err != nil {
		return nil, err
	}
	p, err := d.onward(r, ownPath(to), s.Who)
	if err != nil {
		return nil, err
	}
	p.Header = http.Header{}
	lasts := sessions.WholePerson
	if s.Tablet() {
		lasts = sessions.WholeDevice
	}
	d.set(p.Header, r.Request, sessionCookie, token, lasts)
	d.set(p.Header, r.Request, askedCookie, "", 0)
	return p, nil
}

// signOut ends the session of the device, and has the browser forget what it kept of the
// board (ASVS 5.0.0, 7.4.1 and 14.3.1).
func (d *Door) signOut(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	if id := r.Viewer.SignedIn; id != nil {
		err := d.Sessions.End(ctx, id.Session)
		d.note(ctx, r, audit.Entry{What: audit.SignOut, Who: r.Viewer.Source(), How: id.How, Outcome: outcome(err)})
		if err != nil {
			return nil, err
		}
	}
	p := &frame.Page{To: frame.SignIn + "?out=1", Header: http.Header{"Clear-Site-Data": {`"storage"`}}} // no page is kept in a cache (no-store), and clearing it holds a browser up for long
	d.set(p.Header, r.Request, sessionCookie, "", 0)
	d.set(p.Header, r.Request, askedCookie, "", 0)
	return p, nil
}
