// Package sessions keeps who is signed in, where, and since when, in the log of the
// service: any of its replicas finds what another began, and ends it.
//
// A session is known by a token that its device alone holds; what is kept is the token's
// hash. It ends when nobody used it for some time, at its absolute end, when it is ended
// here or elsewhere, and when the same person has begun ten later ones. Nothing here knows a
// clock: now is an argument, the time by the clock on the wall.
//
//	token, err := s.Begin(ctx, sessions.Session{Who: "/people/ines", How: sessions.Link}, now)
//	one, err := s.Find(ctx, token, now) // errors.Is(err, sessions.ErrNone): sign in
//
// [Bucket] beneath it keeps whatever else has an end, as links for signing in do.
package sessions

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"time"

	"telltale/engine/stream"
)

// How is by what somebody signed in.
type How string

// The ways of signing in.
const (
	Link    How = "link"    // in a mail
	Code    How = "code"    // of the same mail, typed
	Passkey How = "passkey" // two factors: the device, and what unlocks it
	Fleet   How = "fleet"   // the fleet's own sign-in
	Pairing How = "pairing" // of a tablet, by somebody who was signed in
)

// How long sessions last, and how many a person may have. They are longer than NIST SP
// 800-63B has them (12 hours, and 30 minutes unused, at its second level; from memory): the worst
// that comes of a device in wrong hands is a false entry, which is signed, shown to others,
// and can be taken back. Whoever changes more has to sign in again for it.
const (
	IdlePerson   = 7 * 24 * time.Hour
	IdleOperator = 12 * time.Hour
	IdleDevice   = 30 * 24 * time.Hour
	WholePerson  = 30 * 24 * time.Hour
	WholeDevice  = 365 * 24 * time.Hour
	Most         = 10 // of one person; where one more begins, the oldest ends
	// noted is how often it is written down that a session is used.
	noted = 10 * time.Minute
)

// Session is one device on which somebody is signed in.
type Session struct {
	// ID names the session: the hash of its token, which opens nothing.
	ID string `json:"-"`
	// Who is signed in, as the source of what they enter has it: "/people/ines", or for a
	// tablet that was paired "/devices/north-bay-2".
	Who string `json:"who"`
	How How    `json:"how"`
	// Since is when it began, Seen when it was used last, to ten minutes.
	Since time.Time `json:"since"`
	Seen  time.Time `json:"seen"`
	// Strong is when two factors were shown last; zero where they never were.
	Strong time.Time `json:"strong,omitzero"`
	// Device says in words what asked: "a phone", see [Device].
	Device string `json:"device"`
	// Mail is the [Hash] of the person's mail address as they signed in; "" where they had none.
	Mail string `json:"mail,omitempty"`
	// Subject is the [Hash] of what the fleet's own sign-in knows the person by; "" where they
	// signed in otherwise.
	Subject string `json:"subject,omitempty"`
	// Entry is that of `rights` which a paired tablet has, Name how people call the tablet;
	// both "" for a person.
	Entry string `json:"entry,omitempty"`
	Name  string `json:"name,omitempty"`
}

// Tablet reports whether it is of a tablet that was paired, not of a person.
func (s *Session) Tablet() bool { return strings.HasPrefix(s.Who, "/devices/") }

// whole is how long it lasts at the most.
func (s *Session) whole() time.Duration {
	if s.Tablet() {
		return WholeDevice
	}
	return WholePerson
}

// Sessions are all that there are. They are safe for concurrent use.
type Sessions struct {
	*Bucket
	// Idle is how long a session lasts while nobody uses it; [Idle] where nil. It is asked
	// each time a session is used, since what a person may do can change.
	Idle func(*Session) time.Duration
}

// New are those that the log keeps.
func New(l *stream.Log) *Sessions { return &Sessions{Bucket: Open(l)} }

// Idle is how long the session of a tablet, or of a person who is no operator, lasts while
// nobody uses it.
func Idle(s *Session) time.Duration {
	if s.Tablet() {
		return IdleDevice
	}
	return IdlePerson
}

