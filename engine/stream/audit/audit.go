// Package audit keeps who did what, in a stream of its own: sign-ins tried and done, rights
// refused, what was entered and exported, rules adopted.
//
// [Open] makes or finds the stream AUDIT; [Log.Write] adds an entry, [Log.List] reads them,
// the newest first. Entries lie under telltale.audit.<what>.<who>.<vehicle>, for 400 days.
// They are never folded: nothing that is judged depends on them. Nobody can change or take
// out an entry (ASVS 5.0.0, 16.4.2): the stream denies it, and the server lets the service
// alone write and read it.
//
// What is promised: an entry is in the stream when Write returns, or it waits in memory for
// a stream that does not answer, and is in the program's log in any case. Whatever was done
// stays done: it is stored by then, with its source, and must not be refused because the
// trail is not to be had. Entries that could be neither stored nor kept are counted, and
// the trail says how many.
//
// Refusals can be caused by anybody, so those of an hour are bounded, and the rest counted.
package audit

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nuid"

	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/jet"
)

// Stream is the stream's name.
const Stream = "AUDIT"

const (
	subjects = "telltale.audit.*.*.*"
	// kept is how long an entry is kept: a year, and what it takes to look at it.
	kept = 400 * 24 * time.Hour
	// mostKept is how many entries are kept; then the oldest goes. It is not a bound in bytes,
	// which the server would set aside on the disk beforehand. An entry is some 400 bytes.
	mostKept = 4_000_000
	// nobody is the token of a subject for a who or a vehicle that is not named.
	nobody = "="
)

// Log is the trail. It is safe for concurrent use; a nil one takes entries and keeps none.
type Log struct {
	stream *jet.Stream
	logger *slog.Logger
	now    func() time.Time

	mu      sync.Mutex // guards all below
	refused refusals
	waiting []*nats.Msg // not stored yet, in order
	lost    int         // that had no room among those
	failed  time.Time   // when storing failed last; zero while it works
}

// Open makes the stream if it is missing.
func Open(ctx context.Context, l *stream.Log) (*Log, error) {
	s, err := jet.Ask(ctx, l.Events.Patience, func(ctx context.Context) (jetstream.Stream, error) {
		s, err := l.JS.Stream(ctx, Stream)
		if errors.Is(err, jetstream.ErrStreamNotFound) {
			return l.JS.CreateStream(ctx, config(l.Replicas))
		}
		return s, err
	})
	if errors.Is(err, jetstream.ErrStreamNameAlreadyInUse) { // another replica was faster
		s, err = l.JS.Stream(ctx, Stream)
	}
	if err != nil {
		return nil, fmt.Errorf("opening stream %q: %w", Stream, err)
	}
	return &Log{stream: &jet.Stream{JS: l.JS, S: s, Patience: l.Events.Patience}, logger: l.Logger, now: time.Now}, nil
}

// Find is the trail for reading, of a service that keeps one.
func Find(ctx context.Context, nc *nats.Conn) (*Log, error) {
	js, err := jetstream.New(nc, jetstream.WithDefaultTimeout(jet.CallTimeout))
	if err != nil {
		return nil, fmt.Errorf("opening JetStream: %w", err)
	}
	s, err := js.Stream(ctx, Stream)
	if err != nil {
		return nil, fmt.Errorf("opening stream %q: %w", Stream, err)
	}
	return &Log{stream: &jet.Stream{JS: js, S: s, Patience: jet.CallTimeout}, logger: slog.New(slog.DiscardHandler), now: time.Now}, nil
}

func config(replicas int) jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name: Stream, Subjects: []string{subjects}, Storage: jetstream.FileStorage, Replicas: max(replicas, 1),
		MaxAge: kept, MaxMsgs: mostKept, MaxMsgSize: maxSize, MaxBytes: -1, Discard: jetstream.DiscardOld,
		DenyDelete: true, DenyPurge: true, Duplicates: 2 * time.Minute,
	}
}

// subject is where an entry lies.
func subject(e Entry) string {
	return "telltale.audit." + token(string(e.What)) + "." + token(e.Who) + "." + token(e.Vehicle)
}

func token(name string) string {
	if name == "" {
		return nobody
	}
	return intake.Token(name)
}

const (
	// mostWaiting is how many entries wait in memory for a stream that does not answer.
	mostWaiting = 1000
	// storing bounds how long a request waits until its entry is stored.
	storing = 2 * time.Second
	// storeAgain is the pause after a failure.
	storeAgain = time.Second
)

