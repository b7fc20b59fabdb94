package signin

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/mail"
	"slices"
	"strconv"
	"strings"
	"time"

	"telltale/engine/stream/audit"
	"telltale/engine/stream/sessions"
	"telltale/notify/board/frame"
	"telltale/notify/board/limits"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/notify/rights"
	"telltale/rules/english"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

const (
	sentPath    = frame.SignIn + "/sent"
	signOutPath = "/sign-out"
	// mostSent bounds a form of signing in, which may bring another one along.
	mostSent = 3 * mostKept
)

// Pages are those of a door.
func Pages(d *Door) []frame.Route {
	all := []frame.Route{
		{Pattern: "GET " + frame.SignIn, Needs: rights.Open, Handle: d.signIn},
		{Pattern: "POST " + frame.SignIn, Needs: rights.Open, Handle: d.askFor, MaxBody: mostSent},
		{Pattern: "GET " + sentPath, Needs: rights.Open, Handle: d.sent},
		{Pattern: "POST " + sentPath, Needs: rights.Open, Handle: d.byCode, MaxBody: mostSent},
		{Pattern: "GET " + frame.SignIn + "/{token}", Needs: rights.Open, Handle: d.link},
		{Pattern: "POST " + frame.SignIn + "/{token}", Needs: rights.Open, Handle: d.byLink},
		{Pattern: "POST " + signOutPath, Needs: rights.Open, Handle: d.signOut},
		{Pattern: "POST " + minePath, Handle: d.endMine, Did: audit.SessionEnded},
		{Pattern: "GET " + sessionsPath, Needs: rights.Watch, Handle: d.everybody},
		{Pattern: "POST " + sessionsPath, Needs: rights.Change, Handle: d.endTheirs, Did: audit.SessionEnded},
	}
	return d.WhileAsked(all)
}

// WhileAsked has pages be there while people must sign in, and not otherwise.
func (d *Door) WhileAsked(all []frame.Route) []frame.Route {
	all = slices.Clone(all)
	for i, route := range all {
		all[i].Handle = func(ctx context.Context, r *frame.Request) (*frame.Page, error) {
			if !d.SignsIn() { // just now, as people.yaml has it
				return nil, frame.NotFound
			}
			return route.Handle(ctx, r)
		}
	}
	return all
}

// asking is the page on which one asks for a mail.
type asking struct {
	Address, To string
	Fault       string
	Kept        *kept
	Ways        []frame.Link
	Also        template.HTML
	// Again: somebody is signed in, and shows more for what they are about to do. Two: a link in
	// a mail is not enough for that, so none is offered.
	Again, Two bool
}

// hidden are the fields that another form of the page takes along, as this one does.
func (a *asking) hidden() (out []frame.Hidden) {
	if a.To != "" {
		out = append(out, frame.Hidden{Name: "to", Value: a.To})
	}
	if a.Kept != nil {
		out = append(out, frame.Hidden{Name: "kept", Value: a.Kept.Form}, frame.Hidden{Name: "kept-to", Value: a.Kept.To})
	}
	return out
}

func (d *Door) askPage(ctx context.Context, r *frame.Request, a *asking, status int, lead string) (*frame.Page, error) {
	p := &frame.Page{Title: wordAsk, Lead: lead, Status: status}
	a.Again, a.Two = r.Viewer.SignedIn != nil, lead == wordAgain
	if a.Fault != "" {
		p.Title = wordNotYet + p.Title
	}
	for _, w := range d.Ways {
		a.Ways = append(a.Ways, frame.Link{Words: w.Words, Path: frame.Back(w.Path, a.To)})
	}
	if d.Tablet.Path != "" && !a.Again {
		a.Ways = append(a.Ways, d.Tablet)
	}
	if d.Also != nil {
		also, err := d.Also(ctx, r, a.hidden())
		if err != nil {
			return nil, err
		}
		a.Also = also
	}
	var err error
	p.Body, err = templates.Body("ask", a)
	return p, err
}

func (d *Door) signIn(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	lead := wordAskLead
	switch q := r.URL.Query(); {
	case q.Has("out"):
		lead = wordOutLead
	case q.Has("again") && r.Viewer.SignedIn != nil:
		lead = wordAgain
	}
	return d.askPage(ctx, r, &asking{To: ownPath(r.URL.Query().Get("to"))}, http.StatusOK, lead)
}

