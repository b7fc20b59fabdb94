package answers

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"reflect"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream/entry"
	"telltale/notify"
	"telltale/notify/people"
	"telltale/rules/word"
	"telltale/testdata/hostile"
)

var (
	key  = Key("0123456789abcdef0123456789abcdef")
	now  = time.Date(2031, 2, 20, 9, 0, 0, 0, time.UTC)
	mine = Link{Person: "ines", Vehicle: "bus-07", Component: "transmission", Rule: "copper over baseline", Expires: now.AddDate(0, 0, 60).Unix()}
)

// oneAlarm is a fleet of which one alarm stands.
type oneAlarm alarm.Listed

func (a oneAlarm) AlarmsOf(_ context.Context, vehicle string) ([]alarm.Listed, error) {
	if a.Vehicle != vehicle {
		return nil, nil
	}
	return []alarm.Listed{alarm.Listed(a)}, nil
}

func (oneAlarm) Registered(context.Context, string) (*event.VehicleData, error) {
	return &event.VehicleData{Meters: []event.MeterDef{{Name: "odometer", Kind: "distance"}, {Name: "hours", Kind: "hours"}}}, nil
}

func (oneAlarm) Due(context.Context, due.Query) ([]due.Item, error) {
	return []due.Item{{Task: mine.Rule, Title: "The alarm's own"}, {Task: "transmission fluid", Title: "Drain and refill <it>"},
		{Task: "leak check", Title: "Leak check"}, {Task: "leak check", Title: "Leak check"}, {Task: "oil", Component: "engine"}}, nil
}

// somePages has one alarm of Bus 7; published takes the events.
func somePages(alarm alarm.Listed, published *[]string) *Pages {
	return &Pages{
		Key: key, Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
		Now:    func(context.Context) (time.Time, error) { return now, nil },
		Fleet:  oneAlarm(alarm),
		Person: func(id string) *people.Person { return people.Anyone(id) },
		Enter: func(_ context.Context, _ []string, ev ...event.Event) (entry.Became, error) {
			b, err := intake.Encode(ev[0])
			*published = append(*published, string(b))
			return entry.Became{}, err
		},
		Leave: func(_ context.Context, person string, kind notify.Kind, back bool) error {
			*published = append(*published, fmt.Sprint(person, " ", kind, " ", back))
			return nil
		},
	}
}

func copper() alarm.Listed {
	return alarm.Listed{Name: "Bus 7", Transition: alarm.Transition{
		Vehicle: "bus-07", Component: "transmission", Rule: "copper over baseline", To: "caution", Standing: "unacknowledged",
		Message:  "Copper 131 mg/kg is 3.3 times the baseline",
		Evidence: []word.Evidence{{Of: `times("Cu")`, Value: 3.275, Note: "light bus transmission fluid, mean 40"}},
		PointsTo: []string{"bushings", "cooler"}, Advise: "Sample again within 5,000 km.", Cautions: []string{"hot fluid"},
	}}
}

