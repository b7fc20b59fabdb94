package lists

import (
	"context"
	"maps"
	"sync"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/stream"
)

// stood is what before gives, read once for a moment: what stood then stays so.
type stood struct {
	mu     sync.Mutex
	at     time.Time
	counts map[alarm.Stage]int
}

func (s site) stood(ctx context.Context, now map[alarm.Stage]int, at time.Time) (map[alarm.Stage]int, bool, error) {
	k := s.past
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.counts != nil && k.at.Equal(at) {
		return k.counts, true, nil
	}
	then, known, err := s.before(ctx, now, at)
	if err == nil && known {
		k.at, k.counts = at, then
	}
	return then, known, err
}

// before is how many stood at each stage at an earlier moment: those of now, with what was
// said since taken back. known is false where more was said since than is read for a page.
//
// Taking a vehicle out of service is said by nobody, so it counts as nothing; what was put
// aside then and became worse since counts as what it was.
func (s site) before(ctx context.Context, now map[alarm.Stage]int, at time.Time) (then map[alarm.Stage]int, known bool, err error) {
	type alarmOf struct{ vehicle, rule, component string }
	first, last := map[alarmOf]*alarm.Transition{}, map[alarmOf]*alarm.Transition{}
	past := map[int]bool{} // each partition says what it says in order, but not in order with the others
	_, whole, err := s.Log.SaidBefore(ctx, stream.SaidAt{}, func(t stream.Said) bool {
		switch p := stream.Partition(t.Home()); {
		case past[p] || !t.Time.After(at):
			past[p] = true
		case t.Standing != alarm.OutOfService:
			k := alarmOf{t.Home(), t.Rule, t.Component}
			if first[k] = t.Transition; last[k] == nil {
				last[k] = t.Transition
			}
		}
		return len(past) < stream.Partitions
	})
	then = maps.Clone(now)
	for k, t := range first {
		if !last[k].Shelved {
			then[last[k].To]--
		}
		if t.Transition != alarm.Unshelved && (!t.Shelved || t.Transition == alarm.NowShelved) {
			then[t.From]++
		}
	}
	return then, whole || len(past) == stream.Partitions, err
}
