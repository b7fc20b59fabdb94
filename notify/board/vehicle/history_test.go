package vehicle

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"

	"telltale/engine/stream/service"
	"telltale/notify/board/boardtest"
)

// TestHistoryPages: page after page is the whole history, newest first, each entry once; and
// going back leads over the same pages.
func TestHistoryPages(t *testing.T) {
	f := boardtest.Sample(t)
	h := f.Handler(Pages(f.Frame)...)
	for _, vehicle := range []string{"bus-07", "bus-01"} {
		list, err := service.History.Of(t.Context(), f.Service, service.Question{Vehicle: vehicle, Units: []string{}})
		if err != nil {
			t.Fatal(err)
		}
		all := placed(newestFirst(list))
		for i := range all[:len(all)-1] {
			if all[i].entry.Time.Before(all[i+1].entry.Time) {
				t.Fatalf("entry %d is older than the one after it", i)
			}
		}
		for size := range 12 {
			pages := turns(all, size+1)
			var got []place
			for _, p := range pages {
				got = append(got, p...)
			}
			if !slices.Equal(got, all) {
				t.Errorf("%s by %d: %d entries of %d", vehicle, size+1, len(got), len(all))
			}
		}
		body := boardtest.Get(t, h, "/v/"+vehicle+"/history").Body.String()
		if n := strings.Count(body, `<td class="date">`); n != min(onPage, len(list)) {
			t.Errorf("%s: %d entries on the first page", vehicle, n)
		}
		if more := strings.Contains(body, `rel="next"`); more != (len(list) > onPage) {
			t.Errorf("%s: more %t of %d", vehicle, more, len(list))
		}
	}
}

// turns are the pages that the links lead over, forth; and checks that each leads back.
func turns(all []place, size int) (out [][]place) {
	var froms []string
	for after := ""; ; {
		d := historyPage{Size: size}
		d.turn(all, choice{afterPlace: after}, "")
		if n := len(froms); n > 0 && !strings.HasSuffix("?after="+froms[n-1], strings.TrimPrefix(d.Back, "?after=")) {
			return nil
		}
		out, froms = append(out, d.shown), append(froms, after)
		if d.Next == "" {
			return out
		}
		after = strings.TrimPrefix(d.Next, "?after=")
	}
}

// TestFiles: what is saved is what the service says, whole.
func TestFiles(t *testing.T) {
	f := boardtest.Sample(t)
	h := f.Handler(Pages(f.Frame)...)
	list, err := service.History.Of(t.Context(), f.Service, service.Question{Vehicle: "bus-07", Units: []string{"km", "L", "degC", "kPa"}})
	if err != nil {
		t.Fatal(err)
	}
	w := boardtest.Get(t, h, "/v/bus-07/history.json")
	lines := strings.Split(strings.TrimSpace(w.Body.String()), "\n")
	if len(lines) != len(list) || w.Header().Get("Content-Disposition") != "attachment; filename=history-bus-07-2031-06-06.jsonl" {
		t.Fatalf("%d of %d entries, as %q", len(lines), len(list), w.Header().Get("Content-Disposition"))
	}
	for i, line := range lines {
		want, err := json.Marshal(list[i])
		if err != nil {
			t.Fatal(err)
		}
		var a, b any
		if json.Unmarshal([]byte(line), &a) != nil || json.Unmarshal(want, &b) != nil || !reflect.DeepEqual(a, b) {
			t.Errorf("entry %d: got %s\nwant %s", i, line, want)
		}
	}
	if n := strings.Count(boardtest.Get(t, h, "/v/bus-07/history.csv").Body.String(), "\n"); n <= len(list) {
		t.Errorf("the table has %d lines", n)
	}
}
