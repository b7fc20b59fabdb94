package delivery

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"time"

	"telltale/notify/page"
)

// Sender carries one delivery as it is stored. It returns nil once the delivery
// is in the next one's hands, and else an error, a *Failure where it knows the
// class. It must end soon after ctx does.
type Sender interface {
	Send(ctx context.Context, d Delivery) error
}

// Way is one way of telling: who carries, when to try again, and to which server.
type Way struct {
	Sender
	// Waits are those after the first try, the second and so on; after the last and
	// one more try a delivery is given up. Nil for mail's.
	Waits []time.Duration
	// Lane names the server that an address is at, so that one that is slow holds up
	// no other; nil where all goes to one.
	Lane func(to string) string
}

// How long mail may fail before it is given up: RFC 5321 section 4.5.4.1 asks for at
// least 4 to 5 days.
const giveUpAfter = 5 * 24 * time.Hour

// The waits between tries of mail, the last again and again. RFC 5321 section 4.5.4.1
// asks for at least 30 minutes in general and allows two quick tries in the first
// hour; an alarm takes three.
var mailWaits = [...]time.Duration{time.Minute, 5 * time.Minute, 15 * time.Minute, 30 * time.Minute, 30 * time.Minute, time.Hour}

// lateAfter is how long a delivery may fail before the operators hear that it waits:
// an alarm is not to be five days late unseen. Common practice, no source.
const lateAfter = time.Hour

// next is the wait after the delivery's last try, and why it is given up; "" where it
// is not.
func (w Way) next(d *Delivery, now time.Time) (wait time.Duration, over string) {
	n := max(d.Attempts, 1)
	switch {
	case len(w.Waits) == 0 && now.Sub(d.Failing) >= giveUpAfter:
		return 0, "given up after 5 days: "
	case len(w.Waits) == 0:
		return mailWaits[min(n, len(mailWaits))-1], ""
	case n > len(w.Waits):
		return 0, fmt.Sprintf("given up after %d calls: ", d.Attempts)
	}
	return w.Waits[n-1], ""
}

// late reports whether it is of no use to send the message any more.
func (d *Delivery) late(now time.Time) bool { return d.secret() && !now.Before(d.Until) }

// jitter is up to a tenth of a wait by the key, so that many that failed together do
// not come back together.
func jitter(attempts int, key string, w time.Duration) time.Duration {
	h := fnv.New32a()
	h.Write([]byte{byte(attempts)})
	h.Write([]byte(key))
	return time.Duration(h.Sum32()%1000) * (w / 10000)
}

// settle writes down how a try ended.
func (d *Delivery) settle(err error, now time.Time, w Way) {
	d.NextTry = time.Time{}
	defer func() {
		if d.Secret() && d.over() {
			d.Raw = nil
		}
	}()
	if err == nil {
		d.State, d.SentAt, d.LastError, d.Failing = Sent, now, "", time.Time{}
		return
	}
	d.LastError = page.Clean(err.Error(), 500)
	f := failureOf(err)
	switch f.Class {
	case Permanent:
		d.State, d.Gone = Failed, f.Gone
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
	wait, over := w.next(d, now)
	wait = max(wait, f.Wait)
	if over == "" && d.late(now.Add(wait)) {
		over = "given up, since it would come too late: "
	}
	if over != "" {
		d.State, d.LastError = Failed, over+d.LastError
		return
	}
	d.State, d.NextTry = Waiting, now.Add(wait+jitter(d.Attempts, d.Key, wait))
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

// failureOf is the Failure in an error; temporary where there is none.
func failureOf(err error) *Failure {
	var f *Failure
	if errors.As(err, &f) {
		return f
	}
	return &Failure{Class: Temporary, Err: err}
}
