package service

import (
	"fmt"
	"log/slog"
	"os"
	"strings"
	"testing"
	"time"

	natsserver "github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/alarm"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/server"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/wire"
	"telltale/testdata/quick"
)

// storedStream copies a stream of a folder that nobody writes to; put puts the copy
// back.
func storedStream(t *testing.T, dir, name string) (put func()) {
	t.Helper()
	older := t.TempDir()
	copyDir(t, older, streamDir(t, dir, name))
	return func() {
		t.Helper()
		at := streamDir(t, dir, name)
		if err := os.RemoveAll(at); err != nil {
			t.Fatal(err)
		}
		copyDir(t, at, older)
	}
}

// lived has a service fold some days in a folder, from the beginning where from is
// 1, and end as given.
func lived(t *testing.T, dir string, from, to int, end func(*testing.T, *Service)) {
	t.Helper()
	srv := servertest.Embed(t, dir)
	l := open(t, srv)
	s := run(t, l, quiet)
	if from == 1 {
		begin(t, l)
	}
	days(t, l, from, to)
	caughtUp(t, s)
	end(t, s)
	srv.Close()
}

// epochOf is the highest epoch of a service's partitions.
func epochOf(s *Service) (most uint64) {
	for _, p := range s.Health().Partitions {
		most = max(most, p.Epoch)
	}
	return most
}

// toldAndStanding is how each alarm was told last, and how it stands.
func toldAndStanding(t *testing.T, l *stream.Log, s *Service) (told, stands map[alarmID]alarm.Stage) {
	t.Helper()
	told, stands = map[alarmID]alarm.Stage{}, map[alarmID]alarm.Stage{}
	for _, m := range published(t, l) {
		for _, o := range m.Outputs {
			if tr := o.Transition; tr != nil {
				if told[idOf(tr)] = tr.To; tr.To == "normal" {
					delete(told, idOf(tr))
				}
			}
		}
	}
	for _, a := range standings(t, s) {
		if a.To != "normal" {
			stands[idOf(&a.Transition)] = a.To
		}
	}
	return told, stands
}

// TestEventsWentBack puts an older log of events in place of the one that was folded,
// or none. The gateways send again what they hold, and go on. What is said is what
// one unbroken run would have said, once.
func TestEventsWentBack(t *testing.T) {
	quick.Beside(t)
	want := unbroken(t, 20)
	for _, tt := range []struct {
		name    string
		resent  int // the day from which the events are sent again
		crashes int // in the middle of reading again
	}{
		{"rolled back", 8, 0},
		{"rolled back, and crashes", 8, 3},
		{"made anew", 1, 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			lived(t, dir, 1, 8, stop)
			older := storedStream(t, dir, stream.EventsStream)
			lived(t, dir, 8, 16, stop)
			if tt.resent == 1 {
				if err := os.RemoveAll(streamDir(t, dir, stream.EventsStream)); err != nil {
					t.Fatal(err)
				}
			} else {
				older()
			}
			l := open(t, servertest.Embed(t, dir))
			for range tt.crashes {
				s := run(t, l, quiet)
				kill(t, s)
			}
			s := run(t, l, quiet)
			if n := epochOf(s); n != 2 {
				t.Errorf("after the log went back it is epoch %d, want 2", n)
			}
			if tt.resent == 1 {
				begin(t, l)
			}
			days(t, l, tt.resent, 20)
			caughtUp(t, s)
			same(t, "said", saidLines(t, l), want)
			stop(t, s)
			s = run(t, l, quiet)
			if n := epochOf(s); n != 2 {
				t.Errorf("after a restart it is epoch %d, want 2", n)
			}
			caughtUp(t, s)
			same(t, "said after a restart", saidLines(t, l), want)
		})
	}
}

// TestToldOfWhatIsGone crashes after something was told and before it was written
// down, and then the log loses the events that it rests on. That is taken back, and
// comes again with the events.
func TestToldOfWhatIsGone(t *testing.T) {
	quick.Beside(t)
	dir := t.TempDir()
	lived(t, dir, 1, 8, stop)
	older := storedStream(t, dir, stream.EventsStream)
	lived(t, dir, 8, 16, kill)
	older()
	l := open(t, servertest.Embed(t, dir))
	s := run(t, l, quiet)
	caughtUp(t, s)
	told, stands := toldAndStanding(t, l, s)
	if fmt.Sprint(told) != fmt.Sprint(stands) {
		t.Errorf("told %v\nstanding %v", told, stands)
	}
	marked := 0
	for _, m := range published(t, l) {
		if m.Reconciled {
			marked++
		}
	}
	if marked == 0 {
		t.Error("nothing is marked as reconciled")
	}
}

