package delivery

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

func secret(key string) Delivery {
	d := waiting(key, "")
	d.Until = d.Created.Add(10 * time.Minute)
	return d
}

// A message that is for some minutes is sent in these or not at all, and what it says is
// not kept once it is over.
func TestSecret(t *testing.T) {
	ok := func(Delivery, int) error { return nil }
	for name, c := range map[string]struct {
		say   func(Delivery, int) error
		want  State
		tries []string
		why   string
	}{
		"sent":        {ok, Sent, []string{"a 0s"}, ""},
		"no such box": {func(Delivery, int) error { return &Failure{Class: Permanent, Err: errors.New("550 no such box")} }, Failed, []string{"a 0s"}, "550 no such box"},
		"greylisted": {func(_ Delivery, try int) error {
			if try == 1 {
				return errors.New("450 greylisted")
			}
			return nil
		}, Sent, []string{"a 0s", "a 1m0s"}, ""},
		"a server that is down": {func(Delivery, int) error { return errors.New("451 later") }, Failed, []string{"a 0s", "a 1m0s", "a 6m0s"},
			"given up, since it would come too late: 451 later"},
		"our own fault": {func(Delivery, int) error { return &Failure{Class: Ours, Err: errors.New("535 login")} }, Failed, []string{"a 0s", "a 5m0s"},
			"given up, since it would come too late: it is too late to send this message"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				m, s := &Memory{}, &scripted{begun: time.Now(), say: c.say}
				put(m, secret("a"))
				d := runFor(t, time.Hour, m, map[string]Way{"mail": {Sender: s}})["a"]
				for i, try := range s.tries { // up to a tenth later each time
					at, _ := time.ParseDuration(strings.TrimPrefix(try, "a "))
					s.tries[i] = "a " + at.Truncate(time.Minute).String()
				}
				if d.State != c.want || d.LastError != c.why || !slices.Equal(s.tries, c.tries) || d.Raw != nil {
					t.Errorf("%s after %q: %q, kept %q; want %s after %q: %q, and nothing", d.State, s.tries, d.LastError, d.Raw, c.want, c.tries, c.why)
				}
				q := &Queue{Store: m}
				if err := q.Retry(t.Context(), "a"); (err == nil) != (c.want == Sent) {
					t.Errorf("tried again: %v", err)
				}
			})
		})
	}
}

// It does not wait behind a flood.
func TestSecretFirst(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, s := &Memory{}, &scripted{begun: time.Now(), slow: func(Delivery) time.Duration { return time.Minute }}
		for _, key := range strings.Fields("a b c d e f g h") {
			put(m, waiting(key, ""))
		}
		late := secret("z")
		late.Created = late.Created.Add(time.Second)
		put(m, late)
		runFor(t, 10*time.Minute, m, map[string]Way{"mail": {Sender: s}})
		if i := slices.Index(s.tries, "z 0s"); i < 0 || i > 3 {
			t.Errorf("tries %q: the secret is not among the first", s.tries)
		}
	})
}