func (ss *Sessions) idle(s *Session) time.Duration {
	if ss.Idle != nil {
		return ss.Idle(s)
	}
	return Idle(s)
}

func keyOf(id string) string { return "session." + id }

// Begin begins a session of s.Who, and gives the token that its device holds from now on.
// The device may have held any other before: none that it brought is ever taken on.
func (ss *Sessions) Begin(ctx context.Context, s Session, now time.Time) (token string, err error) {
	token = Secret()
	s.Since, s.Seen = now.UTC(), now.UTC()
	if err := ss.Create(ctx, keyOf(Hash(token)), s, now, now.Add(s.whole())); err != nil {
		return "", err
	}
	return token, ss.bound(ctx, s.Who, now)
}

// Renew begins a session in place of the one of that id, which ends: whoever signs in again
// gets a new token (ASVS 5.0.0, 7.2.4).
func (ss *Sessions) Renew(ctx context.Context, id string, s Session, now time.Time) (token string, err error) {
	if err := ss.End(ctx, id); err != nil {
		return "", err
	}
	return ss.Begin(ctx, s, now)
}

// bound ends the oldest of a person's sessions that are too many.
func (ss *Sessions) bound(ctx context.Context, who string, now time.Time) error {
	list, err := ss.Of(ctx, who, now)
	for _, s := range list[:max(len(list)-Most, 0)] {
		err = errors.Join(err, ss.End(ctx, s.ID))
	}
	return err
}

// Find is the session of a token; [ErrNone] where there is none, or where it has ended. It
// notes that it is used.
func (ss *Sessions) Find(ctx context.Context, token string, now time.Time) (Session, error) {
	s, mark, err := ss.look(ctx, token, now)
	if err == nil && now.Sub(s.Seen) >= noted {
		s.Seen = now.UTC()
		// Where it fails the next request tries again; where somebody was faster, it is noted.
		_, _ = ss.Update(ctx, mark, s, now)
	}
	return s, err
}

// Look is Find for what a page asks by itself while nobody touches it, which is no use.
func (ss *Sessions) Look(ctx context.Context, token string, now time.Time) (Session, error) {
	s, _, err := ss.look(ctx, token, now)
	return s, err
}

func (ss *Sessions) look(ctx context.Context, token string, now time.Time) (s Session, mark Mark, err error) {
	id := Hash(token)
	if mark, err = ss.Get(ctx, keyOf(id), now, &s); err != nil {
		return Session{}, mark, err
	}
	s.ID = id
	if now.Sub(s.Seen) >= ss.idle(&s) {
		return Session{}, mark, failed("finding", keyOf(id), errors.Join(ErrNone, ss.End(ctx, id)))
	}
	return s, mark, nil
}

// End ends a session by its id. One that has ended already stays so.
func (ss *Sessions) End(ctx context.Context, id string) error { return ss.Drop(ctx, keyOf(id)) }

// EndAll ends all sessions of a person or of a tablet but the one of an id, "" for none.
func (ss *Sessions) EndAll(ctx context.Context, who, but string, now time.Time) error {
	list, err := ss.Of(ctx, who, now)
	for _, s := range list {
		if s.ID != but {
			err = errors.Join(err, ss.End(ctx, s.ID))
		}
	}
	return err
}

// Of lists the sessions of a person or of a tablet, of all where who is empty, the oldest
// first.
func (ss *Sessions) Of(ctx context.Context, who string, now time.Time) (list []Session, err error) {
	err = ss.each(ctx, "session", now, func(id string, value json.RawMessage) error {
		s := Session{ID: id}
		if err := json.Unmarshal(value, &s); err != nil {
			return failed("reading", keyOf(id), err)
		}
		if (who == "" || s.Who == who) && now.Sub(s.Seen) < ss.idle(&s) {
			list = append(list, s)
		}
		return nil
	})
	slices.SortFunc(list, func(a, b Session) int { return cmp.Or(a.Since.Compare(b.Since), cmp.Compare(a.ID, b.ID)) })
	return list, err
}
