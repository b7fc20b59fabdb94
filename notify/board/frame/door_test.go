package frame_test

import (
	"context"
	"strings"
	"testing"

	"telltale/notify/board/boardtest"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
	"telltale/rules"
)

const doorPeople = `people:
  ines: {name: Ines Thornbeck, mail: ines@example.org}
  maud: {name: Maud Ashgrove, mail: maud@example.org}
  sam: {name: Sam Ferrow, mail: sam@example.org}
rights:
  the office: {who: [ines], may: operator}
  drivers: {who: [sam], may: driver, where: 'vehicle.tags["depot"] == "north"'}
  keepers: {who: [people of the vehicle], may: keeper}
`

// TestDoor: a page is for those who may, and what one may not see is not there.
func TestDoor(t *testing.T) {
	t.Parallel()
	fleet := boardtest.New(t, boardtest.Files{People: doorPeople, Rules: []rules.File{{Name: "a.yaml", Text: []byte("book: 1\n")}},
		Vehicles: "vehicles:\n  bus-01: {name: Bus 1, kind: minibus, meters: {odometer: distance}, tags: {depot: north}}\n  van-1: {name: Van 1, kind: van, meters: {odometer: distance}, people: [maud]}\n",
		Events:   `{"specversion":"1.0","type":"telltale.reading.v1","source":"/t","id":"1","subject":"van-1","time":"2031-06-01T08:00:00Z","data":{"meter":"odometer","value":1000,"unit":"km"}}` + "\n"})
	f := fleet.WithDoor(boardtest.Doorman{})
	said := func(_ context.Context, r *frame.Request) (*frame.Page, error) {
		return &frame.Page{Title: "Here", Lead: r.Viewer.Source()}, nil
	}
	h := f.Handler(
		frame.Route{Pattern: "GET /v/{vehicle}/glance", Needs: rights.Glance, Handle: said},
		frame.Route{Pattern: "GET /v/{vehicle}/work", Needs: rights.Work, Handle: said},
		frame.Route{Pattern: "GET /watch", Needs: rights.Watch, Handle: said},
		frame.Route{Pattern: "GET /mine", Handle: said},
		frame.Route{Pattern: "GET /due", Needs: rights.See, Handle: said},
		frame.Route{Pattern: "GET /vehicles", Needs: rights.Glance, Handle: said},
		frame.Route{Pattern: "GET /more", Handle: said},
		frame.Route{Pattern: "GET /open", Needs: rights.Open, Handle: said},
	)
	for _, tt := range []struct {
		who, path string
		status    int
		says      string
	}{
		{"", "/open", 200, "Here"},
		{"", "/mine", 303, ""},
		{"", "/watch", 303, ""},
		{"", "/v/bus-01/glance", 303, ""},
		{"gone", "/mine", 303, ""},
		{"maud", "/mine", 200, "/people/maud"},
		{"maud", "/watch", 403, "This is not yours to do. Who may: Ines Thornbeck."},
		{"maud", "/v/van-1/work", 200, "Here"},
		{"maud", "/v/bus-01/work", 404, "There is nothing here."},
		{"maud", "/v/bus-01/glance", 404, "There is nothing here."},
		{"maud", "/v/none/glance", 404, "There is nothing here."},
		{"sam", "/v/bus-01/glance", 200, "/people/sam"},
		{"sam", "/v/bus-01/work", 403, "Who may: Ines Thornbeck."},
		{"sam", "/v/van-1/glance", 404, ""},
		{"ines", "/v/van-1/work", 200, "Here"},
		{"ines", "/watch", 200, "Here"},
		{boardtest.Tablet("drivers"), "/v/bus-01/glance", 200, "/devices/tablet-1"},
		{boardtest.Tablet("drivers"), "/v/van-1/glance", 404, ""},
		{boardtest.Tablet("the office"), "/watch", 403, ""},
	} {
		w := boardtest.GetAs(t, h, tt.who, tt.path)
		if tt.who == "" {
			w = boardtest.Get(t, h, tt.path)
		}
		if w.Code != tt.status || !strings.Contains(boardtest.Says(w), tt.says) {
			t.Errorf("%s of %q: %d %s, want %d %q", tt.path, tt.who, w.Code, boardtest.Says(w), tt.status, tt.says)
		}
	}
	for who, want := range map[string]string{"ines": "/due /vehicles /more", "maud": "/due /vehicles /more", boardtest.Tablet("drivers"): "/vehicles /more", "nobody": ""} {
		var got []string
		for _, path := range []string{"/", "/due", "/standing", "/vehicles", "/enter", "/more"} {
			if strings.Contains(boardtest.GetAs(t, h, who, "/mine").Body.String(), `<a href="`+path+`">`) {
				got = append(got, path)
			}
		}
		if strings.Join(got, " ") != want {
			t.Errorf("the first row leads %s to %v, want %s", who, got, want)
		}
	}
	if to := boardtest.Get(t, h, "/mine?x=1").Header().Get("Location"); to != "/sign-in?to=%2Fmine%3Fx%3D1" {
		t.Errorf("one is led to %s", to)
	}
}
