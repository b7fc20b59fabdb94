package board_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/engine/stream/audit"
	"telltale/notify/board/boardtest"
)

// forged is what a form says of things that are not for forms to say.
var forged = url.Values{"source": {"/people/operator"}, "id": {"chosen"}, "type": {"telltale.vehicle.v1"}, "subject": {"zyxw-9"}, "vehicle": {"zyxw-9"},
	"recorded": {"2020-01-01T00:00:00Z"}, "person": {"operator"}, "Who": {"/people/operator"}, "events": {"[]"}, "token": {secretOfTest}}

// secretOfTest stands in what is sent, in addresses and in forms.
const secretOfTest = "JBSWY3DPEHPK3PXPGEZDGNBVGY3TQOJQJBSWY3DPEHPK3PXPGEZD"

// TestWhoDidEachVerb enters by each form of the board, as who may and who may not: the trail
// says who did it and what became of it, and what was stored is from whoever sent it, whatever
// the form says. Nothing that is secret stands in the trail, nor a whole address.
func TestWhoDidEachVerb(t *testing.T) {
	t.Parallel()
	f := depots(t, true)
	_, h := signedIn(f)
	n := 0
	type step struct {
		who, path string
		form      url.Values // nil: look
		want      []string
	}
	formOf := func(pairs ...string) url.Values {
		n++
		v := url.Values{"form": {fmt.Sprintf("%020d", n)}, "do": {"enter"}}
		for k, list := range forged {
			v[k] = list
		}
		for i := 0; i+1 < len(pairs); i += 2 {
			if k := pairs[i]; k == "do" {
				v.Set(k, pairs[i+1])
			} else {
				v.Add(k, pairs[i+1])
			}
		}
		return v
	}
	line := func(v, rule string) string { return url.Values{"v": {v}, "r": {rule}}.Encode() }
	reading := formOf("day", "2031-06-06", "m0", "130200", "meter0", "130200")
	twice := formOf("rule", "iron in the oil", "why", "looked at it")
	steps := []step{
		{"driver", "/v/bus-01/reading?token=" + secretOfTest, reading, []string{"/people/driver entered readings of bus-01"}},
		{"driver", "/v/bus-01/reading", reading, nil}, // pressed twice
		{"driver", "/v/bus-01/measure", formOf("day", "2031-06-06", "defect", "left mirror is loose"), []string{"/people/driver entered work on bus-01"}},
		{"keeper", "/v/bus-01/work", formOf("day", "2031-06-06", "other", "engine oil", "task", "engine oil", "by", "Tom Dray"), []string{"/people/keeper entered work on bus-01: done by Tom Dray"}},
		{tablet, "/v/bus-01/work", formOf("day", "2031-06-06", "task", "linings", "other", "linings", "by", "Tom Dray"), []string{"/devices/tablet-1 entered work on bus-01: done by Tom Dray"}},
		{"workshop", "/v/bus-01/measure", formOf("day", "2031-06-06", "measure0", "7"), []string{"/people/workshop entered a sample of bus-01"}},
		{"workshop", "/v/bus-01/replaced", formOf("day", "2031-06-06", "meter", "odometer", "old", "130300", "new", "5"), []string{"/people/workshop entered readings of bus-01"}},
		{"workshop", "/v/bus-01/answer?answer=acknowledge&rule=iron+in+the+oil", twice, []string{"/people/workshop answered an alarm of bus-01"}},
		{"operator", "/v/bus-01/answer?answer=out+of+service", formOf("why", "in the shop"), []string{"/people/operator answered an alarm of bus-01"}},
		{"operator", "/v/bus-01/answer?answer=in+service", formOf(), []string{"/people/operator answered an alarm of bus-01"}},
		{"operator", "/readings", formOf("v", "bus-01", "v", "zyxw-9", "day", "2031-06-06", "m0", "", "m1", "130400"), []string{"/people/operator entered readings of zyxw-9"}},
		{"operator", "/standing/acknowledge", formOf("line", line("zyxw-9", "iron in the oil")), []string{"/people/operator answered an alarm of zyxw-9"}},
		{"workshop", "/v/bus-01/entered/e-workshop?by=/people/workshop", formOf(), []string{"/people/workshop took back an entry of bus-01"}},
		{"keeper", "/v/bus-01/entered/e-driver?by=/people/driver", formOf(), []string{"/people/keeper wanted to take back an entry of bus-01 and was refused: This is not yours to take back; /v/{vehicle}/entered/{id}"}},
		{"look", "/v/bus-01/work", formOf("day", "2031-06-06", "other", "engine oil"), []string{"/people/look wanted to enter work on bus-01 and was refused: This is not yours to do; /v/{vehicle}/work"}},
		{"keeper", "/v/zyxw-9/work?x=" + secretOfTest, formOf("day", "2031-06-06", "other", "engine oil"), []string{"/people/keeper wanted to enter work on zyxw-9 and was refused: it is not theirs to see; /v/{vehicle}/work"}},
		{"keeper", "/v/" + secretOfTest, nil, []string{"/people/keeper wanted to look at a page and was refused: it is not theirs to see; /v/{vehicle}"}},
		{"workshop", "/audit", nil, []string{"/people/workshop wanted to look at a page and was refused: This is not yours to do; /audit"}},
		{"operator", "/audit", nil, nil},
		{"workshop", "/due.csv", nil, []string{"/people/workshop saved a file: due-2031-06-06.csv"}},
		{"", "/v/bus-01/work", formOf("day", "2031-06-06"), nil}, // nobody
		{"workshop", "/v/bus-01/work", formOf("day", "2031-06-06", "other", "engine oil", "do", "look"), nil},
		{"workshop", "/v/bus-01/work", formOf("day", "6.6.31"), nil},
	}
	before := len(boardtest.Trail(t, f))
	for _, s := range steps {
		w := boardtest.GetAs(t, h, s.who, s.path)
		switch {
		case s.form != nil && s.who == "":
			w = boardtest.Post(t, h, s.path, s.form)
		case s.form != nil:
			for w = boardtest.PostAs(t, h, s.who, s.path, s.form); w.Code == http.StatusUnprocessableEntity && !s.form.Has("sure"); w = boardtest.PostAs(t, h, s.who, s.path, s.form) {
				s.form["sure"] = sures(w.Body.String()) // what it is asked back, it is sure of
			}
		}
		trail := boardtest.Trail(t, f)
		got := trail[before:]
		if s.form != nil { // the look before it may be refused too
			got = slices.DeleteFunc(slices.Clone(got), func(s string) bool { return strings.Contains(s, "wanted to look at") })
		}
		if !slices.Equal(got, s.want) {
			t.Errorf("%s at %s (%d): got %q, want %q\n%.1500s", s.who, s.path, w.Code, got, s.want, boardtest.Says(w))
		}
		before = len(trail)
	}
	nothingSecret(t, f)
	sourcesAre(t, f)
}

