package stream

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"telltale/engine/event"
	"telltale/engine/stream/server/servertest"
	"telltale/testdata/quick"
)

// What was sent of a vehicle comes back by all its names, latest first, page by page.
func TestSent(t *testing.T) {
	quick.Beside(t)
	l := open(t, servertest.Embed(t, t.TempDir()))
	var want []string
	for i := range 250 {
		name := []string{"bus-07", "other", "old-07"}[i%3]
		send(t, l, reading(name, i, float64(1000+i)))
		if name != "other" {
			want = append([]string{fmt.Sprintf("/test/%s r-%d", name, i)}, want...)
		}
	}
	names := []string{"bus-07", "old-07"}
	for _, size := range []int{1, 50, 1000} {
		var got []string
		for before, more := uint64(0), true; more; {
			var list []Logged
			var err error
			if list, more, err = l.Sent(t.Context(), names, time.Now().Add(-time.Hour), before, size); err != nil || len(list) == 0 || len(list) > size {
				t.Fatalf("%d events (%v)", len(list), err)
			}
			for _, e := range list {
				if e.Err != nil || e.Event.Kind != event.ReadingEvent || len(e.Text) == 0 {
					t.Fatalf("%+v", e)
				}
				got = append(got, e.Event.ID.Source+" "+e.Event.ID.ID)
			}
			before = list[len(list)-1].Seq
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("by %d: got %d, want %d events", size, len(got), len(want))
		}
	}
	if list, more, err := l.Sent(t.Context(), names, time.Now().Add(time.Hour), 0, 50); len(list) > 0 || more || err != nil {
		t.Errorf("since a time that has not come: %d, %t, %v", len(list), more, err)
	}
}
