package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/fleet"
	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/wire"
)

// witness notes what one partition's owner asks of the server, in order: each write
// once it is acknowledged, and each first reading of the records and the checkpoint.
type witness struct {
	mu    sync.Mutex
	notes []string
}

func (w *witness) note(format string, args ...any) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.notes = append(w.notes, fmt.Sprintf(format, args...))
}

// witnessed is a log of which all calls are noted.
func witnessed(l *stream.Log) (*stream.Log, *witness) {
	w := &witness{}
	c := through(l, &witnessedJS{l.JS, w})
	c.State.S = &witnessedState{c.State.S, w}
	return c, w
}

type witnessedJS struct {
	jetstream.JetStream
	w *witness
}

func (j *witnessedJS) PublishMsg(ctx context.Context, m *nats.Msg, opts ...jetstream.PublishOpt) (*jetstream.PubAck, error) {
	ack, err := j.JetStream.PublishMsg(ctx, m, opts...)
	if err == nil {
		j.w.note("%s", written(m))
	}
	return ack, err
}

func (j *witnessedJS) PublishMsgAsync(m *nats.Msg, opts ...jetstream.PublishOpt) (jetstream.PubAckFuture, error) {
	f, err := j.JetStream.PublishMsgAsync(m, opts...)
	if err != nil {
		return nil, err
	}
	return &witnessedAck{PubAckFuture: f, w: j.w, m: m}, nil
}

// witnessedAck notes the write when its owner hears that it is stored.
type witnessedAck struct {
	jetstream.PubAckFuture
	w *witness
	m *nats.Msg
}

func (a *witnessedAck) Ok() <-chan *jetstream.PubAck {
	out := make(chan *jetstream.PubAck)
	go func() {
		if ack, ok := <-a.PubAckFuture.Ok(); ok {
			a.w.note("%s", written(a.m))
			out <- ack
		}
	}()
	return out
}

// written is what a message writes, and up to which event.
func written(m *nats.Msg) string {
	words := strings.Split(m.Subject, ".")
	switch words[1] {
	case "alarm":
		b, err := wire.DecodeBody(m.Data)
		switch {
		case err != nil:
			return err.Error()
		case b.Claim != nil:
			return "claim"
		}
		return fmt.Sprintf("said %d", b.Event)
	case "state":
		if words[3] == "checkpoint" {
			c, err := wire.DecodeCheckpoint(m.Data)
			return fmt.Sprintf("checkpoint %d%s", c.Seq, errorText(err))
		}
		at, err := wire.ParsePosition(m.Header.Get(wire.PositionHeader))
		return fmt.Sprintf("record %d%s", at.Seq, errorText(err))
	}
	return m.Subject
}

func errorText(err error) string {
	if err != nil {
		return " " + err.Error()
	}
	return ""
}

type witnessedState struct {
	jetstream.Stream
	w *witness
}

func (s *witnessedState) GetLastMsgForSubject(ctx context.Context, subject string) (*jetstream.RawStreamMsg, error) {
	if strings.HasSuffix(subject, ".checkpoint") {
		s.w.note("read checkpoint")
	}
	return s.Stream.GetLastMsgForSubject(ctx, subject)
}

func (s *witnessedState) OrderedConsumer(ctx context.Context, cfg jetstream.OrderedConsumerConfig) (jetstream.Consumer, error) {
	s.w.note("read records")
	return s.Stream.OrderedConsumer(ctx, cfg)
}

// alone runs one partition's owner until it has folded what the log holds, and ends
// it in good order. It gives what the owner asked of the server.
func alone(t *testing.T, l *stream.Log, p int) []string {
	t.Helper()
	seen, notes := witnessed(l)
	w := newWorker(seen, quiet, stream.NewShelf(l), p)
	if err := w.load(t.Context()); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- w.run(ctx) }()
	if err := w.wait(t.Context(), w.target); err != nil {
		t.Fatal(err)
	}
	cancel()
	if err := <-ended; !errors.Is(err, errStopped) {
		t.Fatal(err)
	}
	return notes.notes
}

