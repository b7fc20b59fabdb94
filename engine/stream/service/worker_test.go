package service

import (
	"fmt"
	"testing"

	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
	"telltale/testdata/quick"
)

// aFleet is the vehicles of the longer tests: enough for several partitions to
// have some.
func aFleet() []string {
	var out []string
	for i := range 12 {
		out = append(out, fmt.Sprintf("bus-%02d", i))
	}
	return out
}

// days are some days of a fleet: each vehicle read once a day, and a tick.
func days(t *testing.T, l *stream.Log, from, to int) {
	t.Helper()
	for n := from; n < to; n++ {
		for i, v := range aFleet() {
			send(t, l, reading(v, n, 1000+float64(n*(100+10*i))))
		}
		if err := l.PublishTick(t.Context(), start.AddDate(0, 0, n+1)); err != nil {
			t.Fatal(err)
		}
	}
}

// unbroken is what a fleet's days say in one run.
func unbroken(t *testing.T, n int) []string {
	t.Helper()
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	begin(t, l)
	days(t, l, 1, n)
	caughtUp(t, s)
	return saidLines(t, l)
}

func begin(t *testing.T, l *stream.Log) {
	t.Helper()
	adopt(t, l, bookText)
	for _, v := range aFleet() {
		send(t, l, vehicle(v))
	}
}

// TestRestarts stops and kills the service between days, with records written,
// with records written but no checkpoint, and with nothing written at all.
func TestRestarts(t *testing.T) {
	quick.Beside(t)
	want := unbroken(t, 16)
	if len(want) < 24 {
		t.Fatalf("the days say only %q", want)
	}
	for name, end := range map[string]func(*testing.T, *Service){
		"stopped": stop,
		"killed":  kill,
		"killed before the checkpoint": func(t *testing.T, s *Service) {
			withWorkersStopped(t, s, func(w *worker) error {
				for v := range w.dirty {
					if err := w.writeRecords(t.Context(), []string{v}); err != nil {
						return err
					}
				}
				return nil
			})
		},
		"killed between records": func(t *testing.T, s *Service) {
			withWorkersStopped(t, s, func(w *worker) error {
				for v := range w.dirty {
					return w.writeRecords(t.Context(), []string{v})
				}
				return nil
			})
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			for n := range 5 {
				srv := servertest.Embed(t, dir)
				l := open(t, srv)
				s := run(t, l, quiet)
				if n == 0 {
					begin(t, l)
				}
				days(t, l, 1+3*n, 4+3*n)
				if n%2 == 0 {
					caughtUp(t, s)
				}
				end(t, s)
				if n == 4 {
					s := run(t, l, quiet)
					caughtUp(t, s)
					same(t, "said", saidLines(t, l), want)
				}
				srv.Close()
			}
		})
	}
}

// withWorkersStopped ends the service as a crash would, and then does to each
// worker what it had begun to do.
func withWorkersStopped(t *testing.T, s *Service, do func(*worker) error) {
	t.Helper()
	kill(t, s)
	for _, w := range s.workers {
		if !w.torn {
			if err := do(w); err != nil {
				t.Fatal(err)
			}
		}
	}
}
