// Package passkey has people sign in by a passkey: two factors in one, the device and what
// unlocks it (ASVS 5.0.0, 6.3.3). It keeps WebAuthn level 3 by a library; what is decided
// here is whose passkeys there are, who may make one or take one away, and what happens
// when one turns out to be copied.
//
// A ceremony has two steps. The script fetches what the browser is to sign, of which the
// board keeps a note for five minutes, bound to that browser by a cookie; and sends what the
// browser made of it as a form. The note is taken as the form comes in, so nothing serves
// twice.
package passkey

import (
	"context"
	"crypto/subtle"
	"embed"
	"encoding/json"
	"errors"
	"net/http"
	"time"

	"github.com/go-webauthn/webauthn/webauthn"

	"telltale/engine/stream/audit"
	"telltale/engine/stream/passkeys"
	"telltale/engine/stream/sessions"
	"telltale/notify/board/frame"
	"telltale/notify/board/signin"
	"telltale/notify/rights"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

const (
	// answers is how long somebody may take to unlock their device.
	answers = 5 * time.Minute
	// most passkeys of one person are kept.
	most = 10

	cookie  = "telltale-passkey"
	maxBody = 32 << 10

	signInPath = frame.SignIn + "/passkey"
	// MinePath is where people have their own.
	MinePath = "/me/passkeys"
)

// Room is the pages of passkeys.
type Room struct {
	*signin.Door
	Keys *passkeys.Store

	party *Party
	why   string
}

// New makes the room of a board where people sign in by a door.
func New(d *signin.Door) *Room {
	r := &Room{Door: d, Keys: passkeys.Open(d.Log)}
	r.party, r.why = PartyOf(d.URL)
	return r
}

// Why says why the board can have no passkeys, and what to do; "" where it can.
func (s *Room) Why() string { return s.why }

// Pages are the room's.
func (s *Room) Pages() []frame.Route {
	return []frame.Route{
		{Pattern: "GET " + signInPath, Needs: rights.Open, Handle: s.page},
		{Pattern: "POST " + signInPath + "/ask", Needs: rights.Open, Handle: s.askIn},
		{Pattern: "POST " + signInPath, Needs: rights.Open, MaxBody: maxBody, Handle: s.signIn},
		{Pattern: "GET " + MinePath, Handle: s.mine},
		{Pattern: "POST " + MinePath + "/ask", Handle: s.askNew},
		{Pattern: "POST " + MinePath, MaxBody: maxBody, Did: audit.PasskeyMade, Handle: s.add},
		{Pattern: "POST " + MinePath + "/remove", Did: audit.PasskeyGone, Handle: s.remove},
		{Pattern: "POST /people/{person}/passkeys/remove", Needs: rights.Change, Did: audit.PasskeyGone, Handle: s.removeAll},
	}
}

// asked is a ceremony that a browser began.
type asked struct {
	Is webauthn.SessionData `json:"is"`
	// Session is the sign-in of who makes a passkey; "" where somebody signs in.
	Session string `json:"session,omitempty"`
}

func askedKey(secret string) string { return "passkey." + sessions.Hash(secret) }

// begin keeps a note of what a browser is asked, and gives it the options.
func (s *Room) begin(ctx context.Context, r *frame.Request, a asked, options any) (*frame.Page, error) {
	secret, now := sessions.Secret(), s.Wall()
	if err := s.Sessions.Create(ctx, askedKey(secret), a, now, now.Add(answers)); err != nil {
		return nil, err
	}
	body, err := json.Marshal(options)
	if err != nil {
		return nil, err
	}
	p := &frame.Page{File: &frame.File{Type: "application/json", Body: body}, Header: http.Header{}}
	p.Header.Add("Set-Cookie", s.cookie(r, secret).String())
	return p, nil
}

// cookie binds a ceremony to the browser that began it. Nobody comes from elsewhere with it.
func (s *Room) cookie(r *frame.Request, secret string) *http.Cookie {
	return s.Cookie(r.Request, cookie, secret, answers, http.SameSiteStrictMode)
}

// errOver says that a ceremony was never begun here, took too long, or is over.
var errOver = errors.New("there is no such ceremony")

// ended takes the note of what the browser was asked: once.
func (s *Room) ended(ctx context.Context, r *frame.Request, session string) (a asked, err error) {
	c, err := r.Cookie(s.cookie(r, "").Name)
	if err != nil {
		return a, errOver
	}
	mark, err := s.Sessions.Get(ctx, askedKey(c.Value), s.Wall(), &a)
	if err == nil {
		err = s.Sessions.Take(ctx, mark)
	}
	switch {
	case errors.Is(err, sessions.ErrNone), errors.Is(err, sessions.ErrChanged):
		return a, errOver
	case err == nil && subtle.ConstantTimeCompare([]byte(a.Session), []byte(session)) != 1:
		return a, errOver // begun by somebody else, or for something else
	}
	return a, err
}

// holder is a person to the library.
type holder struct {
	*passkeys.Holder
	name string
}

// WebAuthnID implements [webauthn.User].
func (h holder) WebAuthnID() []byte { return h.Handle }

// WebAuthnName implements [webauthn.User]: what the device shows when it asks.
func (h holder) WebAuthnName() string { return h.name }

// WebAuthnDisplayName implements [webauthn.User].
func (h holder) WebAuthnDisplayName() string { return h.name }

// WebAuthnCredentials implements [webauthn.User]: those that can be read.
func (h holder) WebAuthnCredentials() (out []webauthn.Credential) {
	for _, k := range h.Keys {
		var c webauthn.Credential
		if err := json.Unmarshal(k.Credential, &c); err == nil {
			out = append(out, c)
		}
	}
	return out
}
