package service

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/wire"
	"telltale/testdata/quick"
)

// copyDir copies a folder that nobody writes to.
func copyDir(t *testing.T, to, from string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
}

// streamDir is where a stream lies in a service's folder.
func streamDir(t *testing.T, dir, name string) string {
	t.Helper()
	var found string
	err := filepath.WalkDir(filepath.Join(dir, "nats"), func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() && d.Name() == name {
			found = path
		}
		return err
	})
	if err != nil || found == "" {
		t.Fatalf("stream %s not found in %s: %v", name, dir, err)
	}
	return found
}

// TestRecordsLost takes a record away that the checkpoint counts, as a power
// failure can: all events are folded again, and nothing is said twice.
func TestRecordsLost(t *testing.T) {
	quick.Beside(t)
	want := unbroken(t, 16)
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	begin(t, l)
	days(t, l, 1, 10)
	caughtUp(t, s)
	stop(t, s)
	lost := aFleet()[3]
	if err := l.State.S.Purge(t.Context(), jetstream.WithPurgeSubject(wire.RecordSubject(stream.Partition(lost), intake.Token(lost)))); err != nil {
		t.Fatal(err)
	}
	s = run(t, l, quiet)
	days(t, l, 10, 16)
	caughtUp(t, s)
	same(t, "said", saidLines(t, l), want)
	stop(t, s)
	s = run(t, l, quiet) // the records are whole again
	caughtUp(t, s)
	if got := s.Health().Partitions[stream.Partition(lost)].Events; got != 0 {
		t.Errorf("%d events were folded again, want none", got)
	}
}

// TestDamagedRecord has a stored record in which a digit went wrong. Nothing is said
// or written on its ground: the service says whose it is and ends, and who asks for a
// list before that is told that the partition did not answer.
func TestDamagedRecord(t *testing.T) {
	quick.Beside(t)
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	begin(t, l)
	days(t, l, 1, 5)
	caughtUp(t, s)
	stop(t, s)
	v := aFleet()[3]
	subject := wire.RecordSubject(stream.Partition(v), intake.Token(v))
	m, err := l.State.Last(t.Context(), subject)
	if err != nil {
		t.Fatal(err)
	}
	damaged := nats.Msg{Subject: subject, Header: nats.Header{wire.PositionHeader: {m.Header.Get(wire.PositionHeader)}},
		Data: bytes.Replace(m.Data, []byte(`"first":`), []byte(`"first":x`), 1)}
	if err := l.State.Store(t.Context(), &damaged); err != nil {
		t.Fatal(err)
	}
	said := saidLines(t, l)
	w := newWorker(l, quiet, stream.NewShelf(l), stream.Partition(v))
	if err := w.load(t.Context()); err != nil {
		t.Fatal(err)
	}
	if list, err := Due.ask(w, Question{}); err == nil {
		t.Errorf("a list that lacks a vehicle was given as whole: %v", list)
	}
	s = run(t, l, quiet)
	<-s.Done()
	want := fmt.Sprintf("partition %d: reading the record of vehicle %q: ", stream.Partition(v), v)
	if err := s.Err(); err == nil || !strings.HasPrefix(err.Error(), want) {
		t.Errorf("got %v, want %s…", err, want)
	}
	same(t, "said", saidLines(t, l), said)
	if got, err := l.State.Last(t.Context(), subject); err != nil || !bytes.Equal(got.Data, damaged.Data) {
		t.Errorf("the record was written over: %s (%v)", got.Data, err)
	}
}

// TestNewerCheckpoint is of a program that this one cannot know.
func TestNewerCheckpoint(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	if err := l.State.Store(t.Context(), &nats.Msg{Subject: wire.CheckpointSubject(3), Data: []byte(`{"format":2}`)}); err != nil {
		t.Fatal(err)
	}
	_, err := Start(t.Context(), l, quiet)
	const want = "starting the partitions: partition 3: reading a checkpoint: it was written by a newer program (format 2, this one knows 1)"
	if err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

// TestBookGone has no text for the book in force.
func TestBookGone(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	b := adopt(t, l, bookText)
	if err := l.Books.S.Purge(t.Context()); err != nil {
		t.Fatal(err)
	}
	s := run(t, l, quiet)
	<-s.Done()
	want := `reading book "` + b.Hash + `": its text is gone from stream BOOKS, adopt its files again`
	if err := s.Err(); err == nil || !strings.HasSuffix(err.Error(), want) {
		t.Errorf("got %v, want %s", err, want)
	}
	if err := s.CaughtUp(t.Context()); err == nil {
		t.Error("those who wait for it are not told")
	}
}

// TestUnregisteredGo folds events of a vehicle that nobody registers until its
// record goes, and comes back.
func TestUnregisteredGo(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	adopt(t, l, bookText)
	send(t, l, reading("ghost", 1, 10))
	if err := l.PublishTick(t.Context(), start.AddDate(0, 0, 2)); err != nil {
		t.Fatal(err)
	}
	caughtUp(t, s)
	same(t, "unregistered", unregistered(t, s), []string{"ghost"})
	stop(t, s)
	s = run(t, l, quiet)
	if err := l.PublishTick(t.Context(), start.AddDate(0, 0, 100)); err != nil {
		t.Fatal(err)
	}
	for n, want := range [][]string{nil, {"ghost"}} {
		if n == 1 {
			send(t, l, reading("ghost", 101, 20))
		}
		caughtUp(t, s)
		same(t, "unregistered", unregistered(t, s), want)
		stop(t, s)
		s = run(t, l, quiet)
		same(t, "unregistered after a restart", unregistered(t, s), want)
	}
}