var sureOf = regexp.MustCompile(`name="sure" value="(\w+)"`)

func sures(page string) (out []string) {
	for _, m := range sureOf.FindAllStringSubmatch(page, -1) {
		out = append(out, m[1])
	}
	return append(out, "")
}

// nothingSecret reads the whole trail.
func nothingSecret(t *testing.T, f *boardtest.Fleet) {
	t.Helper()
	p, err := f.Audit.List(t.Context(), audit.Query{Limit: 1000})
	if err != nil || len(p.Entries) == 0 {
		t.Fatalf("%d entries (%v)", len(p.Entries), err)
	}
	var last time.Time
	for _, e := range slices.Backward(p.Entries) {
		text, err := json.Marshal(e)
		if err != nil || strings.Contains(string(text), secretOfTest) || strings.Contains(string(text), "192.0.2.1") || strings.Contains(string(text), "@") {
			t.Errorf("%s (%v)", text, err)
		}
		if e.Time.Before(last) || e.From != "192.0.2.0/24" || e.How == "" {
			t.Errorf("%s", text)
		}
		last = e.Time
	}
}

// sourcesAre: whatever people entered is from who sent it, of this day, under the form's
// identity, and of the vehicle of the page.
func sourcesAre(t *testing.T, f *boardtest.Fleet) {
	t.Helper()
	stored := map[event.ID]string{}
	err := f.Log.EachEvent(t.Context(), false, func(e stream.Logged) error {
		if e.Err != nil {
			return e.Err
		}
		if id := e.Event.ID; event.Personal(id.Source) && !strings.HasPrefix(id.ID, "e-") {
			stored[id] = e.Event.Vehicle
			if id.ID == "chosen" || e.Event.Recorded.Year() != boardtest.Morning.Year() || e.Event.Kind == event.VehicleEvent {
				t.Errorf("a form decides on %s", e.Text)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	p, err := f.Audit.List(t.Context(), audit.Query{Limit: 1000})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range p.Entries {
		for _, id := range e.Events {
			if id.Source != e.Who || stored[id] != e.Vehicle {
				t.Errorf("%s of %s is written down as of %s, of %s", id, stored[id], e.Who, e.Vehicle)
			}
			delete(stored, id)
		}
	}
	for id, vehicle := range stored {
		t.Errorf("%s of %s is nowhere in the trail", id, vehicle)
	}
}
