package board_test

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"telltale/engine/alarm"
	"telltale/engine/stream/service"
	"telltale/notify/board/boardtest"
	"telltale/notify/rights"
)

// TestEachAnswer: each role gives the answers that the table allows, of its own vehicle; of
// another's there is nothing to answer. By whichever of its names a warning is called, nobody
// puts it aside who may not.
func TestEachAnswer(t *testing.T) {
	t.Parallel()
	f, h := signedIn(depots(t, true))
	asked := []struct {
		answer, of string
		warning    bool
		form       url.Values
	}{
		{"acknowledge", "rule=iron+in+the+oil", true, nil},
		{"acknowledge", "rule=Iron+in+the+oil+of+the+engine", true, nil},
		{"unshelve", "rule=copper+in+the+oil", false, nil},
		{"shelve", "rule=copper+in+the+oil", false, url.Values{"until": {"2031-06-08"}, "why": {"looked"}}},
		{"shelve", "rule=iron+in+the+oil", true, url.Values{"until": {"2031-06-08"}, "why": {"looked"}}},
		{"shelve", "task=iron+in+the+oil&component=engine", true, url.Values{"until": {"2031-06-08"}, "why": {"looked"}}},
		{"postpone", "task=engine+oil", false, url.Values{"until": {"2031-06-20"}, "why": {"away"}}},
		{"accept", "task=engine+oil", false, nil},
		{"out of service", "", false, nil},
		{"in service", "", false, nil},
		{"not mine", "", false, nil},
	}
	for _, a := range asked {
		path := "/answer?answer=" + url.QueryEscape(a.answer) + "&" + a.of
		form := url.Values{"do": {"look"}, "form": {"0123456789abcdef0123"}}
		for k, v := range a.form {
			form[k] = v
		}
		for _, w := range whoDoes {
			may := rights.Allows(w.role, rights.Answer) && rights.Allows(w.role, rights.OfAnswer(a.answer, a.warning))
			get, post := boardtest.GetAs(t, h, w.who, "/v/bus-01"+path), boardtest.PostAs(t, h, w.who, "/v/bus-01"+path, form)
			if post.Code == http.StatusForbidden == may || may && get.Code != http.StatusOK {
				t.Errorf("%s of %s by %s: GET %d, POST %d %s", a.answer, a.of, w.who, get.Code, post.Code, boardtest.Says(post))
			}
			if w.role != rights.Operator {
				get, post = boardtest.GetAs(t, h, w.who, "/v/zyxw-9"+path), boardtest.PostAs(t, h, w.who, "/v/zyxw-9"+path, form)
				if get.Code != http.StatusNotFound || post.Code != http.StatusNotFound {
					t.Errorf("%s of %s of another's vehicle by %s: %d, %d", a.answer, a.of, w.who, get.Code, post.Code)
				}
			}
		}
	}
	for _, of := range []string{"rule=iron+in+the+oil", "rule=Iron+in+the+oil+of+the+engine", "rule=iron", "task=iron+in+the+oil"} {
		boardtest.PostAs(t, h, "workshop", "/v/bus-01/answer?answer=shelve&"+of, url.Values{"do": {"enter"}, "form": {"0123456789abcdef0124"}, "until": {"2031-06-08"}, "why": {"looked"}})
	}
	for _, s := range stands(t, f.Service, "bus-01") {
		if s.Standing == alarm.Shelved {
			t.Errorf("%s was put aside by who may not", s.Rule)
		}
	}
	boardtest.Lacks(t, boardtest.PostAs(t, h, "operator", "/v/bus-01/answer?answer=postpone&task=safety+inspection", url.Values{"do": {"enter"}, "form": {"0123456789abcdef0125"}, "until": {"2031-06-08"}, "why": {"away"}}), http.StatusConflict, "law")
}