// TestSaidWentBack puts an older copy of what was said in its place: what it lacks
// and still stands is told again, marked.
func TestSaidWentBack(t *testing.T) {
	quick.Beside(t)
	dir := t.TempDir()
	lived(t, dir, 1, 8, stop)
	older := storedStream(t, dir, stream.AlarmsStream)
	lived(t, dir, 8, 16, stop)
	older()
	l := open(t, servertest.Embed(t, dir))
	for range 2 {
		s := run(t, l, quiet)
		caughtUp(t, s)
		told, stands := toldAndStanding(t, l, s)
		if len(stands) < 8 || fmt.Sprint(told) != fmt.Sprint(stands) {
			t.Errorf("told %v\nstanding %v", told, stands)
		}
		kill(t, s)
	}
	s := run(t, l, quiet)
	days(t, l, 16, 20)
	caughtUp(t, s)
	if told, stands := toldAndStanding(t, l, s); fmt.Sprint(told) != fmt.Sprint(stands) {
		t.Errorf("later told %v\nstanding %v", told, stands)
	}
}

// TestReusedSequence has another event under the sequence of the checkpoint's
// last one.
func TestReusedSequence(t *testing.T) {
	quick.Beside(t)
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	begin(t, l)
	days(t, l, 1, 8)
	caughtUp(t, s)
	want := saidLines(t, l)
	stop(t, s)
	w := s.workers[0]
	c := w.at
	c.Format, c.Created, c.Published, c.Digest = wire.Format, l.Events.S.CachedInfo().Created, w.out, c.Digest+1
	data, err := wire.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.State.Store(t.Context(), &nats.Msg{Subject: wire.CheckpointSubject(0), Data: data}); err != nil {
		t.Fatal(err)
	}
	s = run(t, l, quiet)
	caughtUp(t, s)
	for _, p := range s.Health().Partitions {
		if want := map[bool]uint64{true: 2, false: 1}[p.Partition == 0]; p.Epoch != want {
			t.Errorf("partition %d is in epoch %d, want %d", p.Partition, p.Epoch, want)
		}
	}
	var claims []string
	for _, m := range published(t, l) {
		if m.Claim != nil && m.Claim.Back != "" {
			claims = append(claims, m.Claim.Back)
		}
	}
	if len(claims) != 1 || !strings.HasPrefix(claims[0], "the log went back: event ") || !strings.Contains(claims[0], " is not the one that partition 0 folded") {
		t.Errorf("the claims say %q", claims)
	}
	same(t, "said", saidLines(t, l), want)
}

// TestRecordAheadOfTheLog has no checkpoint that knows of the events that a record
// holds and the log lacks.
func TestRecordAheadOfTheLog(t *testing.T) {
	quick.Beside(t)
	dir := t.TempDir()
	lived(t, dir, 1, 8, stop)
	events, said, checks := storedStream(t, dir, stream.EventsStream), storedStream(t, dir, stream.AlarmsStream), map[int][]byte{}
	lived(t, dir, 8, 9, func(t *testing.T, s *Service) {
		for p := range stream.Partitions {
			m, err := s.log.State.Last(t.Context(), wire.CheckpointSubject(p))
			if err != nil {
				t.Fatal(err)
			}
			checks[p] = m.Data
		}
		stop(t, s)
		for p, data := range checks {
			if err := s.log.State.Store(t.Context(), &nats.Msg{Subject: wire.CheckpointSubject(p), Data: data}); err != nil {
				t.Fatal(err)
			}
		}
	})
	events()
	said()
	l := open(t, servertest.Embed(t, dir))
	s := run(t, l, quiet)
	caughtUp(t, s)
	if n := s.Health().Partitions[stream.Partition(aFleet()[3])].Epoch; n != 2 {
		t.Errorf("the partition of a record that is ahead is in epoch %d, want 2", n)
	}
	days(t, l, 8, 20)
	caughtUp(t, s)
	if told, stands := toldAndStanding(t, l, s); fmt.Sprint(told) != fmt.Sprint(stands) {
		t.Errorf("told %v\nstanding %v", told, stands)
	}
}

