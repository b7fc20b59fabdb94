package frame_test

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"

	"telltale/engine/event"
	"telltale/engine/stream/audit"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
	"telltale/rules"
)

// TestWhoDidIt sends requests of all outcomes: what changed something, was refused or failed
// is written down with who did it, and nothing else is.
func TestWhoDidIt(t *testing.T) {
	t.Parallel()
	fleet := boardtest.New(t, boardtest.Files{People: doorPeople, Rules: []rules.File{{Name: "a.yaml", Text: []byte("book: 1\n")}},
		Vehicles: "vehicles:\n  bus-01: {name: Bus 1, kind: minibus, meters: {odometer: distance}, tags: {depot: north}}\n  van-1: {name: Van 1, kind: van, meters: {odometer: distance}, people: [maud]}\n",
		Events:   `{"specversion":"1.0","type":"telltale.reading.v1","source":"/t","id":"1","subject":"bus-01","time":"2031-06-01T08:00:00Z","data":{"meter":"odometer","value":1000,"unit":"km"}}` + "\n"})
	f := fleet.WithDoor(boardtest.Doorman{})
	gives := func(p frame.Page, err error) frame.Handler {
		return func(context.Context, *frame.Request) (*frame.Page, error) { return &p, err }
	}
	events := []event.Event{{ID: event.ID{Source: "/people/ines", ID: "1"}, Vehicle: "bus-01"}, {ID: event.ID{Source: "/people/ines", ID: "2"}, Vehicle: "van-1"},
		{ID: event.ID{Source: "/people/ines", ID: "3"}, Vehicle: "bus-01"}}
	h := f.Handler(
		frame.Route{Pattern: "GET /v/{vehicle}/work", Needs: rights.Work, Handle: gives(frame.Page{Title: "Work"}, nil)},
		frame.Route{Pattern: "POST /v/{vehicle}/work", Needs: rights.Work, Handle: gives(frame.Page{To: "/done", Entered: events[:1]}, nil)},
		frame.Route{Pattern: "POST /several", Needs: rights.Reading, Handle: gives(frame.Page{To: "/done", Entered: events}, nil)},
		frame.Route{Pattern: "POST /look", Needs: rights.Work, Handle: gives(frame.Page{Title: "What follows"}, nil)},
		frame.Route{Pattern: "POST /again", Needs: rights.Work, Handle: gives(frame.Page{To: "/done", Nothing: true}, nil)},
		frame.Route{Pattern: "POST /mend", Needs: rights.Work, Handle: gives(frame.Page{Title: "Mend", Status: http.StatusUnprocessableEntity}, nil)},
		frame.Route{Pattern: "POST /later", Needs: rights.Answer, Handle: gives(frame.Page{Title: "Later", Status: http.StatusServiceUnavailable}, nil)},
		frame.Route{Pattern: "POST /breaks", Needs: rights.Sample, Handle: gives(frame.Page{}, errors.New("inner workings"))},
		frame.Route{Pattern: "POST /conflict", Needs: rights.TakeBack, Handle: gives(frame.Page{}, &frame.Fault{Status: http.StatusConflict, Title: "Somebody was faster."})},
		frame.Route{Pattern: "POST /file/{hash}", Needs: rights.File, Handle: gives(frame.Page{To: "/done", Noted: "work.csv, 3 rows"}, nil)},
		frame.Route{Pattern: "POST /session/{id}", Needs: rights.Change, Did: audit.SessionEnded, Handle: gives(frame.Page{To: "/done"}, nil)},
		frame.Route{Pattern: "POST /retry/{key}", Needs: rights.Watch, Handle: gives(frame.Page{To: "/done"}, nil)},
		frame.Route{Pattern: "GET /due.csv", Needs: rights.Glance, Handle: gives(frame.Page{File: &frame.File{Type: "text/csv", Name: "due.csv"}}, nil)},
		frame.Route{Pattern: "GET /chart.svg", Needs: rights.Glance, Handle: gives(frame.Page{File: &frame.File{Type: "image/svg+xml"}}, nil)},
		frame.Route{Pattern: "GET /watch", Needs: rights.Watch, Handle: gives(frame.Page{Title: "Watch"}, nil)},
		frame.Route{Pattern: "GET /sign-in/{token}", Needs: rights.Open, Handle: gives(frame.Page{Title: "Is it you?"}, nil)},
		frame.Route{Pattern: "GET /often", Needs: rights.Open, Handle: gives(frame.Page{}, &frame.Fault{Status: http.StatusTooManyRequests, Title: "Too many at once."})},
		frame.Route{Pattern: "POST /often", Needs: rights.Open, Handle: gives(frame.Page{}, &frame.Fault{Status: http.StatusTooManyRequests, Title: "Too many at once."})},
		frame.Route{Pattern: "POST /sign-in/{token}", Needs: rights.Open, Handle: gives(frame.Page{To: "/"}, nil)},
	)
	const secret = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"
	foreign := httptest.NewRequest(http.MethodPost, "http://127.0.0.1:4280/several", strings.NewReader("x=1"))
	foreign.Header.Set("Sec-Fetch-Site", "cross-site")
	var before int
	for _, tt := range []struct {
		name string
		do   func()
		want []string
	}{
		{"looking", func() { boardtest.GetAs(t, h, "ines", "/v/bus-01/work") }, nil},
		{"looking at what is not there", func() { boardtest.GetAs(t, h, "ines", "/v/none/nothing?token="+secret) }, nil},
		{"a picture", func() { boardtest.GetAs(t, h, "ines", "/chart.svg") }, nil},
		{"a look at what follows", func() { boardtest.PostAs(t, h, "ines", "/look", nil) }, nil},
		{"the same again", func() { boardtest.PostAs(t, h, "ines", "/again", nil) }, nil},
		{"a form to mend", func() { boardtest.PostAs(t, h, "ines", "/mend", nil) }, nil},
		{"a stranger who looks", func() { boardtest.Get(t, h, "/watch") }, nil},
		{"a stranger who sends", func() { boardtest.Post(t, h, "/several", nil) }, nil},
		{"signing in, which is written where it is known", func() { boardtest.Post(t, h, "/sign-in/"+secret, nil) }, nil},

		{"work", func() { boardtest.PostAs(t, h, "ines", "/v/bus-01/work", url.Values{"source": {"/people/sam"}}) }, []string{"/people/ines entered work on bus-01"}},
		{"of a tablet, without a right", func() { boardtest.PostAs(t, h, boardtest.Tablet("drivers"), "/mend", nil) },
			[]string{"/devices/tablet-1 wanted to enter work and was refused: This is not yours to do; /mend"}},
		{"readings of several", func() { boardtest.PostAs(t, h, "ines", "/several", nil) }, []string{"/people/ines entered readings of bus-01", "/people/ines entered readings of van-1"}},
		{"a file", func() { boardtest.PostAs(t, h, "ines", "/file/"+secret, nil) }, []string{"/people/ines sent a table: work.csv, 3 rows"}},
		{"ending a session", func() { boardtest.PostAs(t, h, "ines", "/session/"+secret, nil) }, []string{"/people/ines ended a session"}},
		{"trying a message again", func() { boardtest.PostAs(t, h, "ines", "/retry/"+secret, nil) }, []string{"/people/ines changed something: /retry/{key}"}},
		{"saving a file", func() { boardtest.GetAs(t, h, "ines", "/due.csv") }, []string{"/people/ines saved a file: due.csv"}},

		{"no right", func() { boardtest.GetAs(t, h, "maud", "/watch") }, []string{"/people/maud wanted to look at a page and was refused: This is not yours to do; /watch"}},
		{"no right to enter", func() { boardtest.PostAs(t, h, "sam", "/v/bus-01/work", nil) },
			[]string{"/people/sam wanted to enter work on bus-01 and was refused: This is not yours to do; /v/{vehicle}/work"}},
		{"not theirs to see", func() { boardtest.GetAs(t, h, "maud", "/v/bus-01/work") },
			[]string{"/people/maud wanted to look at a page of bus-01 and was refused: it is not theirs to see; /v/{vehicle}/work"}},
		{"a name that is guessed", func() { boardtest.GetAs(t, h, "maud", "/v/"+secret+"/work") },
			[]string{"/people/maud wanted to look at a page and was refused: it is not theirs to see; /v/{vehicle}/work"}},
		{"a form of elsewhere", func() { h.ServeHTTP(httptest.NewRecorder(), foreign) }, []string{"Wanted to change something and was refused: This form was sent from another site, so nothing was stored."}},
		{"too often", func() { boardtest.Get(t, h, "/often") }, []string{"Wanted to look at a page and was refused: Too many at once; /often"}},
		{"too often by a form", func() { boardtest.Post(t, h, "/often", nil) }, []string{"Wanted to look at a page and was refused: Too many at once; /often"}},
		{"a conflict", func() { boardtest.PostAs(t, h, "ines", "/conflict", nil) }, []string{"/people/ines wanted to take back an entry and was refused: Somebody was faster; /conflict"}},
		{"trouble", func() { boardtest.PostAs(t, h, "ines", "/later", nil) }, []string{"/people/ines wanted to answer an alarm, and it did not work: /later"}},
		{"a fault of ours", func() { boardtest.PostAs(t, h, "ines", "/breaks", nil) }, []string{"/people/ines wanted to enter a sample, and it did not work: /breaks"}},
	} {
		tt.do()
		got := boardtest.Trail(t, fleet)
		if new := got[before:]; !slices.Equal(new, tt.want) {
			t.Errorf("%s: got %q, want %q", tt.name, new, tt.want)
		}
		before = len(got)
		if all := strings.Join(got, "\n"); strings.Contains(all, secret) || strings.Contains(all, "inner workings") {
			t.Errorf("%s: a secret stands in %s", tt.name, all)
		}
	}
	p, err := fleet.Audit.List(t.Context(), audit.Query{Vehicle: "bus-01", What: audit.Reading})
	if err != nil || len(p.Entries) != 1 {
		t.Fatalf("readings of bus-01: %v (%v)", p.Entries, err)
	}
	e := p.Entries[0].Entry
	if !slices.Equal(e.Events, []event.ID{events[0].ID, events[2].ID}) || e.From != "192.0.2.0/24" || e.How != audit.Link || e.Time.IsZero() {
		t.Errorf("readings of bus-01 are %+v", e)
	}
}
