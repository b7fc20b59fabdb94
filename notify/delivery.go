package notify

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"net/url"
	"time"
)

// State is where a delivery is on its way.
type State string

// The states. A delivery in flight is stored as sending before it goes out, so
// that a crash in between shows as an outcome that nobody knows.
const (
	Waiting State = "waiting"
	Sending State = "sending"
	Sent    State = "sent"
	Failed  State = "failed"
)

// Delivery is one message to one person by one way, from composed to sent or to
// failed in plain sight. It is composed once and sent as stored.
type Delivery struct {
	Key       string    `json:"key"`
	Cause     string    `json:"cause"`
	Seq       uint64    `json:"seq"` // of what it tells, in the log of transitions
	Person    string    `json:"person"`
	Way       string    `json:"way"`
	To        string    `json:"to"`
	Subject   string    `json:"subject"`
	MessageID string    `json:"messageId,omitempty"` // the same on every try
	Thread    string    `json:"thread,omitempty"`    // deliveries of one thread go out in order
	Vehicle   string    `json:"vehicle,omitempty"`
	Stage     string    `json:"stage,omitempty"`
	Time      time.Time `json:"time"`    // of what it tells
	Created   time.Time `json:"created"` // by the clock on the wall, as are all below
	Raw       []byte    `json:"raw,omitempty"`

	State    State `json:"state"`
	Attempts int   `json:"attempts,omitempty"`
	// Unknown counts the tries of which nobody knows how they ended; each of them
	// may have arrived.
	Unknown   int       `json:"unknown,omitempty"`
	NextTry   time.Time `json:"nextTry,omitzero"`
	Failing   time.Time `json:"failing,omitzero"` // the first of the failures in a row
	SentAt    time.Time `json:"sentAt,omitzero"`
	LastError string    `json:"lastError,omitempty"`
	// Late: it has failed for so long that the operators have been told, though it is
	// still tried.
	Late bool `json:"late,omitempty"`
	// Gone: the receiver wants nothing more.
	Gone bool `json:"gone,omitempty"`
}

// Class says what a failed try calls for.
type Class uint8

const (
	// Temporary: try again later. Any error that is not a Failure is temporary.
	Temporary Class = iota
	// Permanent: this recipient or this message will never do.
	Permanent
	// Ours: our own configuration is at fault (login, certificate, sender). All
	// that goes this way is held, and none of it fails.
	Ours
	// Unknown: it may have arrived. Tried again with the same Message-ID.
	Unknown
)

// Failure is a Sender's error with its class.
type Failure struct {
	Class Class
	// Wait is how long the other side asks to be left alone; 0 where it does not.
	Wait time.Duration
	// Gone: the other side wants nothing more, ever.
	Gone bool
	Err  error
}

func (f *Failure) Error() string { return f.Err.Error() }
func (f *Failure) Unwrap() error { return f.Err }

func classOf(err error) Class {
	var f *Failure
	if errors.As(err, &f) {
		return f.Class
	}
	return Temporary
}

// Sender carries one delivery as it is stored. It returns nil once the delivery
// is in the next one's hands, and else an error, a *Failure where it knows the
// class. It must end soon after ctx does.
type Sender interface {
	Send(ctx context.Context, d Delivery) error
}

// Store keeps deliveries and the notifier's checkpoint. Create reports false,
// and changes nothing, where the key is there already. What Create or Replace has
// returned nil for survives a crash.
type Store interface {
	Create(ctx context.Context, key string, body []byte) (bool, error)
	Replace(ctx context.Context, key string, body []byte) error
	Each(ctx context.Context, do func(key string, body []byte) error) error
	Checkpoint(ctx context.Context) ([]byte, error) // nil where there is none
	SetCheckpoint(ctx context.Context, body []byte) error
}

// How long failures may go on before a delivery is given up: RFC 5321 section
// 4.5.4.1 asks for at least 4 to 5 days.
const giveUpAfter = 5 * 24 * time.Hour

// lateAfter is how long a delivery may fail before the operators hear that it waits:
// an alarm is not to be five days late unseen. Common practice, no source.
const lateAfter = time.Hour

// The waits between tries. RFC 5321 section 4.5.4.1 asks for at least 30 minutes
// in general and allows two quick tries in the first hour; an alarm takes three.
var waits = [...]time.Duration{time.Minute, 5 * time.Minute, 15 * time.Minute, 30 * time.Minute, 30 * time.Minute, time.Hour}

// backoff is the wait after the given number of tries, up to a tenth longer by
// the key, so that many that failed together do not come back together.
func backoff(attempts int, key string) time.Duration {
	w := waits[min(max(attempts, 1), len(waits))-1]
	return w + jitter(attempts, key, w)
}

func jitter(attempts int, key string, w time.Duration) time.Duration {
	h := fnv.New32a()
	h.Write([]byte{byte(attempts)})
	h.Write([]byte(key))
	return time.Duration(h.Sum32()%1000) * (w / 10000)
}

// The waits between calls of a webhook, as Standard Webhooks 1.0.0 advises; after
// the last the delivery is given up.
var hookWaits = [...]time.Duration{5 * time.Second, 5 * time.Minute, 30 * time.Minute, 2 * time.Hour, 5 * time.Hour,
	10 * time.Hour, 14 * time.Hour, 20 * time.Hour, 24 * time.Hour}

func (d *Delivery) hookWaits(err error, now time.Time) {
	if d.Attempts > len(hookWaits) {
		d.State, d.LastError = Failed, fmt.Sprintf("given up after %d calls: %s", d.Attempts, d.LastError)
		return
	}
	w := hookWaits[max(d.Attempts, 1)-1]
	var f *Failure
	if errors.As(err, &f) {
		w = max(w, f.Wait)
	}
	d.State, d.NextTry = Waiting, now.Add(w+jitter(d.Attempts, d.Key, w))
}

// lane is the server that it goes to, as far as is known here.
func (d *Delivery) lane() string {
	if d.Way != "webhook" {
		return d.Way
	}
	u, err := url.Parse(d.To)
	if err != nil {
		return d.Way
	}
	return d.Way + " " + u.Host
}

func isGone(err error) bool {
	var f *Failure
	return errors.As(err, &f) && f.Gone
}

// settle writes down how a try ended.
func (d *Delivery) settle(err error, now time.Time) {
	d.NextTry = time.Time{}
	if err == nil {
		d.State, d.SentAt, d.LastError, d.Failing = Sent, now, "", time.Time{}
		return
	}
	d.LastError = clean(err.Error(), 500)
	switch classOf(err) {
	case Permanent:
		d.State, d.Gone = Failed, isGone(err)
		return
	case Ours:
		d.State, d.Failing, d.NextTry = Waiting, time.Time{}, now
		return
	case Unknown:
		d.Unknown++
	}
	if d.Failing.IsZero() {
		d.Failing = now
	}
	d.Late = d.Late || now.Sub(d.Failing) >= lateAfter
	if d.Way == "webhook" {
		d.hookWaits(err, now)
		return
	}
	d.State, d.NextTry = Waiting, now.Add(backoff(d.Attempts, d.Key))
	if now.Sub(d.Failing) >= giveUpAfter {
		d.State, d.NextTry = Failed, time.Time{}
		d.LastError = "given up after 5 days: " + d.LastError
	}
}
