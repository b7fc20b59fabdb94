package clock

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"testing/synctest"
	"time"
)

// jump sets the wall by so much, so long after the start.
type jump struct{ after, by time.Duration }

// pace runs a pacer for a while, with a wall that jumps, and says what it did.
func pace(t *testing.T, begin, long time.Duration, jumps ...jump) []string {
	t.Helper()
	var did []string
	synctest.Test(t, func(t *testing.T) {
		time.Sleep(begin)
		start := time.Now()
		wall := func() time.Time {
			now := time.Now()
			for _, j := range jumps {
				if time.Since(start) >= j.after {
					now = now.Add(j.by)
				}
			}
			return now
		}
		p := &Pacer{
			machine: machine{wall: wall, elapsed: func() time.Duration { return time.Since(start) }},
			tick: func(_ context.Context, at time.Time) error {
				did = append(did, at.Format("02 15:04"))
				return nil
			},
			tell: func(suspect bool, off time.Duration) {
				did = append(did, fmt.Sprintf("suspect %t %s", suspect, off.Round(time.Second)))
			},
		}
		ctx, cancel := context.WithTimeout(t.Context(), long)
		defer cancel()
		if err := p.Run(ctx); err != nil {
			t.Error(err)
		}
	})
	return did
}

// TestPacer begins at ten past midnight, on the first of a month.
func TestPacer(t *testing.T) {
	const day, year = 24 * time.Hour, 365 * 24 * time.Hour
	for _, tt := range []struct {
		name  string
		jumps []jump
		want  []string
	}{
		{"steady", nil, []string{"01 00:00", "01 00:15", "01 00:30", "01 00:45", "01 01:00"}},
		{"a day ahead and back", []jump{{20 * time.Minute, day}, {40 * time.Minute, -day}},
			[]string{"01 00:00", "01 00:15", "suspect true 24h0m0s", "suspect false 0s", "01 00:45", "01 01:00"}},
		{"a day behind", []jump{{20 * time.Minute, -day}}, []string{"01 00:00", "01 00:15", "suspect true -24h0m0s"}},
		{"a year ahead", []jump{{21 * time.Minute, year}}, []string{"01 00:00", "01 00:15", "01 00:30", "suspect true 8760h0m0s"}},
		{"a year behind and back", []jump{{time.Minute, -year}, {2 * time.Minute, year}},
			[]string{"01 00:00", "suspect true -8760h0m0s", "suspect false 0s", "01 00:15", "01 00:30", "01 00:45", "01 01:00"}},
		{"ten minutes ahead are taken", []jump{{10 * time.Minute, 10 * time.Minute}},
			[]string{"01 00:00", "01 00:15", "01 00:30", "01 00:45", "01 01:00", "01 01:15"}},
		{"back within a quarter", []jump{{19 * time.Minute, -9 * time.Minute}},
			[]string{"01 00:00", "01 00:15", "01 00:30", "01 00:45"}},
		{"back behind a tick, folded as it comes", []jump{{8 * time.Minute, -9 * time.Minute}},
			[]string{"01 00:00", "01 00:15", "01 00:00", "01 00:15", "01 00:30", "01 00:45"}},
		{"a second back behind a tick", []jump{{5 * time.Minute, -time.Second}},
			[]string{"01 00:00", "01 00:15", "01 00:30", "01 00:45", "01 01:00"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := pace(t, 10*time.Minute, 58*time.Minute, tt.jumps...); !slices.Equal(got, tt.want) {
				t.Errorf("did %q\nwant %q", got, tt.want)
			}
		})
	}
}

// TestPacerFails when a tick cannot be made.
func TestPacerFails(t *testing.T) {
	broken := errors.New("the log is full")
	p := New(func(context.Context, time.Time) error { return broken }, func(bool, time.Duration) {})
	if err := p.Run(t.Context()); err != broken {
		t.Errorf("got %v, want %v", err, broken)
	}
}

// TestMachineClock has the elapsed time run on.
func TestMachineClock(t *testing.T) {
	m := machineClock()
	a := m.elapsed()
	for began := time.Now(); time.Since(began) < time.Millisecond; {
		continue
	}
	if b := m.elapsed(); b <= a {
		t.Errorf("%s after %s", b, a)
	}
}
