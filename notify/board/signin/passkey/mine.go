package passkey

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"net/http"
	"slices"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"

	"telltale/engine/stream/passkeys"
	"telltale/engine/stream/sessions"
	"telltale/notify/board/frame"
	"telltale/notify/board/signin"
	"telltale/notify/rights"
	"telltale/rules/english"
)

// first is what somebody must do before they make a passkey or take one away.
type first struct {
	Words string
	Do    frame.Link
}

// firstOf says what that is; nil for nothing. Who may change who else comes in and has a
// passkey shows it: else whoever reads their mail could make one, and asking for passkeys
// would guard nothing. Everybody else has signed in lately.
func (s *Room) firstOf(ctx context.Context, r *frame.Request, h *passkeys.Holder) (*first, error) {
	now, to := s.Wall(), signin.OwnPath(r.FormValue("to"))
	if r.Viewer.SignedIn.Lately {
		return nil, nil
	}
	back := frame.Back(MinePath, to)
	if s.has(r, h) && r.Viewer.Access.Anywhere(rights.Change) {
		return &first{wordStrongDo, frame.Link{Words: wordStrong, Path: frame.Back(signInPath, back)}}, nil
	}
	list, err := s.Sessions.Of(ctx, r.Viewer.Source(), now)
	if err != nil {
		return nil, err
	}
	mine := func(one sessions.Session) bool {
		return one.ID == r.Viewer.SignedIn.Session && now.Sub(one.Since) < frame.Recent
	}
	if slices.ContainsFunc(list, mine) {
		return nil, nil
	}
	return &first{wordFirstDo, frame.Link{Words: wordFirst, Path: frame.Back(frame.SignIn, back)}}, nil
}

// myself is who looks, with their passkeys; a tablet has none.
func (s *Room) myself(ctx context.Context, r *frame.Request) (passkeys.Holder, error) {
	switch {
	case s.party == nil || r.Viewer.SignedIn == nil:
		return passkeys.Holder{}, noParty
	case r.Viewer.SignedIn.Tablet:
		return passkeys.Holder{}, &frame.Fault{Status: http.StatusForbidden, Title: wordPerson}
	case s.fleets(r.Viewer.ID):
		return passkeys.Holder{}, &frame.Fault{Status: http.StatusForbidden, Title: wordFleet}
	}
	return s.Keys.Of(ctx, r.Viewer.ID)
}

// has reports whether a passkey of the viewer opens the door.
func (s *Room) has(r *frame.Request, h *passkeys.Holder) bool {
	return h.Opening(signin.MailOf(r.Viewer.Person)) > 0
}

// fleets reports whether a person signs in at the fleet's own provider, and so by no passkey
// of this board.
func (s *Room) fleets(person string) bool {
	p := s.People().Person(person)
	return p != nil && s.Elsewhere != nil && s.Elsewhere(p)
}

// line is a passkey on the page.
type line struct {
	ID, Device, Added, Used string
	Copied, Other           bool // why it opens nothing
}

// mine is the viewer's passkeys.
func (s *Room) mine(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	return s.mineWith(ctx, r, "", 0)
}

func (s *Room) mineWith(ctx context.Context, r *frame.Request, wrong string, status int) (*frame.Page, error) {
	h, err := s.myself(ctx, r)
	if err != nil {
		return nil, err
	}
	f, err := s.firstOf(ctx, r, &h)
	if err != nil {
		return nil, err
	}
	to := r.FormValue("to")
	if to != "" {
		to = signin.OwnPath(to)
	}
	data := struct {
		Lines  []line
		First  *first
		Button *frame.Passkey
		Says   string
		On     string
	}{First: f, Says: wordOfferIs, On: to}
	for _, k := range h.Keys {
		l := line{ID: hex.EncodeToString(k.ID), Device: english.Capital(k.Device), Added: r.Viewer.Day(k.Added), Copied: !k.Copied.IsZero()}
		l.Other = !l.Copied && !k.Opens(signin.MailOf(r.Viewer.Person))
		if !k.Used.IsZero() {
			l.Used = r.Viewer.Day(k.Used)
		}
		data.Lines = append(data.Lines, l)
	}
	if f == nil && len(h.Keys) < most {
		data.Button = &frame.Passkey{Make: true, Path: MinePath, Says: wordMake, At: s.party.Origin, Words: wordsMake, Hidden: []frame.Hidden{{Name: "to", Value: to}}}
	}
	p := &frame.Page{Title: "Passkeys", Lead: wrong, Status: status, Up: frame.Link{Words: "You", Path: "/me"}}
	if to != "" && !s.has(r, &h) {
		p.Title, p.Up = wordOffer, frame.Link{}
	}
	p.Body, err = templates.Body("mine", data)
	return p, err
}

// errFirst says that somebody must do something else first, as the page says.
var errFirst = errors.New("sign in again first")

// maker is who looks, if they may make a passkey or take one away just now.
func (s *Room) maker(ctx context.Context, r *frame.Request) (passkeys.Holder, error) {
	h, err := s.myself(ctx, r)
	if err != nil {
		return h, err
	}
	if f, err := s.firstOf(ctx, r, &h); f != nil || err != nil {
		return h, errors.Join(err, errFirst)
	}
	return h, nil
}

