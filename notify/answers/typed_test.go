package answers

import (
	"context"
	"encoding/json"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/notify/people"
	"telltale/rules/unit"
)

// zoned is a fleet of one alarm, of a vehicle somewhere, whose transmission holds 8 L.
type zoned struct {
	oneAlarm
	zone string
}

func (z zoned) Registered(context.Context, string) (*event.VehicleData, error) {
	return &event.VehicleData{Zone: z.zone, Meters: []event.MeterDef{{Name: "odometer", Kind: "distance"}},
		Components: []event.ComponentDef{{Name: "transmission", Kind: "transmission", Capacity: &unit.Quantity{Value: 8, Unit: "L"}}}}, nil
}

func (z zoned) Due(context.Context, due.Query) ([]due.Item, error) { return nil, nil }

// pagesAt are somePages where the vehicle is, at a moment of its clock.
func pagesAt(t *testing.T, a alarm.Listed, zone, clock string, published *[]string) *Pages {
	t.Helper()
	b := somePages(a, published)
	where, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	at, err := time.ParseInLocation("2006-01-02 15:04", clock, where)
	if err != nil {
		t.Fatal(err)
	}
	b.Fleet = zoned{oneAlarm(a), zone}
	b.Now = func(context.Context) (time.Time, error) { return at, nil }
	return b
}

// what is an event's moment and what it says.
func what(t *testing.T, text string) (at, data string) {
	t.Helper()
	var ev struct {
		Time string
		Data json.RawMessage
	}
	if err := json.Unmarshal([]byte(text), &ev); err != nil {
		t.Fatal(err)
	}
	return ev.Time, string(ev.Data)
}

// A comma is a decimal mark to some and none to others. Neither is guessed: 4,5 L must not
// become 45.
func TestDecimalMark(t *testing.T) {
	task := copper()
	task.Task, task.To = true, alarm.Due
	for _, c := range []struct {
		comma       bool
		volume, odo string
		want        string // of the event, or what is said instead
	}{
		{false, "4.5", "81,234.5", `"drained":{"value":4.5,"unit":"L"}`},
		{false, "4,5", "", "Fluid changed, how much (leave empty if none): 4,5: write 4.5 or 45."},
		{false, "", "81,5", "odometer, if you read it: 81,5: write 81.5 or 815."},
		{true, "4,5", "81.234,5", `"value":81234.5,"unit":"km"`},
		{true, "4.5", "", "4.5: write 4,5 or 45."},
	} {
		var published []string
		b := somePages(task, &published)
		b.Person = func(id string) *people.Person {
			p := people.Anyone(id)
			p.DecimalComma = c.comma
			return p
		}
		code, page := ask(b, "POST", "/a/"+key.Token(mine), url.Values{"answer": {"done"}, "day": {"2031-02-18"}, "volume": {c.volume}, "meter0": {c.odo}})
		switch strings.HasPrefix(c.want, `"`) {
		case true:
			if code != 200 || len(published) != 1 || !strings.Contains(published[0], c.want) {
				t.Errorf("%+v: %d, %q", c, code, published)
			}
		default:
			if code != 422 || published != nil || !strings.Contains(page, c.want) {
				t.Errorf("%+v: %d, %q\n%s", c, code, published, page)
			}
		}
	}
}

// More than there is room for is asked back once; a machine that renews all of it takes
// more.
func TestVolumeOverCapacity(t *testing.T) {
	task := copper()
	task.Task, task.To = true, alarm.Due
	var published []string
	b := pagesAt(t, task, "UTC", "2031-02-20 09:00", &published)
	form := url.Values{"answer": {"done"}, "day": {"2031-02-18"}, "volume": {"45"}}
	code, page := ask(b, "POST", "/a/"+key.Token(mine), form)
	sure := regexp.MustCompile(`name="sure" value="(\w+)"`).FindStringSubmatch(page)
	if code != 422 || published != nil || sure == nil || !strings.Contains(page, "45 L is more than the 8 L that the transmission holds.") || !strings.Contains(page, "Enter the work all the same") {
		t.Fatalf("%d, %q\n%s", code, published, page)
	}
	form.Set("sure", sure[1])
	if code, _ := ask(b, "POST", "/a/"+key.Token(mine), form); code != 200 || len(published) != 1 {
		t.Errorf("again: %d, %q", code, published)
	}
	form.Del("sure")
	form.Set("flush", "yes")
	if code, _ := ask(b, "POST", "/a/"+key.Token(mine), form); code != 200 || len(published) != 2 {
		t.Errorf("by a machine: %d, %q", code, published)
	}
}

