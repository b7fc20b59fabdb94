package enter_test

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream/service"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/enter"
	"telltale/notify/board/entry"
	"telltale/rules"
)

// TestWhoDidIt: a workshop's tablet asks who did the work, and offers who was named there
// lately. Whose entry it is, is the tablet's, whatever the form says.
func TestWhoDidIt(t *testing.T) {
	t.Parallel()
	fleet := boardtest.New(t, boardtest.Files{Rules: []rules.File{{Name: "van.yaml", Text: []byte(book)}}, Vehicles: vehicles, Events: readings,
		People: strings.Replace(persons, "operator: [ines]\n", "rights:\n  the office: {who: [ines], may: operator}\n  the workshop: {who: [tobias], may: workshop}\n", 1)})
	f := fleet.WithDoor(boardtest.Doorman{})
	e := entry.New(f)
	b := board{fleet, f.Handler(slices.Concat(enter.Routes(e), e.Routes())...), t}
	const path = "/v/van-3/work"
	tablet := boardtest.Tablet("the workshop")
	send := func(who string, form url.Values) page {
		form.Set("form", b.seen(boardtest.GetAs(t, b.h, who, path)).id)
		return b.seen(boardtest.PostAs(t, b.h, who, path, form))
	}
	open := b.seen(boardtest.GetAs(t, b.h, tablet, path))
	b.want(open, http.StatusOK, `name="by" value="" maxlength="500" list="f-by-list" required`)
	b.want(send(tablet, url.Values{"day": {"2031-06-06"}, "task": {"engine oil"}}), http.StatusUnprocessableEntity, "Who did it is missing")
	forged := url.Values{"day": {"2031-06-06"}, "other": {"gearbox oil"}, "by": {"Maud Ashgrove"}, "source": {"/people/ines"}, "id": {"mine"}, "time": {"2031-01-01T00:00:00Z"},
		"vehicle": {"van-4"}, "subject": {"van-4"}, "recorded": {"2020-01-01T00:00:00Z"}, "who": {"/people/ines"}}
	if p := send(tablet, forged); p.code != http.StatusSeeOther {
		t.Fatalf("%d %s", p.code, main(p.text))
	}
	open = b.seen(boardtest.GetAs(t, b.h, tablet, path))
	b.want(open, http.StatusOK, `type="radio" name="who" value="Maud Ashgrove"`, "somebody else", "The name, if it was somebody else")
	for form, want := range map[string]string{"who=-": "Who did it is missing", "": "Who did it is missing", "who=Tom": "Tom is none of the choices"} {
		v, err := url.ParseQuery(form + "&day=2031-06-06&other=linings")
		if err != nil {
			t.Fatal(err)
		}
		b.want(send(tablet, v), http.StatusUnprocessableEntity, want)
	}
	if p := send(tablet, url.Values{"day": {"2031-06-06"}, "other": {"linings"}, "who": {"Maud Ashgrove"}}); p.code != http.StatusSeeOther {
		t.Fatalf("%d %s", p.code, main(p.text))
	}
	mine := b.seen(boardtest.GetAs(t, b.h, "tobias", path))
	b.want(mine, http.StatusOK, `name="by" value="Tobias Wrenfold"`)
	if strings.Contains(mine.text, "Maud Ashgrove") {
		t.Error("what a tablet was told is on another's page")
	}
	if p := send("tobias", url.Values{"day": {"2031-06-06"}, "task": {"engine oil"}, "by": {"Tobias Wrenfold"}}); p.code != http.StatusSeeOther {
		t.Fatalf("%d %s", p.code, main(p.text))
	}
	if got, want := boardtest.Trail(t, fleet), []string{
		"/devices/tablet-1 entered work on van-3: done by Maud Ashgrove",
		"/devices/tablet-1 entered work on van-3: done by Maud Ashgrove",
		"/people/tobias entered work on van-3",
	}; !slices.Equal(got, want) {
		t.Errorf("the trail has %q, want %q", got, want)
	}
	list, err := service.Entries.Of(t.Context(), f.Service, service.Question{Vehicle: "van-3"})
	if err != nil {
		t.Fatal(err)
	}
	var from []string
	for _, one := range list {
		ev := decoded(t, one.Event)
		if ev.Kind == event.ServiceEvent {
			from = append(from, ev.ID.Source+" "+ev.Data.(*event.ServiceData).By)
		}
		if ev.ID.ID == "mine" || ev.Vehicle != "van-3" || ev.Recorded.Year() != 2031 || ev.Time.Day() != 6 {
			t.Errorf("the form decides on %+v", ev)
		}
	}
	if want := []string{"/people/tobias Tobias Wrenfold", "/devices/tablet-1 Maud Ashgrove", "/devices/tablet-1 Maud Ashgrove"}; !slices.Equal(from, want) {
		t.Errorf("the log has work of %q, want %q", from, want)
	}
}

func decoded(t *testing.T, text []byte) event.Event {
	t.Helper()
	ev, err := intake.Decode(text)
	if err != nil {
		t.Fatal(err)
	}
	return ev
}