// askNew has the browser make a passkey.
func (s *Room) askNew(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	h, err := s.maker(ctx, r)
	if errors.Is(err, errFirst) {
		return nil, &frame.Fault{Status: http.StatusForbidden, Title: wordFirst}
	} else if err != nil {
		return nil, err
	}
	if h.Handle == nil {
		if err := s.Keys.Change(ctx, h.Person, offered); err != nil {
			return nil, err
		}
		if h, err = s.Keys.Of(ctx, h.Person); err != nil {
			return nil, err
		}
	}
	user := holder{&h, r.Viewer.Name}
	// A device that has one already makes no other.
	options, is, err := s.party.BeginRegistration(user, webauthn.WithExclusions(webauthn.Credentials(user.WebAuthnCredentials()).CredentialDescriptors()))
	if err != nil {
		return nil, err
	}
	return s.begin(ctx, r, asked{Is: *is, Session: r.Viewer.SignedIn.Session}, options)
}

func offered(h *passkeys.Holder) error {
	h.Offered = true
	return nil
}

// add takes in the passkey that the browser made.
func (s *Room) add(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	h, err := s.maker(ctx, r)
	if err == nil {
		err = s.take(ctx, r, &h)
	}
	if errors.Is(err, errFirst) {
		return s.mineWith(ctx, r, wordFirst+".", http.StatusForbidden)
	}
	if no, ok := errors.AsType[refusal](err); ok {
		s.Logger.Warn("a passkey was not taken", "person", h.Person, "error", no.error)
		return s.mineWith(ctx, r, no.words, http.StatusUnprocessableEntity)
	}
	if err != nil {
		return nil, err
	}
	if to := r.PostForm.Get("to"); to != "" {
		return &frame.Page{To: signin.OwnPath(to)}, nil
	}
	return &frame.Page{To: MinePath}, nil
}

func (s *Room) take(ctx context.Context, r *frame.Request, h *passkeys.Holder) error {
	a, err := s.ended(ctx, r, r.Viewer.SignedIn.Session)
	if errors.Is(err, errOver) {
		return refusal{wordOver, err}
	} else if err != nil {
		return err
	}
	k, err := s.party.made(holder{h, r.Viewer.Name}, a.Is, []byte(r.PostForm.Get("passkey")))
	if err != nil {
		return refusal{wordNotTaken, err}
	}
	k.Device, k.Added, k.Mail = sessions.Device(r.UserAgent()), s.Wall().UTC(), signin.MailOf(r.Viewer.Person)
	return s.Keys.Change(ctx, h.Person, func(h *passkeys.Holder) error {
		switch {
		case h.Key(k.ID) != nil:
			return refusal{wordTwice, errors.New("a passkey of that id is there")}
		case len(h.Keys) >= most:
			return refusal{wordMost, errors.New("there are too many")}
		}
		h.Keys = append(h.Keys, k)
		return nil
	})
}

// made is the passkey that a browser made, checked.
func (p *Party) made(h holder, is webauthn.SessionData, answer []byte) (k passkeys.Key, err error) {
	parsed, err := protocol.ParseCredentialCreationResponseBytes(answer)
	if err != nil {
		return k, err
	}
	c, err := p.CreateCredential(h, is, parsed)
	if err != nil {
		return k, err
	}
	k.ID = c.ID
	k.Credential, err = json.Marshal(c)
	return k, err
}

// remove takes one of the viewer's passkeys away.
func (s *Room) remove(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	h, err := s.maker(ctx, r)
	switch {
	case errors.Is(err, errFirst):
		return s.mineWith(ctx, r, wordFirst+".", http.StatusForbidden)
	case err != nil:
		return nil, err
	}
	id, _ := hex.DecodeString(r.PostForm.Get("id")) // no id is of no passkey
	if h.Key(id) == nil {
		return s.mineWith(ctx, r, wordGone, http.StatusNotFound)
	}
	err = s.Keys.Change(ctx, h.Person, func(h *passkeys.Holder) error {
		h.Keys = slices.DeleteFunc(h.Keys, func(k passkeys.Key) bool { return slices.Equal(k.ID, id) })
		return nil
	})
	return &frame.Page{To: MinePath}, err
}

// removeAll takes all passkeys of somebody away, who lost a device, and signs them out
// everywhere.
func (s *Room) removeAll(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	person := r.PathValue("person")
	h, err := s.Keys.Of(ctx, person)
	if err != nil {
		return nil, err
	}
	if len(h.Keys) > 0 {
		err = s.Keys.Change(ctx, person, func(h *passkeys.Holder) error { h.Keys = nil; return nil })
	}
	but := ""
	if person == r.Viewer.ID && r.Viewer.SignedIn != nil {
		but = r.Viewer.SignedIn.Session
	}
	err = errors.Join(err, s.Sessions.EndAll(ctx, "/people/"+person, but, s.Wall()))
	return &frame.Page{To: "/people", Noted: "/people/" + person}, err
}