// Days are those on the wall where the vehicle is: its morning is another day in London.
func TestDaysOfTheVehicle(t *testing.T) {
	task := copper()
	task.Task, task.To = true, alarm.Overdue
	for _, c := range []struct {
		zone, clock  string
		offers       string // the day that stands in the form
		form         string
		at, contains string
	}{
		{"Pacific/Auckland", "2031-02-20 06:30", "2031-02-20", "answer=done&day=2031-02-20", "2031-02-19T17:30:00Z", `"tasks"`},
		{"Pacific/Auckland", "2031-02-20 06:30", "2031-02-20", "answer=done&day=2031-02-19", "2031-02-18T23:00:00Z", `"tasks"`},
		{"Asia/Tokyo", "2031-02-20 06:30", "2031-02-20", "answer=done&day=2031-02-20", "2031-02-19T21:30:00Z", `"tasks"`},
		{"Europe/Berlin", "2031-02-20 00:30", "2031-02-20", "answer=done&day=2031-02-20", "2031-02-19T23:30:00Z", `"tasks"`},
		{"America/Los_Angeles", "2031-02-20 18:30", "2031-02-20", "answer=done&day=2031-02-19", "2031-02-19T20:00:00Z", `"tasks"`},
		{"America/Los_Angeles", "2031-02-20 18:30", "2031-02-20", "answer=done&day=2031-02-21", "", ""},
		{"Pacific/Auckland", "2031-02-20 06:30", "2031-02-20", "answer=shelve&until=2031-02-21&why=parts", "2031-02-19T17:30:00Z", `"until":"2031-02-20T19:00:00Z"`},
		{"America/Los_Angeles", "2031-02-20 18:30", "2031-02-20", "answer=shelve&until=2031-02-21&why=parts", "2031-02-21T02:30:00Z", `"until":"2031-02-21T16:00:00Z"`},
		// until the last day that it may be, and no later than the hour
		{"Europe/Berlin", "2031-02-20 07:59", "2031-02-20", "answer=shelve&until=2031-03-22&why=parts", "2031-02-20T06:59:00Z", `"until":"2031-03-22T06:59:00Z"`},
	} {
		var published []string
		b := pagesAt(t, task, c.zone, c.clock, &published)
		if _, page := ask(b, "GET", "/a/"+key.Token(mine), nil); !strings.Contains(page, `name="day" value="`+c.offers+`" type="date"`) {
			t.Errorf("%s %s: it does not offer %s", c.zone, c.clock, c.offers)
		}
		form, err := url.ParseQuery(c.form)
		if err != nil {
			t.Fatal(err)
		}
		code, page := ask(b, "POST", "/a/"+key.Token(mine), form)
		if c.at == "" {
			if code != 422 || !strings.Contains(page, "Choose a day from 19 Feb 2030 to 20 Feb 2031.") {
				t.Errorf("%s %s: %d %q", c.zone, c.form, code, published)
			}
			continue
		}
		if code != 200 || len(published) != 1 {
			t.Errorf("%s %s: %d\n%s", c.zone, c.form, code, page)
			continue
		}
		if at, data := what(t, published[0]); at != c.at || !strings.Contains(data, c.contains) {
			t.Errorf("%s %s: at %s, %s; want %s, %s", c.zone, c.form, at, data, c.at, c.contains)
		}
	}
}

// A form that is refused holds all that was typed; what is wrong stands beside its field
// and first on the page, which says in its title that nothing was entered.
func TestRefusedFormKeepsWhatWasTyped(t *testing.T) {
	task := copper()
	task.Task, task.To = true, alarm.Due
	var published []string
	b := somePages(task, &published)
	code, page := ask(b, "POST", "/a/"+key.Token(mine), url.Values{"form": {"0123456789abcdef0123"}, "answer": {"done"}, "day": {"2031-02-18"}, "meter0": {"abc"}, "meter0-in": {"mi"},
		"volume": {"4"}, "flush": {"yes"}, "task": {"leak check"}, "why": {"grey film"}})
	for _, want := range []string{
		"<title>Not entered yet: Bus 7, transmission: copper over baseline</title>", `role="alert"`,
		`<a href="#f-work-meter0">odometer, if you read it: “abc” is not a number.</a>`,
		`<input id="f-work-meter0" name="meter0" value="abc" inputmode="decimal" autocomplete="off" maxlength="40" aria-invalid="true" aria-describedby="f-work-meter0-wrong">`,
		`<p class="wrong" id="f-work-meter0-wrong">“abc” is not a number.</p>`,
		`<option selected>mi</option>`, `name="volume" value="4"`, `name="flush" value="yes" checked`, `value="leak check" checked`, `value="grey film"`,
		`name="day" value="2031-02-18"`, `name="form" value="0123456789abcdef0123"`,
	} {
		if code != 422 || !strings.Contains(page, want) {
			t.Errorf("%d: the page lacks %s", code, want)
		}
	}
	if strings.Count(page, "grey film") != 1 {
		t.Error("what was found stands in another form too")
	}
}
