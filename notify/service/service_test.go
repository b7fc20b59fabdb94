package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/sample"
	"telltale/notify"
	"telltale/notify/delivery"
	"telltale/notify/people"
	"telltale/rules/unit"
)

type logged struct {
	c   notify.Cause
	out []engine.Output
}

// copperRaised is a message of which one person is told.
func copperRaised() logged {
	tick := time.Date(2031, 2, 19, 9, 30, 0, 0, time.UTC)
	return logged{notify.Cause{Key: "e-1", Time: tick}, []engine.Output{{Transition: &alarm.Transition{
		Time: tick, Vehicle: "bus-07", Component: "transmission", Rule: "copper over baseline",
		Transition: alarm.Raised, From: alarm.Normal, To: alarm.Caution, Standing: alarm.Unacknowledged,
		Message: "Copper 131 mg/kg is 3.3 times the baseline",
	}}}}
}

// sends carries whatever it is given.
type sends struct{}

func (sends) Send(context.Context, delivery.Delivery) error { return nil }

func stored(t *testing.T, m *delivery.Memory) (out []string) {
	t.Helper()
	all, err := delivery.All(t.Context(), m)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range all {
		out = append(out, fmt.Sprintf("%s %s %s", d.Person, d.State, d.Subject))
	}
	slices.Sort(out)
	return out
}

// tape is a log that a test speaks into.
type tape struct {
	said    chan logged
	ticks   chan time.Time
	last    atomic.Uint64 // it may be ahead of what was handed over
	trimmed []string      // when, and up to which message
}

