package service

import (
	"context"
	"reflect"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/engine/stream/feed"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/server/servertest"
	"telltale/testdata/quick"
)

const timeText = `book: 1
tasks:
  inspection:
    title: Inspect it
    every: {time: 10 days}
    tolerance: {time: 5 days}
    unknown history: from first reading
`

// TestRecordsAheadOfTheCheckpoint crashes after the records were written and
// before the checkpoint was. The records know already what the events after the
// checkpoint brought about, an answer among it, and must not live through it
// again: the book without the rule would withdraw the alarm and the book with it
// raise it anew, which would undo the answer.
func TestRecordsAheadOfTheCheckpoint(t *testing.T) {
	quick.Beside(t)
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	adopt(t, l, timeText)
	send(t, l, vehicle("a"), reading("a", 0, 1000), vehicle("b"), reading("b", 0, 1000))
	caughtUp(t, s)
	stop(t, s)

	s = run(t, l, quiet)
	if err := l.PublishTick(t.Context(), start.AddDate(0, 0, 16)); err != nil {
		t.Fatal(err)
	}
	send(t, l, reading("a", 15, 1100))
	adopt(t, l, bookText) // which does not ask for an inspection
	adopt(t, l, timeText)
	send(t, l, reported("a", "ack", event.AnswerEvent, start.AddDate(0, 0, 16).Add(time.Hour),
		&event.AnswerData{Answer: "acknowledge", Rule: "inspection", By: "ines"}))
	caughtUp(t, s)
	want, said := standings(t, s), saidLines(t, l)
	if len(want) != 2 || want[0].To != "overdue" || want[0].Standing != "acknowledged" {
		t.Fatalf("the events made %+v", want)
	}
	kill(t, s)
	w := s.workers[stream.Partition("a")]
	if err := w.writeRecords(t.Context(), []string{"a"}); err != nil {
		t.Fatal(err)
	}

	halfWay(t, l, "a")
	for range 2 {
		s = run(t, l, quiet)
		caughtUp(t, s)
		if got := standings(t, s); !reflect.DeepEqual(got, want) {
			t.Errorf("after a crash there stands\n%+v\nwant\n%+v", got, want)
		}
		if now := s.Health().Now; !now.Equal(start.AddDate(0, 0, 16)) {
			t.Errorf("after a crash it is %s", now)
		}
		same(t, "said", saidLines(t, l), said)
		stop(t, s)
	}
}

// halfWay begins to fold what follows the checkpoint, writes down where it got to,
// and crashes again. The vehicle's newer record must stay.
func halfWay(t *testing.T, l *stream.Log, vehicle string) {
	t.Helper()
	w := newWorker(l, quiet, stream.NewShelf(l), stream.Partition(vehicle))
	if err := w.load(t.Context()); err != nil {
		t.Fatal(err)
	}
	msgs, _, err := l.Events.Read(t.Context(), w.at.Seq+1, feed.Subjects(w.p)...)
	if err != nil {
		t.Fatal(err)
	}
	newer := w.records[vehicle].at
	for range 3 {
		if err := w.take(t.Context(), <-msgs); err != nil {
			t.Fatal(err)
		}
	}
	if w.at.Seq >= newer.Seq {
		t.Fatalf("three events lead to %d, the record is at %d", w.at.Seq, newer.Seq)
	}
	if err := w.flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	if got := w.records[vehicle].at; got != newer {
		t.Errorf("the record at %s was written over by one at %s", newer, got)
	}
}

// TestStoppedInTheMiddleOfAnEvent stops a worker that has folded an event and
// could not publish what it says. The records hold the event and the position does
// not, so nothing is written down.
func TestStoppedInTheMiddleOfAnEvent(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	adopt(t, l, bookText)
	send(t, l, vehicle("a"), reading("a", 1, 1000))
	caughtUp(t, s)
	stop(t, s)

	w := newWorker(l, quiet, stream.NewShelf(l), stream.Partition("a"))
	if err := w.load(t.Context()); err != nil {
		t.Fatal(err)
	}
	before := w.at.Seq
	w.alarms.Stream = &jet.Stream{JS: deaf{l.JS}, S: l.Alarms.S}
	send(t, l, reading("a", 2, 1990))
	ctx, cancel := context.WithCancel(t.Context())
	msgs, _, err := l.Events.Read(t.Context(), before+1, "telltale.event.>")
	if err != nil {
		t.Fatal(err)
	}
	if err := w.take(ctx, <-msgs); err == nil {
		t.Fatal("an event counts as folded whose transition was not published")
	}
	cancel()
	if err := w.finish(ctx); err != errStopped {
		t.Fatal(err)
	}
	if c, err := w.readCheckpoint(t.Context()); err != nil || c.Seq != before {
		t.Errorf("the checkpoint is at %d (%v), want %d", c.Seq, err, before)
	}
	if len(w.dirty) == 0 || w.records["a"].at.Seq > before {
		t.Errorf("the record was written at %s", w.records["a"].at)
	}
	s = run(t, l, quiet)
	caughtUp(t, s)
	same(t, "said", saidLines(t, l), []string{"a oil raised to soon"})
}

// deaf loses all that is published.
type deaf struct{ jetstream.JetStream }

func (deaf) PublishMsg(context.Context, *nats.Msg, ...jetstream.PublishOpt) (*jetstream.PubAck, error) {
	return nil, nats.ErrTimeout
}