// TestEventsTakenOut has the oldest events taken out of the log, and then a record
// lost that they made: what is left is folded onto the records that are left.
func TestEventsTakenOut(t *testing.T) {
	quick.Beside(t)
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	begin(t, l)
	days(t, l, 1, 10)
	caughtUp(t, s)
	want := standings(t, s)
	stop(t, s)
	cfg := l.Events.S.CachedInfo().Config
	cfg.MaxMsgs, cfg.Discard = 40, jetstream.DiscardOld
	if _, err := l.JS.UpdateStream(t.Context(), cfg); err != nil {
		t.Fatal(err)
	}
	lost := aFleet()[3]
	if err := l.State.S.Purge(t.Context(), jetstream.WithPurgeSubject(wire.RecordSubject(stream.Partition(lost), intake.Token(lost)))); err != nil {
		t.Fatal(err)
	}
	s = run(t, l, quiet)
	caughtUp(t, s)
	for _, a := range standings(t, s) {
		for _, b := range want {
			if idOf(&a.Transition) == idOf(&b.Transition) && a.To != b.To {
				t.Errorf("vehicle %s stands %s, want %s", a.Vehicle, a.To, b.To)
			}
		}
	}
	if got := standings(t, s); len(got) < len(want)-1 {
		t.Errorf("%d alarms stand, want all of %d but those of %s", len(got), len(want), lost)
	}
}

// TestWentBackWhileRunning has the NATS server come back with an older store while
// replicas run.
func TestWentBackWhileRunning(t *testing.T) {
	quick.Beside(t)
	want := unbroken(t, 20)
	dir := t.TempDir()
	port := natsserver.RANDOM_PORT
	up := func() *natsserver.Server {
		t.Helper()
		ns, err := natsserver.NewServer(&natsserver.Options{ServerName: "fleet", Host: "127.0.0.1", Port: port, JetStream: true, StoreDir: dir + "/nats", NoSigs: true, NoLog: true})
		if err != nil {
			t.Fatal(err)
		}
		go ns.Start()
		if !ns.ReadyForConnections(10 * time.Second) {
			t.Fatal("the NATS server does not come up")
		}
		return ns
	}
	down := func(ns *natsserver.Server) { ns.Shutdown(); ns.WaitForShutdown() }
	ns := up()
	t.Cleanup(func() { down(ns) })
	url := ns.ClientURL()
	if _, err := fmt.Sscanf(url[strings.LastIndexByte(url, ':'):], ":%d", &port); err != nil {
		t.Fatal(err)
	}
	join := func() *stream.Log {
		t.Helper()
		nc, err := server.Join(t.Context(), url, slog.New(slog.DiscardHandler), nats.ReconnectWait(20*time.Millisecond), nats.ReconnectJitter(0, 0))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(nc.Close)
		l, err := stream.Open(t.Context(), nc, stream.LogConfig{Patience: 2 * time.Second, Log: slog.New(slog.DiscardHandler)})
		if err != nil {
			t.Fatal(err)
		}
		return l
	}
	l := join()
	a, b := run(t, l, shared), run(t, join(), shared)
	begin(t, l)
	days(t, l, 1, 8)
	caughtUp(t, a)
	divided(t, 5*time.Second, a, b)
	down(ns)
	older := storedStream(t, dir, stream.EventsStream)
	ns = up()
	days(t, l, 8, 16)
	caughtUp(t, a)
	within(t, 10*time.Second, "all partitions have written where they stand", func() bool { return allWritten(t, l) })
	down(ns)
	older()
	ns = up()
	within(t, time.Minute, "all partitions begin an epoch", func() bool {
		n := 0
		for _, p := range a.HealthOfAll(t.Context()).Partitions {
			if p.Epoch == 2 {
				n++
			}
		}
		return n == stream.Partitions
	})
	days(t, l, 8, 20)
	caughtUp(t, b)
	same(t, "said", saidLines(t, l), want)
}

// allWritten reports whether every partition's checkpoint is at its last event. One that
// is not has nothing to lose by an older log.
func allWritten(t *testing.T, l *stream.Log) bool {
	t.Helper()
	for p := range stream.Partitions {
		m, err := l.State.Last(t.Context(), wire.CheckpointSubject(p))
		if err != nil {
			t.Fatal(err)
		}
		end, err := lastOf(t.Context(), l, p)
		if err != nil {
			t.Fatal(err)
		}
		if m == nil {
			return false
		}
		c, err := wire.DecodeCheckpoint(m.Data)
		if err != nil {
			t.Fatal(err)
		}
		if c.Seq < end {
			return false
		}
	}
	return true
}