// Write adds an entry. The end of ctx does not keep it from being stored: whoever did it may
// be gone.
func (l *Log) Write(ctx context.Context, e Entry) {
	if l == nil {
		return
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.now()
	if e.Time.IsZero() {
		e.Time = now
	}
	l.add(ctx, l.refused.turned(now)...)
	if e = e.cleaned(); e.Outcome != Refused || l.refused.lists(e) {
		l.add(ctx, e)
	}
	l.store(context.WithoutCancel(ctx))
}

// Run stores what waits, and what is to be said of refusals that were counted, until ctx
// ends.
func (l *Log) Run(ctx context.Context) {
	tick := time.NewTicker(storeAgain)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			l.turn(ctx, false)
		case <-ctx.Done():
			l.turn(ctx, true)
			return
		}
	}
}

// turn says what is to be said of the hour that ended, or at the end also of this one.
func (l *Log) turn(ctx context.Context, end bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.now()
	l.add(ctx, l.refused.turned(now)...)
	if end {
		l.add(ctx, l.refused.rest(now)...)
	}
	l.store(context.WithoutCancel(ctx))
}

// add puts entries among those that wait, and into the program's log.
func (l *Log) add(ctx context.Context, list ...Entry) {
	for _, e := range list {
		l.logger.LogAttrs(ctx, slog.LevelInfo, "audit", e.attrs()...)
		m, err := message(e)
		switch {
		case err != nil:
			l.logger.Error("writing down who did it", "error", err)
			l.lost++
		case len(l.waiting) >= mostWaiting:
			l.lost++
		default:
			l.waiting = append(l.waiting, m)
		}
	}
}

// store writes what waits, in order, until the stream does not answer.
func (l *Log) store(ctx context.Context) {
	if !l.failed.IsZero() && l.now().Sub(l.failed) < storeAgain {
		return
	}
	for len(l.waiting) > 0 {
		if err := l.publish(ctx, l.waiting[0]); err != nil {
			if l.failed.IsZero() {
				l.logger.Error("who did what is not stored; it waits in memory, and is in this log", "waiting", len(l.waiting), "error", err)
			}
			l.failed = l.now()
			return
		}
		l.waiting = l.waiting[1:]
		l.sayLost(ctx)
	}
	l.failed = time.Time{}
}

// sayLost has the trail say how many entries it lacks, once there is room for that.
func (l *Log) sayLost(ctx context.Context) {
	if n := l.lost; n > 0 && len(l.waiting) == 0 {
		l.lost = 0
		l.add(ctx, Entry{Time: l.now().UTC(), What: Changed, Outcome: Failed, Words: fmt.Sprintf("%d entries before this one could not be stored here; the program's log has them", n)})
	}
}

func (l *Log) publish(ctx context.Context, m *nats.Msg) error {
	ctx, cancel := context.WithTimeout(ctx, storing)
	defer cancel()
	_, err := l.stream.JS.PublishMsg(ctx, m)
	return err
}

// message is an entry as it is stored; the server knows one again that is sent twice.
func message(e Entry) (*nats.Msg, error) {
	b, err := json.Marshal(e)
	if err == nil && len(b) > maxSize-2048 { // the header and the subject are counted too
		e.Events = nil
		b, err = json.Marshal(e)
	}
	if err != nil {
		return nil, fmt.Errorf("writing an audit entry of %q: %w", e.What, err)
	}
	m := &nats.Msg{Subject: subject(e), Data: b, Header: nats.Header{}}
	m.Header.Set(jetstream.MsgIDHeader, nuid.Next())
	return m, nil
}

// attrs are the entry for the program's log, where who ships logs finds it (ASVS 5.0.0,
// 16.2.4, 16.4.3).
func (e Entry) attrs() []slog.Attr {
	var out []slog.Attr
	for _, a := range []slog.Attr{
		slog.String("what", string(e.What)), slog.String("outcome", string(e.Outcome)), slog.String("who", e.Who), slog.String("how", string(e.How)),
		slog.String("from", e.From), slog.String("vehicle", e.Vehicle), slog.String("by", e.By), slog.String("events", ids(e)), slog.String("why", e.Why), slog.String("words", e.Words),
	} {
		if a.Value.String() != "" {
			out = append(out, a)
		}
	}
	return out
}

func ids(e Entry) string {
	var list []string
	for _, id := range e.Events {
		list = append(list, id.Source+" "+id.ID)
	}
	return strings.Join(list, ", ")
}