func ask(b *Pages, method, path string, form url.Values) (int, string) {
	r := httptest.NewRequest(method, path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	b.ServeHTTP(w, r)
	return w.Code, w.Body.String()
}

func TestOpening(t *testing.T) {
	var published []string
	b := somePages(copper(), &published)
	path := "/a/" + key.Token(mine)
	for _, method := range []string{"GET", "HEAD", "PUT", "DELETE"} {
		ask(b, method, path+"?answer=acknowledge", url.Values{"answer": {"acknowledge"}, "form": {"0123456789abcdef0123"}})
	}
	if published != nil {
		t.Errorf("opening a link changed something: %q", published)
	}
	code, page := ask(b, "GET", path, nil)
	for _, want := range []string{"Bus 7, transmission: copper over baseline", "Copper 131 mg/kg is 3.3 times the baseline", "copper, times the baseline: 3.275",
		"Likely source: bushings or cooler", "Sample again within 5,000 km.", "Acknowledge", "Put aside", "Enter the work", "Drain and refill &lt;it&gt;", "Not my vehicle", "licensed mechanic"} {
		if code != 200 || !strings.Contains(page, want) {
			t.Errorf("%d: the page lacks %q", code, want)
		}
	}
	if strings.Contains(page, "<script") {
		t.Error("the page has a script")
	}
	if file := os.Getenv("TELLTALE_PAGE"); file != "" { // to be looked at in a browser
		if err := os.WriteFile(file, []byte(page), 0o644); err != nil {
			t.Error(err)
		}
	}
}

func TestLinks(t *testing.T) {
	expired := mine
	expired.Expires = now.Unix() - 1
	other := Key(strings.Repeat("x", 32))
	token := key.Token(mine)
	for name, c := range map[string]struct {
		token string
		want  error
	}{
		"good":          {token, nil},
		"expired":       {key.Token(expired), ErrExpired},
		"of others":     {other.Token(mine), ErrForged},
		"cut":           {token[:len(token)-1], ErrForged},
		"changed":       {"x" + token[1:], ErrForged},
		"no signature":  {strings.Split(token, ".")[0], ErrForged},
		"empty":         {"", ErrForged},
		"signed rubble": {"AAAA." + key.sign("AAAA"), ErrForged},
	} {
		l, err := key.Open(c.token, now)
		if !errors.Is(err, c.want) || err == nil && l != mine {
			t.Errorf("%s: got %+v, %v", name, l, err)
		}
	}
	var published []string
	b := somePages(copper(), &published)
	for path, want := range map[string]int{"/": 404, "/a/": 404, "/a/x.y": 404, "/a/" + key.Token(expired): 410} {
		if code, _ := ask(b, "POST", path, url.Values{"answer": {"acknowledge"}}); code != want {
			t.Errorf("%s: %d, want %d", path, code, want)
		}
	}
	if published != nil {
		t.Errorf("published %q", published)
	}
}

func TestAnswers(t *testing.T) {
	task := copper()
	task.Task, task.To = true, "due"
	stop := copper()
	stop.To = alarm.Warning
	for name, c := range map[string]struct {
		alarm alarm.Listed
		form  string
		data  string // of the event, or what is said instead
	}{
		"acknowledge": {copper(), "answer=acknowledge&why=watching+it",
			`{"answer":"acknowledge","rule":"copper over baseline","component":"transmission","by":"ines","why":"watching it"}`},
		"shelve": {copper(), "answer=shelve&until=2031-03-20&why=sample+ordered",
			`{"answer":"shelve","rule":"copper over baseline","component":"transmission","until":"2031-03-20T08:00:00Z","by":"ines","why":"sample ordered"}`},
		"work": {task, "answer=done&day=2031-02-18&meter0=81,234.5&meter0-in=mi&meter1=&volume=4&why=thin%0d%0agrey+film",
			`{"tasks":["copper over baseline"],"component":"transmission","meters":{"odometer":{"value":81234.5,"unit":"mi"}},"fluid":{"drained":{"value":4,"unit":"L"},"filled":{"value":4,"unit":"L"}},"by":"ines","note":"thin grey film"}`},
		"not mine":                    {copper(), "answer=not+mine", `{"answer":"not mine","by":"ines"}`},
		"not mine, though it is over": {alarm.Listed{}, "answer=not+mine", `{"answer":"not mine","by":"ines"}`},
		"work after an alarm": {copper(), "answer=done&day=2031-02-18&volume=4&volume-in=qt&task=transmission+fluid&task=made+up",
			`{"tasks":["transmission fluid"],"component":"transmission","fluid":{"drained":{"value":4,"unit":"qt"},"filled":{"value":4,"unit":"qt"}},"by":"ines"}`},
		"a machine": {task, "answer=done&day=2031-02-18&volume=9.5&flush=yes",
			`{"tasks":["copper over baseline"],"component":"transmission","fluid":{"drained":{"value":9.5,"unit":"L"},"filled":{"value":9.5,"unit":"L"},"flush":true},"by":"ines"}`},
		"a machine, no volume": {task, "answer=done&day=2031-02-18&flush=yes",
			`{"tasks":["copper over baseline"],"component":"transmission","fluid":{"flush":true},"by":"ines"}`},
		"other work with it": {task, "answer=done&day=2031-02-18&task=leak+check",
			`{"tasks":["copper over baseline","leak check"],"component":"transmission","by":"ines"}`},
		"bad number":  {task, "answer=done&day=2031-02-18&meter0=many", "“many” is not a number."},
		"infinite":    {task, "answer=done&day=2031-02-18&volume=Inf", "“Inf” is not a number."},
		"a day ahead": {task, "answer=done&day=2031-02-21", "Choose a day from 19 Feb 2030 to 20 Feb 2031."},
		"no day":      {copper(), "answer=shelve&until=&why=x", "Choose a day from 21 Feb 2031 to 21 May 2031: it can be put aside for 90 days at most."},
		"gone by":     {copper(), "answer=shelve&until=2031-02-20&why=x", "Choose a day from 21 Feb 2031 to 21 May 2031"},
		"too long":    {copper(), "answer=shelve&until=2031-05-22&why=x", "Choose a day from 21 Feb 2031 to 21 May 2031"},
		"a warning for too long": {stop, "answer=shelve&until=2031-02-28&why=x",
			"Choose a day from 21 Feb 2031 to 27 Feb 2031: a warning can be put aside for 7 days at most, and only for a reason."},
		"a warning for no reason": {stop, "answer=shelve&until=2031-02-24&why=+", "Say why: a warning is put aside only for a reason."},
		"a warning to the last day": {stop, "answer=shelve&until=2031-02-27&why=towed",
			`{"answer":"shelve","rule":"copper over baseline","component":"transmission","until":"2031-02-27T08:00:00Z","by":"ines","why":"towed"}`},
		"none": {copper(), "answer=delete", "Choose one of the answers."},
	} {
		form, err := url.ParseQuery(c.form)
		if err != nil {
			t.Fatal(err)
		}
		form.Set("form", "0123456789abcdef0123")
		var published []string
		b := somePages(c.alarm, &published)
		code, page := ask(b, "POST", "/a/"+key.Token(mine), form)
		if !strings.HasPrefix(c.data, "{") {
			if code != 422 || !strings.Contains(page, c.data) || published != nil {
				t.Errorf("%s: %d, published %q", name, code, published)
			}
			continue
		}
		ask(b, "POST", "/a/"+key.Token(mine), form) // twice by a nervous finger
		if code != 200 || len(published) != 2 || published[0] != published[1] {
			t.Errorf("%s: %d, published %q", name, code, published)
			continue
		}
		var ev struct{ Data json.RawMessage }
		if err := json.Unmarshal([]byte(published[0]), &ev); err != nil || string(ev.Data) != c.data {
			t.Errorf("%s: got %s", name, ev.Data)
		}
		if _, err := intake.Decode([]byte(published[0])); err != nil {
			t.Errorf("%s: not an event: %v", name, err)
		}
	}
}

// The form has an input for each field that is named for it, and says it in the event.
func TestFormHasInputs(t *testing.T) {
	task := copper()
	task.Task = true
	var published []string
	b := somePages(task, &published)
	_, page := ask(b, "GET", "/a/"+key.Token(mine), nil)
	form := url.Values{"answer": {"done"}, "day": {"2031-02-18"}}
	for _, f := range intake.Fields(event.ServiceEvent) {
		if f.Input != intake.Apart && !strings.Contains(page, `name="`+f.Input+`"`) {
			t.Errorf("the page has no %s", f.Input)
		}
		form.Set(f.Input, map[string]string{"volume": "4", "flush": "yes", "task": "leak check", "why": "seen"}[f.Input])
	}
	if ask(b, "POST", "/a/"+key.Token(mine), form); len(published) != 1 {
		t.Fatalf("published %q", published)
	}
	ev, err := intake.Decode([]byte(published[0]))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range intake.Fields(event.ServiceEvent) {
		if f.Input != intake.Apart && reflect.ValueOf(f.In(ev.Data)).Elem().IsZero() {
			t.Errorf("%s says nothing of %s", f.Input, f.Path)
		}
	}
}

// What nobody should write into a name or a note comes onto the page as text, and
// into an answer's event as one line.
func TestHostile(t *testing.T) {
	for _, h := range hostile.Text {
		bad := copper()
		bad.Name, bad.Message, bad.Title = h, h, h // a component is one that the link names
		bad.Evidence = []word.Evidence{{Of: h, Note: h, Unit: h}}
		bad.PointsTo, bad.Cautions = []string{h}, []string{h}
		var published []string
		b := somePages(bad, &published)
		code, page := ask(b, "GET", "/a/"+key.Token(mine), nil)
		if code != 200 || strings.Contains(page, "<script") || strings.Contains(page, "<img") || strings.Count(page, "<form") != strings.Count(page, "</form") ||
			strings.Count(page, "</style") != 1 || strings.Count(page, "</main") != 1 || len(page) > 40<<10 || !utf8.ValidString(page) ||
			strings.IndexFunc(page, func(r rune) bool { return unicode.Is(unicode.Cf, r) || unicode.IsControl(r) && r != '\n' }) >= 0 {
			t.Errorf("%.30q: %d, %d bytes: markup or marks went through", h, code, len(page))
		}
		form := url.Values{"answer": {"acknowledge"}, "why": {h}}
		ask(b, "POST", "/a/"+key.Token(mine), form)
		if taken := len(form.Encode()) <= maxForm; len(published) == 1 != taken {
			t.Errorf("%.30q: %d events", h, len(published))
		}
		if len(published) == 0 {
			continue
		}
		if ev, err := intake.Decode([]byte(published[0])); err != nil || strings.ContainsAny(ev.Data.(*event.AnswerData).Why, "\r\n") {
			t.Errorf("%.30q: not an event: %v", h, err)
		}
	}
}

func TestOver(t *testing.T) {
	var published []string
	code, page := ask(somePages(alarm.Listed{}, &published), "GET", "/a/"+key.Token(mine), nil)
	if code != http.StatusOK || !strings.Contains(page, "This alarm is closed.") || strings.Contains(page, "<form") {
		t.Errorf("%d\n%s", code, page)
	}
}

// The page says for how long the alarm can be put aside, and its form asks for no more.
func TestPageSaysHowLong(t *testing.T) {
	stop, task := copper(), copper()
	stop.To = alarm.Warning
	task.Task, task.To = true, alarm.Overdue
	for _, c := range []struct {
		alarm alarm.Listed
		want  string
	}{
		{copper(), `It can be put aside for 90 days at most. You will hear about it sooner if it gets worse.</p>
<div class="field"><label for="f-aside-until">Until</label>
<input id="f-aside-until" name="until" value="2031-03-06" type="date" min="2031-02-21" max="2031-05-21" required></div>`},
		{stop, `A warning can be put aside for 7 days at most, and only for a reason. You will hear about it sooner if it gets worse.</p>
<div class="field"><label for="f-aside-until">Until</label>
<input id="f-aside-until" name="until" value="2031-02-27" type="date" min="2031-02-21" max="2031-02-27" required></div>`},
		{task, `It can be put aside for 30 days at most. You will hear about it sooner if it gets worse.</p>
<div class="field"><label for="f-aside-until">Until</label>
<input id="f-aside-until" name="until" value="2031-03-06" type="date" min="2031-02-21" max="2031-03-22" required></div>`},
	} {
		var published []string
		if _, page := ask(somePages(c.alarm, &published), "GET", "/a/"+key.Token(mine), nil); !strings.Contains(page, c.want) {
			t.Errorf("%s: got\n%s", c.alarm.To, page)
		}
	}
}
