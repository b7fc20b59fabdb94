package lists

import (
	"context"
	"maps"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/stream/wire"
	"telltale/notify/board/boardtest"
)

// What stood before is what one gets by reading from the beginning up to there.
func TestBefore(t *testing.T) {
	f := boardtest.Sample(t)
	s := site{Frame: f.Frame}
	now := standingAt(t, s, boardtest.Morning.AddDate(1, 0, 0))
	// Not between 6 March and 9 May, when an alarm was put aside that became worse then.
	for _, days := range []int{0, 1, 7, 14, 27, 93, 105, 150} {
		at := boardtest.Morning.AddDate(0, 0, -days)
		got, known, err := s.before(t.Context(), now, at)
		if err != nil || !known {
			t.Fatalf("%d days before: %v (%v)", days, known, err)
		}
		for stage := range got {
			if got[stage] == 0 || stage == alarm.Normal {
				delete(got, stage)
			}
		}
		if want := standingAt(t, s, at); !maps.Equal(got, want) {
			t.Errorf("%d days before stood %v, want %v", days, got, want)
		}
	}
}

// standingAt is how many stood at each stage, by what was said from the beginning on.
func standingAt(t *testing.T, s site, at time.Time) map[alarm.Stage]int {
	last := map[[3]string]*alarm.Transition{}
	err := s.Log.EachOutput(context.Background(), 1, "telltale.alarm.*", func(_ wire.Message, o engine.Output) error {
		if x := o.Transition; x != nil && !x.Time.After(at) && x.Standing != alarm.OutOfService {
			last[[3]string{x.Home(), x.Rule, x.Component}] = x
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	n := map[alarm.Stage]int{}
	for _, x := range last {
		if x.To != alarm.Normal && !x.Shelved {
			n[x.To]++
		}
	}
	return n
}

func TestLastWorkingDay(t *testing.T) {
	for now, want := range map[string]string{"2031-06-06": "2031-06-05", "2031-06-09": "2031-06-06", "2031-06-08": "2031-06-06", "2031-06-07": "2031-06-06"} {
		day, _ := time.Parse(time.DateOnly, now)
		if got := lastWorkingDay(day).Format(time.DateOnly); got != want {
			t.Errorf("before %s: %s, want %s", now, got, want)
		}
	}
}
