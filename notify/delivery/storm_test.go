package delivery

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// A server that refuses for now, for an hour and for three days: everything goes out
// once it takes mail again, each alarm's messages in their order, with so many tries
// and not all at one moment; the operators hear after an hour that messages wait.
func TestStormOfRefusalsForNow(t *testing.T) {
	for _, c := range []struct {
		storm time.Duration
		tries int // of one delivery, at most
		after time.Duration
	}{{time.Hour, 6, 35 * time.Minute}, {3 * 24 * time.Hour, 78, 67 * time.Minute}} {
		synctest.Test(t, func(t *testing.T) {
			m, s := &Memory{}, &scripted{begun: time.Now()}
			s.say = func(Delivery, int) error {
				if time.Since(s.begun) < c.storm {
					return errors.New("451 4.3.2 not now")
				}
				return nil
			}
			const threads, each = 20, 3
			for i := range threads * each {
				d := waiting(fmt.Sprintf("%02d-%d", i%threads, i/threads), fmt.Sprint("thread", i%threads))
				d.Seq = uint64(i)
				put(m, d)
			}
			var hurt []Trouble
			all := runFor(t, c.storm+3*c.after, m, map[string]Way{"mail": {Sender: s}}, func(q *Queue) { hurt = q.Troubles() })
			first := map[string]time.Duration{}
			at := map[time.Duration]int{}
			for _, try := range s.tries {
				key, when, _ := strings.Cut(try, " ")
				span, _ := time.ParseDuration(when)
				first[key] = span // the last that is left is the one that went through
				at[span]++
			}
			for key, d := range all {
				if d.State != Sent || d.Attempts > c.tries || d.MessageID != "<"+key+">" || d.Unknown != 0 {
					t.Errorf("%s after %s: %s after %d tries", key, c.storm, d.State, d.Attempts)
				}
			}
			for i := range threads {
				var order []time.Duration
				for n := range each {
					order = append(order, first[fmt.Sprintf("%02d-%d", i, n)])
				}
				if !slices.IsSorted(order) {
					t.Errorf("thread %d went out at %v", i, order)
				}
			}
			// Only the first of a thread is tried, twenty at the start; later they are apart.
			for span, n := range at {
				if span > 2*time.Hour && span < c.storm && n > 4 {
					t.Errorf("%d tries at once after %s", n, span)
				}
			}
			late := map[string]bool{}
			for _, h := range hurt {
				late[h.Key] = h.Late
			}
			if want := map[bool]int{true: threads}[c.storm > 2*time.Hour]; len(late) < want || want == 0 && len(hurt) > 0 || len(hurt) != len(late) {
				t.Errorf("after a storm of %s the operators hear of %d: %+v", c.storm, len(hurt), hurt)
			}
		})
	}
}

// One receiver of webhooks that hangs holds up no other.
func TestSlowReceiverHoldsUpNoOther(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := &Memory{}
		s := &scripted{begun: time.Now(), slow: func(d Delivery) time.Duration {
			if strings.HasPrefix(d.Key, "slow") {
				return 20 * time.Second
			}
			return 0
		}}
		for i := range 100 {
			d := waiting(fmt.Sprint("slow-", i), "")
			d.Way, d.To = "webhook", "https://slow.larkfell.example/"
			put(m, d)
		}
		time.Sleep(time.Second) // made after all the others
		quick := waiting("quick", "")
		quick.Way, quick.To = "webhook", "https://quick.larkfell.example/"
		put(m, quick)
		all := runFor(t, time.Second, m, map[string]Way{"webhook": {Sender: s, Lane: func(to string) string { return to }}})
		if all["quick"].State != Sent || len(s.tries) != 5 {
			t.Errorf("%s; %d tries, want the quick one and four", all["quick"].State, len(s.tries))
		}
	})
}
