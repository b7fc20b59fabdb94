package notify

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
			m, s := &memory{keys: map[string]string{}}, &scripted{begun: time.Now()}
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
			var hurt []trouble
			all := runFor(t, c.storm+3*c.after, m, map[string]Sender{"mail": s}, func(q *Queue) { hurt = q.troubles() })
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
				late[h.key] = h.late
			}
			if want := map[bool]int{true: threads}[c.storm > 2*time.Hour]; len(late) < want || want == 0 && len(hurt) > 0 || len(hurt) != len(late) {
				t.Errorf("after a storm of %s the operators hear of %d: %+v", c.storm, len(hurt), hurt)
			}
		})
	}
}

// The waits of Standard Webhooks 1.0.0 between calls: 5 s, 5 min, 30 min, 2 h, 5 h,
// 10 h, 14 h, 20 h, 24 h; after the tenth it is given up. What Retry-After asks for
// is waited for.
func TestWebhookSchedule(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, s := &memory{keys: map[string]string{}}, &scripted{begun: time.Now()}
		s.say = func(d Delivery, try int) error {
			if d.Key == "asked" && try == 1 {
				return &Failure{Class: Temporary, Wait: 3 * time.Hour, Err: errors.New("the receiver answered 429")}
			}
			if d.Key == "asked" {
				return nil
			}
			return errors.New("the receiver answered 503")
		}
		for _, key := range []string{"hook", "asked"} {
			d := waiting(key, "")
			d.Way, d.To = "webhook", "https://"+key+".larkfell.example/"
			put(m, d)
		}
		all := runFor(t, 100*time.Hour, m, map[string]Sender{"webhook": s})
		var got []time.Duration
		for _, try := range s.tries {
			key, when, _ := strings.Cut(try, " ")
			span, _ := time.ParseDuration(when)
			if key == "hook" {
				got = append(got, span)
			} else if span != 0 && (span < 3*time.Hour || span > 3*time.Hour+20*time.Minute) {
				t.Errorf("called again after %s, asked to wait for three hours", span)
			}
		}
		for i := range got {
			if i > 0 {
				sum := got[i-1] + []time.Duration{5 * time.Second, 5 * time.Minute, 30 * time.Minute, 2 * time.Hour, 5 * time.Hour, 10 * time.Hour, 14 * time.Hour, 20 * time.Hour, 24 * time.Hour}[i-1]
				if got[i] < sum || got[i] > sum+sum/8+time.Second {
					t.Errorf("call %d after %s, want from %s on", i+1, got[i], sum)
				}
			}
		}
		if len(got) != 10 || all["hook"].State != Failed || all["hook"].LastError != "given up after 10 calls: the receiver answered 503" {
			t.Errorf("%d calls, then %s: %s", len(got), all["hook"].State, all["hook"].LastError)
		}
		if d := all["asked"]; d.State != Sent || d.Attempts != 2 {
			t.Errorf("asked to wait: %s after %d", d.State, d.Attempts)
		}
	})
}

// One receiver of webhooks that hangs holds up no other.
func TestSlowReceiverHoldsUpNoOther(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := &memory{keys: map[string]string{}}
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
		all := runFor(t, time.Second, m, map[string]Sender{"webhook": s})
		if all["quick"].State != Sent || len(s.tries) != 5 {
			t.Errorf("%s; %d tries, want the quick one and four", all["quick"].State, len(s.tries))
		}
	})
}
