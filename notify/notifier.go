package notify

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"maps"
	"runtime/debug"
	"slices"
	"sync/atomic"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/sample"
	"telltale/notify/delivery"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/rules/unit"
)

// Composer turns a message into what its way carries, and gives it an identity
// that is the same however often it is composed.
type Composer func(m Message) (messageID string, raw []byte, err error)

// Store keeps deliveries, and the checkpoint of whoever makes them; what SetCheckpoint
// has returned nil for survives a crash.
type Store interface {
	delivery.Store
	Checkpoint(ctx context.Context) ([]byte, error) // nil where there is none
	SetCheckpoint(ctx context.Context, body []byte) error
}

// Notifier reads the log of transitions in order and makes deliveries of it. It
// is not safe for concurrent use, but for SetDirectory.
type Notifier struct {
	Store      Store
	Queue      *delivery.Queue // may be nil: deliveries are stored and not sent
	Compose    map[string]Composer
	Register   Register
	Partitions int          // how many parts a turn has
	Log        *slog.Logger // slog.Default where nil
	// Silent gives the vehicles that are out of service, so that nobody is reminded
	// of their alarms; nil for none.
	Silent func() map[string]bool
	// Sample gives what the latest sample of a component says, in the units of whoever
	// reads it, to be drawn in a mail; nil for no pictures.
	Sample func(vehicle, component string, reads unit.System) []sample.Verdict
	// Answer gives the address at which a person answers an alarm; nil for none.
	Answer func(person string, t *alarm.Transition) string
	// Unsubscribe gives the address at which a person asks for no more of a kind
	// (Lists or Messages), made at a time; nil for none.
	Unsubscribe func(person string, kind Kind, at time.Time) string
	// Certificate is the one under which the service is reached; nil where there is none.
	Certificate func() Certificate

	dir     atomic.Pointer[people.Directory]
	mark    mark
	turns   map[people.Turn]*pending
	saved   uint64 // after which message the stored checkpoint is: nobody reads it for the telling again
	unsaved int    // messages since; saveEvery once something was made
	last    uint64 // the last message that was handled
	warned  string // the key of the last notice of the certificate
}

// mark is the notifier's checkpoint.
type mark struct {
	// Seq is the last message of the log that need not be read again: none after
	// it has been handled, or it belongs to a turn whose parts are not all in.
	Seq uint64 `json:"seq"`
	// Listed is the date of the last list made, by person.
	Listed map[string]string `json:"listed,omitempty"`
	// Done is the last message of which the news were told or held. It is ahead of
	// Seq while a turn is open.
	Done uint64 `json:"done,omitempty"`
	// Clock is the last tick.
	Clock  time.Time              `json:"clock,omitzero"`
	Held   map[string]*held       `json:"held,omitempty"`   // by person
	Recent map[string][]time.Time `json:"recent,omitempty"` // by person: when the last messages went out
	Open   map[string]*chased     `json:"open,omitempty"`   // by alarm
	Left   []Left                 `json:"left,omitempty"`
	// Backlog is nil where nothing of the kind waits.
	Backlog *backlog          `json:"backlog,omitempty"`
	Before  map[string]Listed `json:"before,omitempty"` // by person
	Minded  map[string]minded `json:"minded,omitempty"` // by person
}

func newMark() mark {
	return mark{Listed: map[string]string{}, Before: map[string]Listed{}, Held: map[string]*held{}, Recent: map[string][]time.Time{}, Open: map[string]*chased{}}
}

// pending is a turn whose parts are coming in.
type pending struct {
	first uint64    // the log's sequence of the first part
	since time.Time // by the clock on the wall
	parts map[int]engine.TurnPart
}

const (
	// waitForParts is how long a list waits for partitions that lag.
	waitForParts = time.Hour
	// saveEvery is how many messages that made nothing go by without a checkpoint.
	saveEvery = 200
)

// SetDirectory puts a directory in force from the next message on.
func (n *Notifier) SetDirectory(d *people.Directory) { n.dir.Store(d) }

// Directory returns the directory in force.
func (n *Notifier) Directory() *people.Directory {
	if d := n.dir.Load(); d != nil {
		return d
	}
	return &people.Directory{}
}

// Start reads the checkpoint and returns the sequence to read the log from.
func (n *Notifier) Start(ctx context.Context) (next uint64, err error) {
	if n.Log == nil {
		n.Log = slog.Default()
	}
	n.turns = map[people.Turn]*pending{}
	if n.mark, err = readMark(ctx, n.Store); err != nil {
		return 0, fmt.Errorf("reading the notifier's checkpoint: %w", err)
	}
	n.saved, n.unsaved = n.mark.Seq, 0
	return n.mark.Seq + 1, nil
}

// readMark reads the checkpoint; an empty one where there is none.
func readMark(ctx context.Context, s Store) (k mark, err error) {
	k = newMark()
	body, err := s.Checkpoint(ctx)
	if err == nil && body != nil {
		if body, err = delivery.Unpack(body); err == nil {
			err = json.Unmarshal(body, &k)
		}
	}
	return k, err
}