// stands are the alarms of a vehicle.
func stands(t *testing.T, s *service.Service, vehicle string) []alarm.Listed {
	t.Helper()
	list, err := service.Alarms.Of(t.Context(), s, service.Question{Vehicle: vehicle})
	if err != nil || len(list) == 0 {
		t.Fatalf("%d alarms of %s (%v)", len(list), vehicle, err)
	}
	return list
}

// TestSeveralOfTheirs: where a form has several vehicles, each is asked for, and nothing is
// stored of a form with one that is not theirs.
func TestSeveralOfTheirs(t *testing.T) {
	t.Parallel()
	f, h := signedIn(depots(t, true))
	line := func(v, rule string) string { return url.Values{"v": {v}, "r": {rule}}.Encode() }
	form := func(pairs ...string) url.Values {
		v := url.Values{"form": {"0123456789abcdef0130"}}
		for i := 0; i+1 < len(pairs); i += 2 {
			v.Add(pairs[i], pairs[i+1])
		}
		return v
	}
	both := form("line", line("bus-01", "iron in the oil"), "line", line("zyxw-9", "iron in the oil"))
	round := form("v", "bus-01", "v", "zyxw-9", "day", "2031-06-06", "m0", "130100", "m1", "130100", "do", "enter")
	for _, tt := range []struct {
		path  string
		form  url.Values // nil: the address alone
		needs rights.Verb
	}{
		{"/standing/acknowledge?" + both.Encode(), nil, rights.Answer},
		{"/standing/acknowledge", both, rights.Answer},
		{"/readings", round, rights.Reading},
		{"/due/job?" + form("line", line("bus-01", "engine oil"), "line", line("zyxw-9", "engine oil")).Encode(), nil, rights.Work},
		{"/due/job?" + form("line", line("zyxw-9", "engine oil")).Encode(), nil, rights.Work},
		{"/due?vehicle=zyxw-9", nil, rights.See},
		{"/due.csv?vehicle=zyxw-9", nil, rights.See},
		{"/due/print?vehicle=ZYXW+999", nil, rights.See},
		{"/standing?vehicle=zyxw-9", nil, rights.Glance},
		{"/several/e?v=bus-01&v=zyxw-9", nil, rights.Reading},
		{"/changes?of=zyxw-9", nil, rights.Glance},
	} {
		for _, w := range whoDoes {
			if w.role == rights.Operator {
				continue
			}
			want := http.StatusNotFound
			if !rights.Allows(w.role, tt.needs) {
				want = http.StatusForbidden
			}
			got := boardtest.GetAs(t, h, w.who, tt.path)
			if tt.form != nil {
				got = boardtest.PostAs(t, h, w.who, tt.path, tt.form)
			}
			if got.Code != want {
				t.Errorf("%.60s by %s: %d, want %d: %s", tt.path, w.who, got.Code, want, boardtest.Says(got))
			}
		}
	}
	for _, vehicle := range []string{"bus-01", "zyxw-9"} {
		for _, s := range stands(t, f.Service, vehicle) {
			if s.Standing != alarm.Unacknowledged {
				t.Errorf("%s of %s is %s", s.Rule, vehicle, s.Standing)
			}
		}
	}
	for _, other := range []string{"driver", "keeper", "workshop"} {
		if got := boardtest.Says(boardtest.GetAs(t, h, other, "/readings")); strings.Contains(got, "Zyxw") || !strings.Contains(got, "Bus 1") {
			t.Errorf("the round of %s is %s", other, got)
		}
	}
	own := boardtest.PostAs(t, h, "driver", "/readings", form("v", "bus-01", "day", "2031-06-06", "m0", "130100", "do", "enter"))
	if own.Code != http.StatusSeeOther {
		t.Errorf("the driver's round: %d %s", own.Code, boardtest.Says(own))
	}
	boardtest.Lacks(t, boardtest.GetAs(t, h, "driver", own.Header().Get("Location")), 200, "130,100 km")
}

