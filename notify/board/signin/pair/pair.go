// Package pair pairs a workshop's tablet, which has no mailbox and is no one person, as the
// device authorization of RFC 8628 does it: the tablet shows six digits, somebody who may
// types them in elsewhere and says what the tablet is for, and a press on the tablet lets
// it in. It is signed in as "/devices/north-bay-2" with one entry of rights, for a year.
//
// What is promised: digits serve for ten minutes, for the tablet that asked for them alone,
// which its cookie tells; whoever types them in gets nothing by it. Who types them in has
// shown two factors lately, and sees which device asked, when and from where before it is
// let in (RFC 8628, section 5.4). What a tablet may do is asked of people.yaml at each
// request.
//
// How likely it is that digits typed by chance are of some tablet that waits (section 5.1):
// 40 tablets wait at the most, and a person tries 20 times in ten minutes at the most, so it
// is 800 in a million in ten minutes of guessing, by one who may pair tablets anyhow.
package pair

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"embed"
	"errors"
	"fmt"
	"math/big"
	"net/http"
	"strings"
	"time"

	"telltale/engine/stream/audit"
	"telltale/engine/stream/sessions"
	"telltale/notify/board/frame"
	"telltale/notify/board/limits"
	"telltale/notify/board/signin"
	"telltale/notify/rights"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

const (
	// waits is how long digits serve.
	waits = 10 * time.Minute
	// looks is how often a tablet looks whether somebody has typed them in.
	looks  = 5 * time.Second
	digits = 6

	cookie     = "telltale-pair"
	tabletPath = "/pair"
	typePath   = "/people/pair"
)

// Room is the pages of pairing.
type Room struct {
	*signin.Door
	asks, address, tries *limits.By
}

// Way is where a tablet begins, for the page of signing in.
var Way = frame.Link{Words: "This is a workshop's tablet", Path: tabletPath}

// New makes the room of a board where people sign in by a door.
func New(d *signin.Door) *Room {
	return &Room{Door: d, asks: limits.Each(limits.Rate{Most: 20, Per: waits}), address: limits.Each(limits.Rate{Most: 5, Per: waits}),
		tries: limits.Each(limits.Rate{Most: 10, Per: waits})}
}

// Pages are the room's: those of the tablet, and those of whoever lets it in.
func (s *Room) Pages() []frame.Route {
	return []frame.Route{
		{Pattern: "GET " + tabletPath, Needs: rights.Open, Handle: s.shown},
		{Pattern: "POST " + tabletPath, Needs: rights.Open, Handle: s.ask},
		{Pattern: "POST " + tabletPath + "/start", Needs: rights.Open, Handle: s.start},
		{Pattern: "GET " + typePath, Needs: rights.Change, Handle: s.typing},
		{Pattern: "POST " + typePath, Needs: rights.Change, Did: audit.Paired, Handle: s.typed},
		{Pattern: "POST " + typePath + "/tablet", Needs: rights.Change, Did: audit.Paired, Handle: s.let},
	}
}

// waiting is a tablet that shows its digits.
type waiting struct {
	// Tablet is the hash of what its cookie holds.
	Tablet string    `json:"tablet"`
	Device string    `json:"device"`
	From   string    `json:"from"` // its network
	Asked  time.Time `json:"asked"`
	Is     *tablet   `json:"is,omitempty"` // nil until somebody lets it in
}

// tablet is what it shall be.
type tablet struct {
	ID    string `json:"id"`
	Name  string `json:"name"`
	Entry string `json:"entry"` // of rights
	By    string `json:"by"`    // who let it in
}

func key(code string) string { return "pair." + code }

// newDigits draws six, each number as likely as any other.
func newDigits() string {
	n, err := rand.Int(rand.Reader, big.NewInt(1_000_000))
	if err != nil {
		panic(err) // it never fails: crypto/rand ends the process itself
	}
	return fmt.Sprintf("%0*d", digits, n)
}

// ask has a tablet wait, and gives it its digits.
func (s *Room) ask(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	now, from := s.Wall(), s.Client(r.Request)
	if wait := limits.Take(now, limits.Use{Of: s.address, Key: limits.Key(from)}, limits.Use{Of: s.asks, Key: "all"}); wait > 0 {
		return nil, &frame.Fault{Status: http.StatusTooManyRequests, Title: wordMany, Words: wordManyDo, After: wait}
	}
	secret := sessions.Secret()
	w := waiting{Tablet: sessions.Hash(secret), Device: sessions.Device(r.UserAgent()), From: audit.Network(from.String()), Asked: now.UTC()}
	for {
		code := newDigits()
		err := s.Sessions.Create(ctx, key(code), w, now, now.Add(waits))
		if errors.Is(err, sessions.ErrChanged) {
			continue // another tablet has these
		} else if err != nil {
			return nil, err
		}
		p := &frame.Page{To: tabletPath, Header: http.Header{}}
		p.Header.Add("Set-Cookie", s.cookie(r, code+"."+secret, waits).String())
		return p, nil
	}
}

