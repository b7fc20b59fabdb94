package passkey

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"

	"telltale/engine/stream/audit"
	"telltale/engine/stream/passkeys"
	"telltale/engine/stream/sessions"
	"telltale/notify/board/frame"
	"telltale/notify/board/signin"
)

// askIn has a browser sign for whoever it is of.
func (s *Room) askIn(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	if s.party == nil {
		return nil, noParty
	}
	options, is, err := s.party.BeginDiscoverableLogin(webauthn.WithUserVerification(protocol.VerificationRequired))
	if err != nil {
		return nil, err
	}
	return s.begin(ctx, r, asked{Is: *is}, options)
}

// signIn signs in whose passkey it is.
func (s *Room) signIn(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	if s.party == nil {
		return nil, noParty
	}
	person, err := s.whose(ctx, r)
	if err != nil {
		return s.refused(ctx, r, person, err)
	}
	now := s.Wall()
	return s.SignIn(ctx, r, sessions.Session{Who: "/people/" + person, How: sessions.Passkey, Strong: now}, r.PostForm.Get("to"))
}

// refusal is why a passkey does not open the door: Words for whoever tried, and what it was
// for the log.
type refusal struct {
	words string
	error
}

// whose is the person whose passkey signed what this browser was asked.
func (s *Room) whose(ctx context.Context, r *frame.Request) (person string, err error) {
	a, err := s.ended(ctx, r, "")
	if errors.Is(err, errOver) {
		return "", refusal{wordOver, err}
	} else if err != nil {
		return "", err
	}
	answer, err := protocol.ParseCredentialRequestResponseBytes([]byte(r.PostForm.Get("passkey")))
	if err != nil {
		return "", refusal{wordRefused, err}
	}
	h, err := s.Keys.By(ctx, answer.Response.UserHandle)
	who := s.People().Person(h.Person)
	switch {
	case errors.Is(err, passkeys.ErrNone), err == nil && who == nil:
		return "", refusal{wordUnknown, fmt.Errorf("nobody has a passkey of that handle: %w", passkeys.ErrNone)}
	case err != nil:
		return "", err
	case s.fleets(h.Person):
		return h.Person, refusal{wordFleet, fmt.Errorf("%q signs in at the fleet's provider", h.Person)}
	}
	copied := false
	err = s.Keys.Change(ctx, h.Person, func(h *passkeys.Holder) (err error) {
		copied, err = s.party.check(h, signin.MailOf(who), a.Is, answer, s.Wall())
		return err
	})
	if err == nil && copied {
		err = refusal{wordCopied, fmt.Errorf("a passkey of %q was used on two devices", h.Person)}
	}
	return h.Person, err
}

// check checks a signature for who has that mail address, by its hash, and notes in the
// passkey that it was used. A count of signatures that did not grow says that there are two
// of the passkey (WebAuthn level 3, 6.1.1): which of them is the thief's, nobody can tell, so
// neither opens anything from then on.
func (p *Party) check(h *passkeys.Holder, mail string, is webauthn.SessionData, answer *protocol.ParsedCredentialAssertionData, now time.Time) (copied bool, err error) {
	k := h.Key(answer.RawID)
	switch {
	case k == nil:
		return false, refusal{wordUnknown, fmt.Errorf("%q has no such passkey", h.Person)}
	case !k.Copied.IsZero():
		return false, refusal{wordCopied, fmt.Errorf("a passkey of %q was used on two devices before", h.Person)}
	case !k.Opens(mail):
		return false, refusal{wordUnknown, fmt.Errorf("a passkey of %q was made by who had another address", h.Person)}
	}
	_, c, err := p.ValidatePasskeyLogin(func(_, _ []byte) (webauthn.User, error) { return holder{Holder: h}, nil }, is, answer)
	if err != nil {
		return false, refusal{wordRefused, err}
	}
	if c.Authenticator.CloneWarning {
		k.Copied = now.UTC()
		return true, nil
	}
	k.Used = now.UTC()
	k.Credential, err = json.Marshal(c)
	return false, err
}

// refused shows the page again with what was wrong, and writes down who was to be signed in;
// "" where that is not known.
func (s *Room) refused(ctx context.Context, r *frame.Request, person string, err error) (*frame.Page, error) {
	no, ok := errors.AsType[refusal](err)
	if !ok {
		return nil, err
	}
	s.Logger.Warn("a passkey was refused", "error", no.error)
	if s.Audit != nil {
		e := audit.Entry{What: audit.SignIn, How: audit.Passkey, From: audit.Network(s.Client(r.Request).String()), Outcome: audit.Refused, Why: no.words}
		if person != "" {
			e.Words = "/people/" + person // who came is not known
		}
		s.Audit.Write(ctx, e)
	}
	return s.pageWith(ctx, r, no.words, http.StatusForbidden)
}

var noParty = &frame.Fault{Status: http.StatusNotFound, Title: wordNoParty}