func (l *tape) Outputs(ctx context.Context, from uint64, do func(uint64, notify.Cause, []engine.Output) error) error {
	for seq := from; ; seq++ {
		select {
		case m := <-l.said:
			if err := do(seq, m.c, m.out); err != nil {
				return err
			}
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func (l *tape) LastOutput(context.Context) (uint64, error) { return l.last.Load(), nil }

func (l *tape) Ticks(ctx context.Context, do func(time.Time) error) error {
	for {
		select {
		case t := <-l.ticks:
			if err := do(t); err != nil {
				return err
			}
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func (l *tape) KeepSaid(ctx context.Context) { <-ctx.Done() }

func (l *tape) TrimSaid(_ context.Context, before time.Time, told uint64) (uint64, error) {
	l.trimmed = append(l.trimmed, before.Format(time.DateOnly)+" up to "+string('0'+rune(told)))
	return 0, nil
}

// vehicles answers from the register, but where it is asked to be silent.
type vehicles struct{ silent bool }

func (f *vehicles) Vehicle(ctx context.Context, id string) (people.Vehicle, error) {
	if f.silent {
		<-ctx.Done()
		return people.Vehicle{ID: id}, ctx.Err()
	}
	return people.Vehicle{ID: id, Name: "Bus 7", People: []string{"ines"}}, nil
}

func (f *vehicles) OutOfService(context.Context) (map[string]bool, error) { return nil, nil }

func (f *vehicles) Verdicts(context.Context, string, string, unit.System) ([]sample.Verdict, error) {
	return nil, errors.New("no answer")
}

// serving gives a service over the store, and a function that runs it for one term
// around do.
func serving(t *testing.T, m *delivery.Memory) (s *Service, l *tape, f *vehicles, term func(do func())) {
	l, f = &tape{said: make(chan logged), ticks: make(chan time.Time)}, &vehicles{}
	beside := 0
	s = &Service{
		Log: l, Fleet: f, Notifier: &notify.Notifier{Partitions: 2, Log: slog.New(slog.DiscardHandler)},
		Store: func() notify.Store { return m }, Suspect: func() bool { return false },
		Ways: func(context.Context) map[string]Way {
			mail := Way{Way: delivery.Way{Sender: sends{}}}
			mail.Compose = func(m notify.Message) (string, []byte, error) { return "<" + m.Key + ">", []byte(m.Text), nil }
			return map[string]Way{people.Mail: mail}
		},
		Beside: func() (func() error, error) { beside++; return func() error { beside--; return nil }, nil },
	}
	d, err := people.Load("../people/testdata/people.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s.SetDirectory(d)
	return s, l, f, func(do func()) {
		t.Helper()
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- s.Run(ctx) }()
		synctest.Wait()
		if s.Queue() == nil || beside != 1 {
			t.Errorf("in its term it has the queue %v and %d beside it", s.Queue(), beside)
		}
		do()
		cancel()
		if err := <-ended; err != nil || s.Queue() != nil || beside != 0 {
			t.Errorf("after its term: %v, the queue %v, %d beside it", err, s.Queue(), beside)
		}
	}
}

// checkpoint is the last message that need not be read again.
func checkpoint(t *testing.T, m *delivery.Memory) uint64 {
	t.Helper()
	body, err := m.Checkpoint(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var k struct{ Seq uint64 }
	if body == nil {
		return 0
	}
	if err := json.Unmarshal(body, &k); err != nil {
		t.Fatal(err)
	}
	return k.Seq
}

// A tick waits for all that was said before it; what was told is sent, and the
// checkpoint says so at the end of the term.
func TestServiceTicksAfterWhatWasSaid(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := &delivery.Memory{}
		s, l, _, term := serving(t, m)
		term(func() {
			l.last.Store(1)
			tick := time.Date(2031, 2, 19, 9, 45, 0, 0, time.UTC)
			l.ticks <- tick
			time.Sleep(time.Minute)
			if s.ticked.Load() != 0 {
				t.Error("a tick overtook what was said before it")
			}
			l.said <- copperRaised()
			if err := errors.Join(s.Ticked(t.Context(), tick), s.Settle(t.Context())); err != nil {
				t.Error(err)
			}
			if got, want := stored(t, m), []string{"ines sent Look: Bus 7 transmission, copper over baseline"}; !slices.Equal(got, want) {
				t.Errorf("got %q, want %q", got, want)
			}
			if err := s.Leave(t.Context(), "ines", notify.Messages, false, tick); err != nil {
				t.Error(err)
			}
		})
		if got := checkpoint(t, m); got != 1 {
			t.Errorf("the checkpoint is after %d, want 1", got)
		}
	})
}

// What could not be asked of a vehicle before the term ended is not taken for told:
// the next term tells it.
func TestServiceKeepsNothingDoubtful(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := &delivery.Memory{}
		s, l, f, term := serving(t, m)
		f.silent = true
		term(func() {
			l.last.Store(1)
			l.said <- copperRaised()
			synctest.Wait()
		})
		if err := s.Leave(t.Context(), "ines", notify.Messages, false, time.Now()); err == nil || checkpoint(t, m) != 0 {
			t.Errorf("leaving: %v; the checkpoint is after %d", err, checkpoint(t, m))
		}
		f.silent = false
		term(func() {
			l.said <- copperRaised()
			if err := s.Settle(t.Context()); err != nil {
				t.Error(err)
			}
		})
		if got, want := stored(t, m), []string{"ines sent Look: Bus 7 transmission, copper over baseline"}; !slices.Equal(got, want) || checkpoint(t, m) != 1 {
			t.Errorf("got %q, want %q; the checkpoint is after %d", got, want, checkpoint(t, m))
		}
	})
}

// A log that ends before the checkpoint went back: what follows its end is told.
func TestServiceLogWentBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := &delivery.Memory{}
		s, l, _, term := serving(t, m)
		term(func() {
			l.last.Store(3)
			for range 3 {
				l.said <- logged{}
			}
			if err := s.Settle(t.Context()); err != nil {
				t.Error(err)
			}
		})
		l.last.Store(1)
		term(func() {
			l.last.Store(2)
			l.said <- copperRaised()
			if err := s.Settle(t.Context()); err != nil {
				t.Error(err)
			}
		})
		if got := stored(t, m); len(got) != 1 || checkpoint(t, m) != 2 {
			t.Errorf("got %q; the checkpoint is after %d, want 2", got, checkpoint(t, m))
		}
	})
}

// What was sent is kept 400 days and what was said three years, looked at once a day;
// while the clock is suspect nothing is taken for old.
func TestServiceTrims(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := &delivery.Memory{}
		s, l, _, term := serving(t, m)
		var suspect atomic.Bool
		suspect.Store(true)
		s.Suspect = suspect.Load
		body, _ := json.Marshal(delivery.Delivery{Key: "old", State: delivery.Sent, Created: time.Now().Add(-keepTold + 36*time.Hour)})
		if _, err := m.Create(t.Context(), "old", body); err != nil {
			t.Fatal(err)
		}
		term(func() {
			for day, left := range []int{1, 1, 0} {
				if got := stored(t, m); len(got) != left {
					t.Errorf("on day %d there are %q, want %d", day, got, left)
				}
				suspect.Store(false)
				time.Sleep(24 * time.Hour)
				synctest.Wait()
			}
		})
		// The bubble begins at midnight of 1 January 2000.
		if want := []string{"1996-12-30 up to 0", "1996-12-31 up to 0", "1997-01-01 up to 0"}; !slices.Equal(l.trimmed, want) {
			t.Errorf("trimmed %q, want %q", l.trimmed, want)
		}
	})
}