// cookie binds digits to the tablet that shows them.
func (s *Room) cookie(r *frame.Request, value string, lasts time.Duration) *http.Cookie {
	return s.Cookie(r.Request, cookie, value, lasts, http.SameSiteStrictMode)
}

// mine is what waits of the tablet that asks; [sessions.ErrNone] where nothing does.
func (s *Room) mine(ctx context.Context, r *frame.Request) (code string, w waiting, mark sessions.Mark, err error) {
	c, err := r.Cookie(s.cookie(r, "", 0).Name)
	if err != nil {
		return "", w, mark, sessions.ErrNone
	}
	code, secret, _ := strings.Cut(c.Value, ".")
	if !six(code) {
		return "", w, mark, sessions.ErrNone
	}
	mark, err = s.Sessions.Get(ctx, key(code), s.Wall(), &w)
	if err == nil && subtle.ConstantTimeCompare([]byte(w.Tablet), []byte(sessions.Hash(secret))) != 1 {
		err = sessions.ErrNone // of another tablet that has the digits now
	}
	return code, w, mark, err
}

func six(code string) bool { return len(code) == digits && strings.Trim(code, "0123456789") == "" }

// shown is what a tablet sees: a button, then its digits, then that it is let in. Nothing is
// changed by looking.
func (s *Room) shown(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	code, w, _, err := s.mine(ctx, r)
	if err != nil && !errors.Is(err, sessions.ErrNone) {
		return nil, err
	}
	p := &frame.Page{Title: wordTablet}
	switch {
	case err != nil:
		p.Lead = wordTabletIs
		if id := r.Viewer.SignedIn; id != nil && id.Tablet {
			p.Lead = fmt.Sprintf(wordIsPaired, r.Viewer.Name)
		}
		p.Body, err = templates.Body("ask", nil)
	case w.Is != nil:
		p.Title, p.Lead = wordReady, fmt.Sprintf(wordReadyIs, w.Is.Name, w.Is.Entry)
		p.Body, err = templates.Body("ready", nil)
	default:
		// Without a script, which a tablet may not run, the page comes again by itself.
		p.Header = http.Header{"Refresh": {fmt.Sprint(int(looks / time.Second))}}
		until := w.Asked.Add(waits).In(r.Viewer.Zone).Format("15:04")
		p.Body, err = templates.Body("digits", map[string]string{"First": code[:digits/2], "Last": code[digits/2:], "Until": until})
	}
	return p, err
}

// start lets in a tablet that somebody named.
func (s *Room) start(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	_, w, mark, err := s.mine(ctx, r)
	if err == nil && w.Is == nil {
		return &frame.Page{To: tabletPath}, nil
	}
	if err == nil {
		if err = s.taken(ctx, w.Is.ID); err == nil {
			err = s.Sessions.Take(ctx, mark)
		}
	}
	switch {
	case errors.Is(err, sessions.ErrNone), errors.Is(err, sessions.ErrChanged):
		return &frame.Page{To: tabletPath}, nil
	case errors.Is(err, errTaken):
		return nil, &frame.Fault{Status: http.StatusConflict, Title: wordTaken}
	case err != nil:
		return nil, err
	}
	p, err := s.SignIn(ctx, r, sessions.Session{Who: ofDevices + w.Is.ID, How: sessions.Pairing, Entry: w.Is.Entry, Name: w.Is.Name}, "/")
	if err == nil {
		p.Header.Add("Set-Cookie", s.cookie(r, "", 0).String())
	}
	return p, err
}

const ofDevices = "/devices/"

// errTaken says that a tablet of that id is signed in.
var errTaken = errors.New("there is a tablet of that id")

// taken is an error where a tablet of that id is signed in already.
func (s *Room) taken(ctx context.Context, id string) error {
	list, err := s.Sessions.Of(ctx, ofDevices+id, s.Wall())
	if err == nil && len(list) > 0 {
		err = errTaken
	}
	return err
}

// Example is how rights are written that a tablet can have.
const Example = "rights:\n  the north workshop:\n    who: [north]\n    may: workshop\n    where: vehicle.tags[\"depot\"] == \"north\""