// askFor has a mail sent, and answers before it is known whether there is anybody to send
// it to.
func (d *Door) askFor(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a := asking{Address: strings.TrimSpace(r.PostForm.Get("email")), To: ownPath(r.PostForm.Get("to")), Kept: keptIn(r.Request)}
	if !address(a.Address) {
		a.Fault = wordNoMail
		a.Address = page.Clean(a.Address, mostAddress)
		return d.askPage(ctx, r, &a, http.StatusUnprocessableEntity, "")
	}
	now := d.Wall()
	noted := audit.Entry{What: audit.LinkAsked, Outcome: audit.Refused, Words: d.namesAt(a.Address)}
	defer func() { d.note(ctx, r, noted) }()
	if wait := d.mails.Take(strings.ToLower(a.Address), limits.Key(d.Client(r.Request)), now); wait > 0 {
		noted.Why = wordTooOften[:strings.IndexByte(wordTooOften, '.')]
		a.Fault = fmt.Sprintf(wordTooOften, english.Plural(int(wait/time.Minute)+1, "minute"))
		p, err := d.askPage(ctx, r, &a, http.StatusTooManyRequests, "")
		if err == nil {
			p.Header = http.Header{"Retry-After": {strconv.Itoa(int(wait/time.Second) + 1)}}
		}
		return p, err
	}
	cookie, posts, err := d.ask(ctx, a.Address, a.To, now)
	if err != nil {
		d.Logger.Error("asking for a mail to sign in", "error", err)
		noted.Outcome = audit.Failed
		a.Fault = wordTrouble
		return d.askPage(ctx, r, &a, http.StatusServiceUnavailable, "")
	}
	noted.Outcome = audit.Done
	device := sessions.Device(r.UserAgent())
	d.posts.Go(func() { d.send(context.WithoutCancel(ctx), posts, device, now) })
	p := &frame.Page{To: sentPath}
	if a.Kept != nil { // which goes with the page
		if p, err = d.sentPage(&sending{Address: a.Address, Kept: a.Kept}, http.StatusOK); err != nil {
			return nil, err
		}
	}
	p.Header = http.Header{}
	d.set(p.Header, r.Request, askedCookie, cookie, serves)
	return p, nil
}

// mostAddress is how long an address can be (RFC 5321, section 4.5.3.1.3).
const mostAddress = 254

func address(text string) bool {
	a, err := mail.ParseAddress(text)
	return err == nil && a.Address == text && len(text) <= mostAddress
}

// sending is the page on which one waits for a mail.
type sending struct {
	Address, Fault string
	Kept           *kept
}

func (d *Door) sentPage(s *sending, status int) (*frame.Page, error) {
	p := &frame.Page{Title: wordSent, Lead: fmt.Sprintf(wordSentLead, page.Clean(s.Address, mostAddress)), Status: status}
	if s.Fault != "" {
		p.Title = wordNotYet + p.Title
	}
	var err error
	p.Body, err = templates.Body("sent", s)
	return p, err
}

// askedBy is what a browser asked for; [sessions.ErrNone] where it asked for nothing that
// still serves.
func (d *Door) askedBy(ctx context.Context, r *frame.Request) (a asked, mark sessions.Mark, cookie string, err error) {
	if cookie = d.read(r.Request, askedCookie); cookie == "" {
		return a, mark, "", sessions.ErrNone
	}
	mark, err = d.Sessions.Get(ctx, askedKey(cookie), d.Wall(), &a)
	return a, mark, cookie, err
}

func (d *Door) sent(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, _, _, err := d.askedBy(ctx, r)
	switch {
	case errors.Is(err, sessions.ErrNone):
		return &frame.Page{To: frame.SignIn}, nil
	case err != nil:
		return nil, err
	}
	return d.sentPage(&sending{Address: a.Address}, http.StatusOK)
}

