package webhook

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"telltale/notify/delivery"
)

// sending calls by a function.
type sending func(d delivery.Delivery) error

func (s sending) Send(_ context.Context, d delivery.Delivery) error { return s(d) }

// The waits of Standard Webhooks 1.0.0 between calls: 5 s, 5 min, 30 min, 2 h, 5 h,
// 10 h, 14 h, 20 h, 24 h; after the tenth it is given up. What Retry-After asks for
// is waited for.
func TestWebhookSchedule(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, begun, tries := &delivery.Memory{}, time.Now(), map[string][]time.Duration{}
		var mu sync.Mutex
		calls := sending(func(d delivery.Delivery) error {
			mu.Lock()
			defer mu.Unlock()
			tries[d.Key] = append(tries[d.Key], time.Since(begun))
			if d.Key == "asked" && len(tries[d.Key]) == 1 {
				return &delivery.Failure{Class: delivery.Temporary, Wait: 3 * time.Hour, Err: errors.New("the receiver answered 429")}
			}
			if d.Key == "asked" {
				return nil
			}
			return errors.New("the receiver answered 503")
		})
		way := (&Sender{}).Way()
		way.Sender = calls
		q := &delivery.Queue{Store: m, Ways: map[string]delivery.Way{"webhook": way}, Workers: 1, Log: slog.New(slog.DiscardHandler)}
		for _, key := range []string{"hook", "asked"} {
			d := delivery.Delivery{Key: key, Way: "webhook", To: "https://" + key + ".larkfell.example/", State: delivery.Waiting, Created: time.Now()}
			body, _ := json.Marshal(d)
			if _, err := m.Create(t.Context(), key, body); err != nil {
				t.Fatal(err)
			}
		}
		ctx, cancel := context.WithTimeout(t.Context(), 100*time.Hour)
		defer cancel()
		q.Run(ctx)
		list, err := delivery.All(t.Context(), m)
		if err != nil || len(list) != 2 {
			t.Fatal(list, err)
		}
		all := map[string]delivery.Delivery{list[0].Key: list[0], list[1].Key: list[1]}
		for _, span := range tries["asked"] {
			if span != 0 && (span < 3*time.Hour || span > 3*time.Hour+20*time.Minute) {
				t.Errorf("called again after %s, asked to wait for three hours", span)
			}
		}
		got := tries["hook"]
		for i := range got {
			if i > 0 {
				sum := got[i-1] + []time.Duration{5 * time.Second, 5 * time.Minute, 30 * time.Minute, 2 * time.Hour, 5 * time.Hour, 10 * time.Hour, 14 * time.Hour, 20 * time.Hour, 24 * time.Hour}[i-1]
				if got[i] < sum || got[i] > sum+sum/8+time.Second {
					t.Errorf("call %d after %s, want from %s on", i+1, got[i], sum)
				}
			}
		}
		if len(got) != 10 || all["hook"].State != delivery.Failed || all["hook"].LastError != "given up after 10 calls: the receiver answered 503" {
			t.Errorf("%d calls, then %s: %s", len(got), all["hook"].State, all["hook"].LastError)
		}
		if d := all["asked"]; d.State != delivery.Sent || d.Attempts != 2 {
			t.Errorf("asked to wait: %s after %d", d.State, d.Attempts)
		}
	})
}
