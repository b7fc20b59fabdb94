package signin

import (
	"cmp"
	"context"
	"errors"
	"html/template"
	"net/http"
	"slices"
	"strings"

	"telltale/engine/stream/audit"
	"telltale/engine/stream/sessions"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/rules/english"
)

const (
	minePath     = "/me/sessions"
	sessionsPath = "/people/sessions"
)

// ways are how somebody signed in, in words.
var ways = map[sessions.How]string{
	sessions.Link: "by a link in a mail", sessions.Code: "by a code from a mail", sessions.Passkey: "by a passkey",
	sessions.Fleet: "by the fleet's own sign-in", sessions.Pairing: "as a paired tablet",
}

// where is a device on which somebody is signed in, in words.
type where struct {
	ID, Device, How, Since, Seen string
	This                         bool
}

func whereOf(r *frame.Request, s *sessions.Session) where {
	at := func(day string, clock string) string { return day + ", " + clock }
	zone := r.Viewer.Zone
	w := where{ID: s.ID, Device: english.Capital(page.Clean(s.Device, 100)), How: ways[s.How],
		Since: at(r.Viewer.Day(s.Since), s.Since.In(zone).Format("15:04")), Seen: at(r.Viewer.Day(s.Seen), s.Seen.In(zone).Format("15:04"))}
	w.This = r.Viewer.SignedIn != nil && r.Viewer.SignedIn.Session == s.ID
	return w
}

// Mine is the part of the page about oneself that says where one is signed in.
func (d *Door) Mine(ctx context.Context, r *frame.Request) (template.HTML, error) {
	list, err := d.Sessions.Of(ctx, r.Viewer.Source(), d.Wall())
	if err != nil {
		return "", err
	}
	var all []where
	for i := range slices.Backward(list) {
		all = append(all, whereOf(r, &list[i]))
	}
	return templates.Body("mine", all)
}

// endMine ends one of the viewer's sessions, or all but the one that is looked with.
func (d *Door) endMine(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	now, who := d.Wall(), r.Viewer.Source()
	list, err := d.Sessions.Of(ctx, who, now)
	if err != nil {
		return nil, err
	}
	this := slices.IndexFunc(list, func(s sessions.Session) bool { return s.ID == r.Viewer.SignedIn.Session })
	if this < 0 || now.Sub(list[this].Since) >= frame.Recent { // ASVS 5.0.0, 7.5.2
		return d.askPage(ctx, r, &asking{Kept: keep(r), To: "/me"}, http.StatusForbidden, wordAgainHere)
	}
	p := &frame.Page{To: "/me", Noted: wordEnded}
	if r.PostForm.Get("all") != "" {
		return p, d.Sessions.EndAll(ctx, who, list[this].ID, now)
	}
	id := r.PostForm.Get("end")
	if !slices.ContainsFunc(list, func(s sessions.Session) bool { return s.ID == id }) {
		return &frame.Page{To: "/me", Nothing: true}, nil // it has ended, or is another's
	}
	return p, d.Sessions.End(ctx, id)
}

// someone is a person or a tablet, with where they are signed in.
type someone struct {
	Who, Name, Seen string
	Tablet          bool
	Where           []where
}

// everybody lists who is signed in where.
func (d *Door) everybody(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	list, err := d.Sessions.Of(ctx, "", d.Wall())
	if err != nil {
		return nil, err
	}
	by := map[string]*someone{}
	for i := range slices.Backward(list) {
		s := &list[i]
		if by[s.Who] == nil {
			by[s.Who] = &someone{Who: s.Who, Name: d.nameOf(s), Tablet: s.Tablet()}
		}
		by[s.Who].Where = append(by[s.Who].Where, whereOf(r, s))
	}
	var all []*someone
	for _, one := range by {
		one.Seen = one.Where[0].Seen
		all = append(all, one)
	}
	slices.SortFunc(all, func(a, b *someone) int { return cmp.Or(strings.Compare(a.Name, b.Name), strings.Compare(a.Who, b.Who)) })
	p := &frame.Page{Section: frame.More, Title: "Who is signed in", Lead: wordEverybody, Up: frame.Link{Words: "People", Path: "/people"}}
	p.Body, err = templates.Body("everybody", map[string]any{"All": all})
	return p, err
}

// nameOf is how people call who is signed in.
func (d *Door) nameOf(s *sessions.Session) string {
	if id, ok := strings.CutPrefix(s.Who, ofPeople); ok {
		if p := d.People().Person(id); p != nil {
			return page.Clean(p.Name, 200)
		}
	}
	return page.Clean(cmp.Or(s.Name, strings.TrimPrefix(strings.TrimPrefix(s.Who, ofPeople), ofDevices)), 200)
}

// endTheirs ends all sessions of a person or a tablet; of one's own all but this one.
func (d *Door) endTheirs(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	who := r.PostForm.Get("who")
	if !strings.HasPrefix(who, ofPeople) && !strings.HasPrefix(who, ofDevices) {
		return nil, frame.NotFound
	}
	err := d.Sessions.EndAll(ctx, who, r.Viewer.SignedIn.Session, d.Wall())
	return &frame.Page{To: sessionsPath, Noted: wordEndedOf + page.Clean(audit.Called(who), 200)}, err
}

// note writes into the trail what pages do that need no signing in.
func (d *Door) note(ctx context.Context, r *frame.Request, e audit.Entry) {
	if d.Audit == nil {
		return
	}
	e.From = audit.Network(d.Client(r.Request).String())
	d.Audit.Write(ctx, e)
}

// outcome is what became of something that was tried.
func outcome(err error) audit.Outcome {
	var fault *frame.Fault
	switch {
	case err == nil:
		return audit.Done
	case errors.As(err, &fault) && fault.Status < http.StatusInternalServerError:
		return audit.Refused
	}
	return audit.Failed
}