// byCode signs in who types the code of the mail.
func (d *Door) byCode(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, mark, cookie, err := d.askedBy(ctx, r)
	s := sending{Address: a.Address, Kept: keptIn(r.Request)}
	switch {
	case errors.Is(err, sessions.ErrNone):
		return d.askPage(ctx, r, &asking{Kept: s.Kept, Fault: wordNotKnown, To: "/"}, http.StatusUnprocessableEntity, "")
	case err != nil:
		return nil, err
	}
	code := strings.Join(strings.FieldsFunc(r.PostForm.Get("code"), func(r rune) bool { return r == ' ' || r == '-' || r == '\u00a0' }), "")
	if len(code) != codeDigits || strings.Trim(code, "0123456789") != "" {
		s.Fault = wordSixDigit
		return d.sentPage(&s, http.StatusUnprocessableEntity)
	}
	ok, err := d.try(ctx, cookie, a.Address, d.Wall())
	if err != nil {
		return nil, err
	}
	l := a.coded(cookie, code)
	if !ok || l == nil || d.People().Person(l.Person) == nil {
		s.Fault = wordNoCode
		d.note(ctx, r, audit.Entry{What: audit.SignIn, How: audit.Code, Outcome: audit.Refused, Why: wordWrong, Words: d.namesAt(a.Address)})
		return d.sentPage(&s, http.StatusUnprocessableEntity)
	}
	return d.use(ctx, r, mark, sessions.Session{Who: ofPeople + l.Person, How: sessions.Code}, a.To)
}

// use uses the mail up: of several who press at once, one signs in, and the others get the
// page that says that it is used.
func (d *Door) use(ctx context.Context, r *frame.Request, mark sessions.Mark, s sessions.Session, to string) (*frame.Page, error) {
	switch err := d.Sessions.Take(ctx, mark); {
	case errors.Is(err, sessions.ErrChanged):
		return d.noLink(ctx, r)
	case err != nil:
		return nil, err
	}
	if d.Offer != nil {
		offer, err := d.Offer(ctx, strings.TrimPrefix(s.Who, ofPeople), to)
		if err != nil {
			d.Logger.Error("offering another way to sign in", "error", err) // which can wait
		} else {
			to = offer
		}
	}
	return d.SignIn(ctx, r, s, to)
}

func (d *Door) noLink(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	if r.Method == http.MethodPost {
		d.note(ctx, r, audit.Entry{What: audit.SignIn, How: audit.Link, Outcome: audit.Refused, Why: wordWrong})
	}
	p := &frame.Page{Title: wordNoLink, Lead: wordNoLinkDo, Status: http.StatusForbidden}
	var err error
	p.Body, err = templates.Body("again", nil)
	return p, err
}

// pressed is whom a link signs in, in the browser that asked for it; nil for every other.
func (d *Door) pressed(ctx context.Context, r *frame.Request) (a asked, mark sessions.Mark, who *people.Person, err error) {
	a, mark, _, err = d.askedBy(ctx, r)
	switch {
	case errors.Is(err, sessions.ErrNone):
		return a, mark, nil, nil
	case err != nil:
		// The frame would log the address, in which the link's secret stands.
		d.Logger.Error("reading a link for signing in", "error", err)
		return a, mark, nil, &frame.Fault{Status: http.StatusServiceUnavailable, Title: wordTrouble, After: time.Minute}
	}
	if l := a.linked(r.PathValue("token")); l != nil {
		who = d.People().Person(l.Person)
	}
	return a, mark, who, nil
}

// link shows the button. Programs that look at links in mails open them, so that opening
// one does nothing.
func (d *Door) link(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	_, _, who, err := d.pressed(ctx, r)
	switch {
	case err != nil:
		return nil, err
	case who == nil:
		return d.noLink(ctx, r)
	}
	p := &frame.Page{Title: wordIsIt, Lead: fmt.Sprintf(wordIsItLead, page.Clean(who.Name, 200), sessions.Device(r.UserAgent()))}
	p.Body, err = templates.Body("press", frame.Path("sign-in", r.PathValue("token")))
	return p, err
}

// byLink signs in who presses it.
func (d *Door) byLink(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, mark, who, err := d.pressed(ctx, r)
	switch {
	case err != nil:
		return nil, err
	case who == nil:
		return d.noLink(ctx, r)
	}
	p, err := d.use(ctx, r, mark, sessions.Session{Who: ofPeople + who.ID, How: sessions.Link}, a.To)
	if err != nil {
		d.Logger.Error("signing in by a link", "person", who.ID, "error", err)
		return nil, &frame.Fault{Status: http.StatusServiceUnavailable, Title: wordTrouble, After: time.Minute}
	}
	return p, nil
}
