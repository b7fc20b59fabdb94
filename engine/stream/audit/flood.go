package audit

import (
	"fmt"
	"maps"
	"slices"
	"time"
)

// How many refusals are written one by one in an hour: of the same person, network and
// kind, and in all. What is above is counted. So whoever has no rights here can write
// less than a quarter of what the stream keeps, and cannot push out what others did.
const (
	sameRefusals = 20
	allRefusals  = 100
)

// refusals are those of one hour.
type refusals struct {
	hour  time.Time
	all   int
	same  map[[3]string]int
	above map[What]int // those that were counted alone
}

// lists reports whether a refusal is written by itself. It is asked for times of one hour,
// see turned.
func (r *refusals) lists(e Entry) bool {
	key := [3]string{e.Who, e.From, string(e.What)}
	if r.all >= allRefusals || r.same[key] >= sameRefusals {
		if r.above == nil {
			r.above = map[What]int{}
		}
		r.above[e.What]++
		return false
	}
	if r.same == nil {
		r.same = map[[3]string]int{}
	}
	r.all++
	r.same[key]++
	return true
}

// turned begins the hour of a time, and gives back what there is to say of the one before.
func (r *refusals) turned(now time.Time) []Entry {
	if hour := now.Truncate(time.Hour); !hour.Equal(r.hour) {
		out := r.rest(now)
		*r = refusals{hour: hour}
		return out
	}
	return nil
}

// rest says how many refusals were counted alone, by kind.
func (r *refusals) rest(now time.Time) (out []Entry) {
	for _, what := range slices.Sorted(maps.Keys(r.above)) {
		out = append(out, Entry{Time: now.UTC(), What: what, Outcome: Refused, Words: fmt.Sprintf("%d more like these in the hour from %s, too many to be listed one by one",
			r.above[what], r.hour.Format("2006-01-02 15:04 UTC"))})
	}
	r.above = nil
	return out
}
