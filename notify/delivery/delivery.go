// Package delivery keeps messages to people until they are in the next one's hands,
// and sends them.
//
// A Delivery is composed once, stored under its key, and sent as it is stored. The
// Queue tries again by class of failure and by the schedule of the way, keeps what
// follows on one thread in its order, and gives up only in plain sight. A slow server
// holds up only what goes to it. A way of telling is a Way: what carries, when to try
// again, and which server an address is at; nothing here knows one by its name.
package delivery

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"telltale/engine/alarm"
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
	Key       string      `json:"key"`
	Cause     string      `json:"cause"`
	Seq       uint64      `json:"seq"` // of what it tells, in the log of transitions
	Person    string      `json:"person"`
	Way       string      `json:"way"`
	To        string      `json:"to"`
	Subject   string      `json:"subject"`
	MessageID string      `json:"messageId,omitempty"` // the same on every try
	Thread    string      `json:"thread,omitempty"`    // deliveries of one thread go out in order
	Vehicle   string      `json:"vehicle,omitempty"`
	Stage     alarm.Stage `json:"stage,omitempty"`
	Time      time.Time   `json:"time"`    // of what it tells
	Created   time.Time   `json:"created"` // by the clock on the wall, as are all below
	Raw       []byte      `json:"raw,omitempty"`

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
	// Until is when it is too late to send it; zero for never. Such a message is a secret, as
	// a link for signing in is: see [Delivery.Secret].
	Until time.Time `json:"until,omitzero"`
}

// Secret reports whether what the message says is for its receiver alone. It is shown to
// nobody, goes before all others, and its Raw is dropped once it is over.
func (d Delivery) Secret() bool { return d.secret() }

// secret copies nothing: a try may be writing to the rest meanwhile.
func (d *Delivery) secret() bool { return !d.Until.IsZero() }

// Store keeps deliveries. Create reports false, and changes nothing, where the key is
// there already. What Create or Replace has returned nil for survives a crash. Drop
// forgets a delivery that Each has handed over, unless it was stored since.
type Store interface {
	Create(ctx context.Context, key string, body []byte) (bool, error)
	Get(ctx context.Context, key string) (body []byte, err error) // nil where there is none
	Replace(ctx context.Context, key string, body []byte) error
	Each(ctx context.Context, do func(key string, body []byte) error) error
	Drop(ctx context.Context, key string) error
}

// All returns all deliveries that the store holds, oldest first.
func All(ctx context.Context, s Store) ([]Delivery, error) {
	var all []Delivery
	err := s.Each(ctx, func(key string, body []byte) error {
		var d Delivery
		if err := json.Unmarshal(body, &d); err != nil {
			return fmt.Errorf("reading delivery %q: %w", key, err)
		}
		all = append(all, d)
		return nil
	})
	slices.SortFunc(all, func(a, b Delivery) int { return a.order(&b) })
	return all, err
}

func (d *Delivery) order(o *Delivery) int {
	return cmp.Or(d.Created.Compare(o.Created), cmp.Compare(d.Seq, o.Seq), strings.Compare(d.Key, o.Key))
}

// Trim drops what was sent or given up and was made before a time; told is how many.
func Trim(ctx context.Context, s Store, before time.Time) (told int, err error) {
	list, err := All(ctx, s)
	for _, d := range list {
		if d.over() && d.Created.Before(before) {
			err = errors.Join(err, s.Drop(ctx, d.Key))
			told++
		}
	}
	return told, err
}

// over reports whether nothing more happens to the delivery by itself.
func (d *Delivery) over() bool { return d.State == Sent || d.State == Failed }

// Pending reports whether the delivery has not been tried yet, or is in flight.
func (d Delivery) Pending() bool {
	return d.State == Waiting && d.Attempts == 0 || d.State == Sending
}

// Memory is a Store that ends with the process; it keeps a checkpoint too.
type Memory struct {
	kept  sync.Map // key -> body
	check []byte
}

// Create implements Store.
func (m *Memory) Create(_ context.Context, key string, body []byte) (bool, error) {
	_, there := m.kept.LoadOrStore(key, body)
	return !there, nil
}

// Get implements Store.
func (m *Memory) Get(_ context.Context, key string) ([]byte, error) {
	body, _ := m.kept.Load(key)
	b, _ := body.([]byte)
	return b, nil
}

// Replace implements Store.
func (m *Memory) Replace(_ context.Context, key string, body []byte) error {
	m.kept.Store(key, body)
	return nil
}

// Drop implements Store.
func (m *Memory) Drop(_ context.Context, key string) error {
	m.kept.Delete(key)
	return nil
}

// Each implements Store, in order of the keys.
func (m *Memory) Each(_ context.Context, do func(key string, body []byte) error) error {
	all := map[string][]byte{}
	m.kept.Range(func(key, body any) bool { all[key.(string)] = body.([]byte); return true })
	for _, k := range slices.Sorted(maps.Keys(all)) {
		if err := do(k, all[k]); err != nil {
			return err
		}
	}
	return nil
}

// Checkpoint is what SetCheckpoint stored last; nil where it stored nothing.
func (m *Memory) Checkpoint(context.Context) ([]byte, error) { return m.check, nil }

// SetCheckpoint stores the checkpoint of the one that makes the deliveries.
func (m *Memory) SetCheckpoint(_ context.Context, body []byte) error { m.check = body; return nil }
