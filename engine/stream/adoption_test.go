package stream

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/rules"
)

// otherText is bookText with a longer interval, by which less is due.
var otherText = strings.Replace(bookText, "1000 km", "1300 km", 1)

// changing is a fleet's days with a change of the book in the middle, and back near
// the end. at is called where it is to change.
func changing(t *testing.T, l *Log, at func(adopt func())) {
	t.Helper()
	begin(t, l)
	days(t, l, 1, 8)
	at(func() { adopt(t, l, otherText) })
	days(t, l, 8, 12)
	at(func() { adopt(t, l, bookText) })
	days(t, l, 12, 16)
}

// TestAdoptedInRecovery has books adopted while every partition is half way through
// what a killed service had told and not written down. The adoption is folded in its
// place, the partitions crash again, and in the end nothing was told twice or left out,
// and nothing is taken for the doing of another program.
func TestAdoptedInRecovery(t *testing.T) {
	beside(t)
	whole := open(t, embed(t, t.TempDir()))
	s := run(t, whole, quiet)
	changing(t, whole, func(adopt func()) { adopt() })
	caughtUp(t, s)
	want := saidLines(t, whole)

	l := open(t, embed(t, t.TempDir()))
	changing(t, l, func(adopt func()) {
		s := run(t, l, quiet)
		caughtUp(t, s)
		kill(t, s)
		var goOn []func(uint64)
		for p := range Partitions {
			fold := recovering(t, l, p)
			fold(s.worker(p).at.Seq / 2)
			goOn = append(goOn, fold)
		}
		adopt()
		for p, fold := range goOn {
			end, err := l.lastOf(t.Context(), p)
			if err != nil {
				t.Fatal(err)
			}
			fold(end)
		}
	})
	s = run(t, l, quiet)
	caughtUp(t, s)
	same(t, "said", saidLines(t, l), want)
	for _, m := range published(t, l) {
		if m.Reconciled {
			t.Errorf("reconciled: %+v", m)
		}
	}
}

// recovering makes a partition's next owner, and gives what has it fold on to an event.
// It never writes anything down.
func recovering(t *testing.T, l *Log, p int) (fold func(to uint64)) {
	t.Helper()
	w := newWorker(l, quiet, newShelf(l), p)
	err := w.load(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	msgs, _, err := l.read(t.Context(), l.events, w.at.Seq+1, eventsOf(w.p)...)
	if err != nil {
		t.Fatal(err)
	}
	return func(to uint64) {
		for w.at.Seq < to {
			if err := w.take(t.Context(), <-msgs); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// TestFlipFlop has two replicas put their own book in force again and again, while
// others are killed and begun: each adoption is one event, and what is said is what
// one service says of the same log.
func TestFlipFlop(t *testing.T) {
	beside(t)
	srv := embed(t, t.TempDir())
	l := open(t, srv)
	all := []*Service{replica(t, srv), replica(t, srv)}
	begin(t, l)
	for day := range 12 {
		days(t, l, day+1, day+2)
		for _, text := range []string{otherText, bookText} {
			for range 2 { // the second replica finds it in force
				adopt(t, l, text)
			}
		}
		if day%3 == 1 {
			kill(t, all[0])
			all = append(all[1:], replica(t, srv))
		}
	}
	caughtUp(t, all[0])
	if n := count(t, l, bookSubject); n != 2*12+1 {
		t.Errorf("%d book events, want one a change", n)
	}
	again := open(t, embed(t, t.TempDir()))
	copyLog(t, again, l)
	s := run(t, again, quiet)
	caughtUp(t, s)
	want := saidLines(t, again)
	if len(want) < 50 {
		t.Fatalf("the changes say only %q", want)
	}
	same(t, "said", saidLines(t, l), want)
}

// full has no room for the text of a book.
type full struct{ jetstream.JetStream }

func (f full) PublishMsg(ctx context.Context, m *nats.Msg, opts ...jetstream.PublishOpt) (*jetstream.PubAck, error) {
	if strings.HasPrefix(m.Subject, "telltale.book.") && !strings.HasSuffix(m.Subject, ".0") {
		return nil, &jetstream.APIError{Code: 400, Description: "maximum bytes exceeded"}
	}
	return f.JetStream.PublishMsg(ctx, m, opts...)
}

// TestBookStoredFirst has the text of a book not stored in whole: then it does not
// come into force, so that no partition meets an event without its book.
func TestBookStoredFirst(t *testing.T) {
	l := open(t, embed(t, t.TempDir()))
	adopt(t, l, bookText)
	narrow := *l
	narrow.js = full{l.js}
	files := []rules.File{{Name: "oil.yaml", Text: []byte(otherText)}}
	b, err := rules.Load(files)
	if err != nil {
		t.Fatal(err)
	}
	want := fmt.Sprintf("storing book %q: publishing to %q: nats: API error: code=400 err_code=0 description=maximum bytes exceeded", b.Hash, bookToken(b.Hash))
	if _, err := narrow.PublishBook(t.Context(), start, b, files); err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
	if n := count(t, l, bookSubject); n != 1 {
		t.Errorf("%d book events, want 1", n)
	}
	adopt(t, l, otherText) // once there is room
	if hash, err := l.BookInForce(t.Context()); err != nil || hash != b.Hash {
		t.Errorf("%s is in force (%v), want %s", hash, err, b.Hash)
	}
}