// TestWriteOrder watches an owner: it claims before it reads anything; what the events
// up to a record's position say is out before the record is, and the checkpoint
// comes after all records.
func TestWriteOrder(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	begin(t, l)
	p := stream.Partition(aFleet()[0])
	days(t, l, 1, 12)
	notes := alone(t, l, p)
	if want := []string{"claim", "read checkpoint"}; !slices.Equal(notes[:2], want) {
		t.Errorf("it begins with %q, want %q", notes[:2], want)
	}
	said, record, end := 0, 0, 0
	for i, n := range notes {
		var seq int
		switch {
		case scan(n, "said %d", &seq):
			said = seq
			if record > 0 {
				t.Errorf("after a record, what event %d says is published: %q", seq, notes)
			}
		case scan(n, "record %d", &seq):
			record = seq
		case scan(n, "checkpoint %d", &seq):
			if end = seq; i != len(notes)-1 || record == 0 {
				t.Errorf("the checkpoint is not the last of what is written: %q", notes)
			}
		}
	}
	if said == 0 || record != end || said > end {
		t.Errorf("the last that was said is of event %d, the records are at %d, the checkpoint at %d: %q", said, record, end, notes)
	}
	days(t, l, 12, 14)
	notes = alone(t, l, p)
	if want := []string{"claim", "read checkpoint", "read records"}; !slices.Equal(notes[:3], want) {
		t.Errorf("the next one begins with %q, want %q", notes[:3], want)
	}
}

func scan(s, format string, to *int) bool {
	n, err := fmt.Sscanf(s, format, to)
	return err == nil && n == 1
}

// TestCheckpointHolds looks at what a checkpoint says.
func TestCheckpointHolds(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	b := adopt(t, l, bookText)
	set := fleet.Make(b, 1, []fleet.SurveyPart{{Turn: "2031-01-01T00:00:00Z", Now: start}})
	putInForce(t, l, set)
	send(t, l, vehicle("a"), reading("a", 1, 5000))
	if err := l.PublishTick(t.Context(), start.AddDate(0, 0, 2)); err != nil {
		t.Fatal(err)
	}
	send(t, l, reading("a", 2, 6050))
	caughtUp(t, s)
	stop(t, s)
	m, err := l.State.Last(t.Context(), wire.CheckpointSubject(stream.Partition("a")))
	if err != nil {
		t.Fatal(err)
	}
	last, err := l.Events.Get(t.Context(), 6)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]any{
		"format": 1.0, "program": "test", "epoch": 1.0, "seq": 6.0, "last": map[string]any{"source": "/test/a", "id": "r-2"},
		"created": l.Events.S.CachedInfo().Created.Format(time.RFC3339Nano), "book": b.Hash, "baselines": set.Hash(), "tick": "2031-01-03T00:00:00Z",
		"published": map[string]any{"seq": 6.0, "n": 1.0}, "records": 1.0,
	}
	var got map[string]any
	if err := json.Unmarshal(m.Data, &got); err != nil {
		t.Fatal(err)
	}
	if digest := regexp.MustCompile(fmt.Sprintf(`"digest":%d\b`, wire.DigestOf(last.Subject, last.Data))); !digest.Match(m.Data) {
		t.Errorf("the checkpoint is not of the event's bytes: %s", m.Data)
	}
	delete(got, "digest")
	delete(got, "said")
	if !reflect.DeepEqual(got, want) {
		t.Errorf("the checkpoint holds\n%v\nwant\n%v", got, want)
	}
}

// putInForce stores a set of the fleet's baselines and puts it in force.
func putInForce(t *testing.T, l *stream.Log, set *fleet.Set) {
	t.Helper()
	text, err := json.Marshal(set)
	if err != nil {
		t.Fatal(err)
	}
	at := "telltale.book.baselines." + strings.TrimPrefix(set.Hash(), "sha256:")
	raw(t, l, at+".0", string(text))
	raw(t, l, at, "1")
	ev := set.Event()
	ev.Data.(*fleet.BaselineData).Set = nil
	send(t, l, ev)
}