// Handle takes one message of the log: what folding one cause said. It returns
// once all deliveries of it are stored. After an error the same message may be
// handled again; what was made before is not made twice.
func (n *Notifier) Handle(ctx context.Context, seq uint64, c Cause, out []engine.Output) error {
	d := n.Directory()
	n.last = max(n.last, seq)
	c.Answer, c.Leave = n.Answer, n.Unsubscribe
	if err := n.news(ctx, seq, d, c, out); err != nil {
		return err
	}
	for _, o := range out {
		if o.Turn != nil {
			n.collect(seq, c.Partition, o.Turn)
		}
	}
	for _, t := range n.ready(time.Now()) {
		if err := n.list(ctx, seq, d, t); err != nil {
			return err
		}
	}
	n.unsaved++
	return n.saveDue(ctx, seq)
}

// news tells or holds what a message of the log says, unless that was done before.
func (n *Notifier) news(ctx context.Context, seq uint64, d *people.Directory, c Cause, out []engine.Output) error {
	if seq <= n.mark.Done {
		return nil
	}
	untold, waited := n.follow(out)
	var all []telling
	n.guard("telling "+c.Key, "what it was about is not told", func() { all = tellings(d, n.Register, c, out) })
	for _, t := range all {
		t.unheard(waited)
		if t.way == people.Mail {
			t.mine = slices.DeleteFunc(t.mine, func(one news) bool { return slices.Contains(untold[t.p.ID], one.Transition) })
		}
		if len(t.mine) == 0 || t.way == people.Mail && n.mark.left(t.p.ID, Messages) && !t.cannotWait() {
			continue
		}
		t, later := t.parted()
		if n.mark.await(later, c, waited); len(t.mine) == 0 {
			continue
		}
		if t.way == people.Mail && !n.mark.mayGo(t, c) {
			n.unsaved = saveEvery
			continue
		}
		t.drawn = n.pictures(t)
		c.told = n.mark.toldToday(t.p, c.Time)
		m := n.written("telling "+c.Key, func() Message { return t.message(c) }, func() Message { return t.bare(c) })
		if m.Key == "" {
			continue
		}
		if err := n.create(ctx, seq, m); err != nil {
			return err
		}
		if t.way == people.Mail {
			n.mark.noteMinded(t.p, m, c.Time)
			n.mark.watch(d, t, c)
		}
	}
	n.mark.Done = seq
	return nil
}

// follow keeps what is held, what waits and what is chased in step with the transitions;
// it returns what each person need not hear of, since they never heard of its beginning,
// and what waited of each alarm.
func (n *Notifier) follow(out []engine.Output) (untold map[string][]*alarm.Transition, waited map[*alarm.Transition]*waiting) {
	untold, waited = map[string][]*alarm.Transition{}, map[*alarm.Transition]*waiting{}
	for _, o := range out {
		if o.Transition == nil {
			continue
		}
		n.mark.follow(o.Transition)
		if w := n.mark.settleBacklog(o.Transition); w != nil {
			waited[o.Transition] = w
		}
		for _, id := range n.mark.settleHeld(o.Transition) {
			untold[id] = append(untold[id], o.Transition)
		}
	}
	return untold, waited
}

// saveDue writes the checkpoint if something was made since the last one, or much
// went by.
func (n *Notifier) saveDue(ctx context.Context, seq uint64) error {
	if n.unsaved < saveEvery {
		return nil
	}
	return n.Flush(ctx, seq)
}

// Flush writes the checkpoint after seq, the last message that was handled.
func (n *Notifier) Flush(ctx context.Context, seq uint64) error {
	n.unsaved = 0
	n.mark.Seq = seq
	for _, p := range n.turns {
		n.mark.Seq = min(n.mark.Seq, p.first-1)
	}
	body, err := json.Marshal(n.mark)
	if err == nil {
		err = n.Store.SetCheckpoint(ctx, delivery.Pack(body))
	}
	if err != nil {
		return fmt.Errorf("writing the notifier's checkpoint: %w", err)
	}
	n.saved = n.mark.Seq
	return nil
}

// Saved is the last message of the log of which the stored checkpoint says that it need
// not be read again.
func (n *Notifier) Saved() uint64 { return n.saved }

func (n *Notifier) collect(seq uint64, partition int, part *engine.TurnPart) {
	t := people.Turn{Person: part.Digest, Date: part.Date}
	if n.Directory().Person(t.Person) == nil || t.Date <= n.mark.Listed[t.Person] {
		return // nobody to list for, or listed before
	}
	p := n.turns[t]
	if p == nil {
		p = &pending{first: seq, since: time.Now(), parts: map[int]engine.TurnPart{}}
		n.turns[t] = p
	}
	p.parts[partition] = *part
}

// ready gives the turns whose parts are all in or waited for long enough.
func (n *Notifier) ready(now time.Time) []people.Turn {
	var out []people.Turn
	for t, p := range n.turns {
		if len(p.parts) >= n.Partitions || now.Sub(p.since) >= waitForParts {
			out = append(out, t)
		}
	}
	slices.SortFunc(out, func(a, b people.Turn) int {
		return slices.Compare([]string{a.Date, a.Person}, []string{b.Date, b.Person})
	})
	return out
}