// TestTakingBack: what one entered oneself one takes back, what others entered an operator
// alone; a driver does not even see it.
func TestTakingBack(t *testing.T) {
	t.Parallel()
	_, h := signedIn(depots(t, true))
	at := func(role, by string) string { return fmt.Sprintf("/v/bus-01/entered/e-%s?by=/people/%s", role, by) }
	for _, tt := range []struct {
		who, path string
		get, post int
		says      string
	}{
		{"driver", at("keeper", "keeper"), 404, 404, ""},
		{"driver", "/v/bus-01/entered/n1", 404, 404, ""},
		{"keeper", at("driver", "driver"), 200, 403, "Dora Vint entered it, who can take it back; so can an operator."},
		{"workshop", at("operator", "operator"), 200, 403, "Ines Thornbeck entered it"},
		{"workshop", "/v/bus-01/entered/n4", 200, 403, "Somebody else (/laboratory/n) entered it"},
		{"look", at("driver", "driver"), 403, 403, "Who may: "},
		{"driver", at("driver", "driver"), 200, 303, "Take it back"},
		{"keeper", at("keeper", "keeper"), 200, 303, "Take it back"},
		{"operator", at("workshop", "workshop"), 200, 303, "Take it back"},
	} {
		get, post := boardtest.GetAs(t, h, tt.who, tt.path), boardtest.PostAs(t, h, tt.who, tt.path, nil)
		if get.Code != tt.get || post.Code != tt.post || !strings.Contains(boardtest.Says(get), tt.says) {
			t.Errorf("%s at %s: GET %d, POST %d: %s", tt.who, tt.path, get.Code, post.Code, boardtest.Says(get))
		}
	}
}

// TestDriver: a driver sees meters and what stands, says what they see, and no more.
func TestDriver(t *testing.T) {
	t.Parallel()
	f, h := signedIn(depots(t, true))
	page := boardtest.GetAs(t, h, "driver", "/v/bus-01")
	boardtest.Lacks(t, page, 200, "Iron in the oil", "Safety inspection", "odometer", "Enter a reading", "Report a defect")
	for _, not := range []string{"History", "Components", "Change the engine oil Due at", "Acknowledge", "Why", "nnote", "L-7"} {
		if strings.Contains(boardtest.Says(page), not) {
			t.Errorf("a driver is shown %q: %s", not, boardtest.Says(page))
		}
	}
	boardtest.Lacks(t, boardtest.GetAs(t, h, "driver", "/"), 200, "Bus 1", "Van 2", "Iron in the oil", "Enter a reading")
	form := url.Values{"form": {"0123456789abcdef0140"}, "day": {"2031-06-06"}, "measure0": {"2"}, "do": {"enter"}}
	if w := boardtest.PostAs(t, h, "driver", "/v/bus-01/measure", form); w.Code != http.StatusUnprocessableEntity || !strings.Contains(boardtest.Says(w), "Type what was seen to be wrong") {
		t.Errorf("a driver's measurement: %d %s", w.Code, boardtest.Says(w))
	}
	form.Set("defect", "left mirror is loose")
	if w := boardtest.PostAs(t, h, "driver", "/v/bus-01/measure", form); w.Code != http.StatusSeeOther {
		t.Errorf("a driver's defect: %d %s", w.Code, boardtest.Says(w))
	}
	list, err := service.Measured.Of(t.Context(), f.Service, service.Question{Vehicle: "bus-01"})
	if err != nil || len(list) != 1 || len(list[0].Points) != 0 {
		t.Errorf("measured are %+v (%v)", list, err)
	}
	boardtest.Lacks(t, boardtest.GetAs(t, h, "workshop", "/v/bus-01"), 200, "left mirror is loose")
	boardtest.Lacks(t, boardtest.GetAs(t, h, "nobody", "/"), 200, "No vehicle is yours to see yet.")
	boardtest.Lacks(t, boardtest.GetAs(t, h, tablet, "/"), 200, "Due list", "Change the engine oil")
}