func (n *Notifier) list(ctx context.Context, seq uint64, d *people.Directory, t people.Turn) error {
	var parts []engine.TurnPart
	for _, i := range slices.Sorted(maps.Keys(n.turns[t].parts)) {
		parts = append(parts, n.turns[t].parts[i])
	}
	if p := d.Person(t.Person); p != nil && p.To[people.Mail] != "" && !n.mark.left(p.ID, Lists) {
		ok := true
		g := Listing{Parts: parts, Of: n.Partitions, Last: n.mark.Before[p.ID], Notes: n.ownNotes(readerOf(p)), Answer: n.Answer}
		g.told = n.mark.toldToday(readerOf(p), latest(parts))
		if n.Unsubscribe != nil {
			g.Leave = n.Unsubscribe(p.ID, Lists, parts[0].Now)
		}
		kept := g.Last
		m := n.written("listing "+t.Person+" "+t.Date, func() (m Message) {
			m, kept, ok = Digest(d, n.Register, p, g)
			return m
		}, func() Message { return bareList(readerOf(p), t.Date, parts, listKey(readerOf(p), t.Date)) })
		if ok {
			if err := n.create(ctx, seq, m); err != nil {
				return err
			}
			n.mark.noteMinded(readerOf(p), m, latest(parts))
		}
		n.mark.Before[p.ID] = kept
	}
	n.unsaved = saveEvery
	n.mark.Listed[t.Person] = max(t.Date, n.mark.Listed[t.Person])
	delete(n.turns, t)
	return nil
}

// guard keeps a fault in our own words from stopping all that comes after; ok is false
// where there was one, and the log says what follows from it.
func (n *Notifier) guard(doing, so string, do func()) (ok bool) {
	defer func() {
		if p := recover(); p != nil {
			n.Log.Error("a fault of our own; "+so, "doing", doing, "fault", p, "stack", string(debug.Stack()))
		}
	}()
	do()
	return true
}

// create composes a message and stores it as a delivery, if it is not there. One
// that cannot be composed is stored as failed, where it is seen; one without a key
// could not even be written in raw figures.
func (n *Notifier) create(ctx context.Context, seq uint64, m Message) error {
	if m.Key == "" {
		return nil
	}
	n.unsaved = saveEvery
	d := delivery.Delivery{
		Key: m.Key, Cause: m.Cause, Seq: seq, Person: m.Person, Way: m.Way, To: m.To, Subject: m.Subject, Thread: m.Thread,
		Vehicle: m.Vehicle, Stage: m.Stage, Time: m.Time, Created: time.Now().UTC().Round(0), State: delivery.Waiting,
	}
	var err error
	if len(m.Data) > 0 {
		d.MessageID, d.Raw = m.Key, m.Data
	} else {
		d.MessageID, d.Raw, err = n.carried(m)
	}
	if err != nil {
		d.State, d.LastError = delivery.Failed, page.Clean("composing: "+err.Error(), 500)
		n.Log.Error("composing a message", "delivery", d.Key, "to", d.To, "error", err)
	}
	body, err := json.Marshal(d)
	if err != nil {
		return fmt.Errorf("storing delivery %q: %w", d.Key, err)
	}
	created, err := n.Store.Create(ctx, d.Key, body)
	if n.Queue != nil && err != nil {
		n.Queue.Reload() // it may be there all the same
	} else if n.Queue != nil && created {
		n.Queue.Add(d)
	}
	if err != nil {
		return fmt.Errorf("storing delivery %q: %w", d.Key, err)
	}
	return nil
}

// Rewind has the notifier go on after seq, the end of a log that went back: what
// comes under the sequences that it knows is not what it has handled. It is called
// after Start.
func (n *Notifier) Rewind(seq uint64) { n.mark.Seq, n.mark.Done, n.last = seq, seq, seq }

// maxRaw bounds a composed message: in the store it is a third longer, within what
// one message of a NATS server may have by default, 1 MiB.
const maxRaw = 700 << 10

// carried composes a message for its way. One that cannot be composed with its
// pictures, dates and page is composed of its text alone.
func (n *Notifier) carried(m Message) (id string, raw []byte, err error) {
	if id, raw, err = n.composed(m); err == nil {
		return id, raw, nil
	}
	n.Log.Error("composing a message; its text alone is tried", "delivery", m.Key, "to", m.To, "error", err)
	m.Charts, m.Dates, m.HTML = nil, nil, page.Plain(m.Text)
	if id, raw, plain := n.composed(m); plain == nil {
		return id, raw, nil
	}
	return "", nil, err
}

func (n *Notifier) composed(m Message) (id string, raw []byte, err error) {
	compose := n.Compose[m.Way]
	if compose == nil {
		return "", nil, fmt.Errorf("no way called %q", m.Way)
	}
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("a fault: %v", p)
		}
	}()
	if id, raw, err = compose(m); err == nil && len(raw) > maxRaw {
		err = fmt.Errorf("it has %d bytes, over %d", len(raw), maxRaw)
	}
	return id, raw, err
}
