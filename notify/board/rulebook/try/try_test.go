package try_test

import (
	"context"
	"fmt"
	"html"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/stream/service"
	"telltale/engine/whatif"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/rulebook/try"
	"telltale/rules"
	"telltale/testdata/hostile"
)

func TestMain(m *testing.M) { boardtest.Main(m) }

func pages(f *boardtest.Fleet) http.Handler { return f.Handler(try.Pages(f.Frame)...) }

// fileOf is a file of the sample's rules.
func fileOf(t *testing.T, name string) string {
	t.Helper()
	files, err := boardtest.SampleFiles()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files.Rules {
		if strings.HasSuffix(f.Name, name) {
			return string(f.Text)
		}
	}
	t.Fatalf("there is no %s", name)
	return ""
}

// asked is a form as it is sent.
func asked(file, text string, more ...string) url.Values {
	v := url.Values{"file": {file}, "text": {strings.ReplaceAll(text, "\n", "\r\n")}, "of": {"sample"}, "days": {"365"}}
	for i := 0; i+1 < len(more); i += 2 {
		v.Set(more[i], more[i+1])
	}
	return v
}

// ended asks for what came of a change until it has ended.
func ended(t *testing.T, h http.Handler, w *httptest.ResponseRecorder) (*httptest.ResponseRecorder, string) {
	t.Helper()
	to := w.Header().Get("Location")
	if w.Code != http.StatusSeeOther || !strings.HasPrefix(to, "/rules/try/") {
		t.Fatalf("%d, to %q\n%.3000s", w.Code, to, boardtest.Says(w))
	}
	for {
		w := boardtest.Get(t, h, to)
		if w.Header().Get("Refresh") == "" {
			return w, to
		}
	}
}

// The page begins with the file of the rule as it is in force.
func TestStart(t *testing.T) {
	h := pages(boardtest.Sample(t))
	text := fileOf(t, "automatic-transmission.yaml")
	for _, path := range []string{"/rules/try?rule=" + url.QueryEscape("copper over baseline"), "/rules/try", "/rules/try?file=automatic-transmission.yaml"} {
		w := boardtest.Get(t, h, path)
		boardtest.Lacks(t, w, 200, "Try a change", "a sample of 200", "Look", "Nothing is put in force")
		_, area, _ := strings.Cut(w.Body.String(), "<textarea")
		_, area, _ = strings.Cut(area, ">\n")
		area, _, _ = strings.Cut(area, "</textarea>")
		if html.UnescapeString(area) != text {
			t.Errorf("%s begins with\n%.200s", path, area)
		}
	}
}

// The same text changes nothing, and its cases pass.
func TestSame(t *testing.T) {
	f := boardtest.Sample(t)
	h := pages(f)
	before, err := f.Log.LastEvent(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	name := "automatic-transmission.yaml"
	w, to := ended(t, h, boardtest.Post(t, h, "/rules/try", asked(name, fileOf(t, name))))
	boardtest.Lacks(t, w, 200, "What would change", "Nothing: the text is the one in force.", "the last 365 days: no alarm would have been another. No task would be due at once.", "Passed all", "rules/"+name+" in the fleet's folder, or use telltale adopt")
	if got := boardtest.Get(t, h, to+"/file"); got.Body.String() != fileOf(t, name) || got.Header().Get("Content-Disposition") != "attachment; filename="+name {
		t.Errorf("%v", got.Header())
	}
	boardtest.Lacks(t, boardtest.Get(t, h, "/rules/try?again="+strings.TrimPrefix(to, "/rules/try/")), 200, "Try a change")
	if w.Body.Len() > 60<<10 {
		t.Errorf("%d bytes", w.Body.Len())
	}
	after, err := f.Log.LastEvent(t.Context())
	hash, hashErr := f.Log.BookInForce(t.Context())
	if err != nil || hashErr != nil || after != before || hash == "" {
		t.Errorf("the log went from %d to %d (%v, %v)", before, after, err, hashErr)
	}
}

// own is a chapter of one task and one rule that the sample fleet differs on.
const own = `book: 1
tasks:
  wash the bus: {title: Wash the bus, where: vehicle.kind == "minibus", every: {distance: 500 km}, early: {distance: 50 km}, unknown history: due, cautions: none}
cases:
  dirty:
    given:
      - 2031-01-02 vehicle bus-99 minibus meter odometer
      - 2031-01-03 reading bus-99 odometer 1000 km
    expect:
      - {on: 2031-01-02, vehicle: bus-99, rule: wash the bus, to: due}
  clean:
    given:
      - 2031-01-02 vehicle bus-99 minibus meter odometer
      - 2031-01-03 reading bus-99 odometer 1000 km
    expect: none
`

// A change is told as the trial over the log has it, vehicle by vehicle.
func TestDifferences(t *testing.T) {
	f := boardtest.Sample(t)
	h := pages(f)
	w, _ := ended(t, h, boardtest.Post(t, h, "/rules/try", asked("washing.yaml", own)))
	files, err := boardtest.SampleFiles()
	if err != nil {
		t.Fatal(err)
	}
	old, err := rules.Load(files.Rules)
	if err != nil {
		t.Fatal(err)
	}
	newer, err := rules.Load(append(slices.Clone(files.Rules), rules.File{Name: "washing.yaml", Text: []byte(own)}))
	if err != nil {
		t.Fatal(err)
	}
	trial := &whatif.Trial{Old: old, New: newer, Since: boardtest.Morning.AddDate(0, 0, -365), Until: boardtest.Morning, By: engine.Asker{}}
	all, err := service.Register.Of(t.Context(), f.Service, service.Question{})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range all {
		var list []event.Event
		name := v.Vehicle
		if v.First != "" {
			name = v.First
		}
		if err := f.Log.EachOf(t.Context(), name, func(ev event.Event) error { list = append(list, ev); return nil }); err != nil {
			t.Fatal(err)
		}
		if err := trial.Vehicle(func(yield func(event.Event, error) bool) {
			for _, ev := range list {
				if !yield(ev, nil) {
					return
				}
			}
		}); err != nil {
			t.Fatal(err)
		}
	}
	due := trial.Due()
	if len(trial.Differences) == 0 || len(due) != 1 || due[0].Task != "wash the bus" {
		t.Fatalf("%d differences, due %+v", len(trial.Differences), due)
	}
	n := len(trial.Differences)
	boardtest.Lacks(t, w, 200, fmt.Sprintf("All %d vehicles, the last 365 days: %d alarms would have come. 1 task would be due at once, %d jobs in all.", len(all), n, due[0].Vehicles),
		fmt.Sprintf("wash the bus 0 %d %d would have come", n, n), fmt.Sprintf("wash the bus not yet Due %d vehicles", due[0].Vehicles), "Bus 1 wash the bus: would have come", "By the rules in force: not at all",
		"Failed 1 of 2", "clean washing.yaml, line", "2031-01-02 nothing bus-99 wash the bus: raised due", "+ wash the bus: {title: Wash the bus")
}

// One vehicle, or those of a tag, are looked at; what cannot be is said at its field.
func TestVehicles(t *testing.T) {
	h := pages(boardtest.Sample(t))
	w, _ := ended(t, h, boardtest.Post(t, h, "/rules/try", asked("washing.yaml", own, "of", "vehicle", "vehicle", "bus 1", "days", "30")))
	boardtest.Lacks(t, w, 200, "Bus 1, the last 30 days: 1 alarm would have come.")
	w, _ = ended(t, h, boardtest.Post(t, h, "/rules/try", asked("washing.yaml", own, "of", "tag", "tag", "depot=north")))
	boardtest.Lacks(t, w, 200, "vehicles with depot north, the last 365 days: ")
	for want, more := range map[string][]string{
		"Vehicle: Write which one, by its name or id.":    {"of", "vehicle"},
		`Vehicle: No vehicle is called "bus 999".`:        {"of", "vehicle", "vehicle", "bus 999"},
		"Tag: Choose a tag that vehicles have.":           {"of", "tag"},
		"Name of the file: Write a name such as my-rules": {"file", "../rules.yaml"},
		"Over the last: Choose how many days.":            {"days", "9999"},
		"It has 300 KiB, and may have 256.":               {"text", strings.Repeat("a", 300<<10)},
		"Write the rules, or begin with a file.":          {"text", ""},
	} {
		boardtest.Lacks(t, boardtest.Post(t, h, "/rules/try", asked("washing.yaml", own, more...)), 422, "Not tried: put this right first", want)
	}
}

// What is wrong with a text is told as the check tells it, and the text is kept.
func TestFaults(t *testing.T) {
	h := pages(boardtest.Sample(t))
	text := strings.Replace(own, "every:", "evry:", 1)
	w := boardtest.Post(t, h, "/rules/try", asked("washing.yaml", text))
	boardtest.Lacks(t, w, 422, "The text has faults, which stand below.", "washing.yaml:3:", "^^^^", "hint: did you mean `every`?")
	if !strings.Contains(strings.ReplaceAll(html.UnescapeString(w.Body.String()), "\r\n", "\n"), text) {
		t.Errorf("the text is not kept\n%s", w.Body)
	}
	// A file that takes a name of another file.
	boardtest.Lacks(t, boardtest.Post(t, h, "/rules/try", asked("second.yaml", fileOf(t, "automatic-transmission.yaml"))), 422, "second.yaml:")
}

// slow is a fleet that takes a while to look at.
func slow(t *testing.T) *boardtest.Fleet {
	t.Helper()
	files, err := boardtest.SampleFiles()
	if err != nil {
		t.Fatal(err)
	}
	return boardtest.New(t, files)
}

// One change is tried at a time; it can be stopped, and says of how much it is then.
func TestStop(t *testing.T) {
	f := slow(t)
	h := pages(f)
	hold := make(chan struct{})
	try.Hold(t, func(ctx context.Context) {
		select {
		case <-hold:
		case <-ctx.Done():
		}
	})
	first := boardtest.Post(t, h, "/rules/try", asked("washing.yaml", own))
	at := first.Header().Get("Location")
	w := boardtest.Get(t, h, at)
	boardtest.Lacks(t, w, 200, "Trying the change", "0 of", "vehicles are looked at.", "How far is it?", "Stop")
	if w.Header().Get("Refresh") != "2" {
		t.Errorf("%v", w.Header())
	}
	second := boardtest.Post(t, h, "/rules/try", asked("washing.yaml", own))
	boardtest.Lacks(t, second, 429, "Another change is being tried, which takes at most 30 seconds")
	if second.Header().Get("Retry-After") != "30" {
		t.Errorf("%v", second.Header())
	}
	boardtest.Post(t, h, at+"/stop", url.Values{})
	w, _ = ended(t, h, first)
	boardtest.Lacks(t, w, 200, "It was stopped: 0 of", "vehicles were looked at, and what follows is of these alone.")
	close(hold)
	w, _ = ended(t, h, boardtest.Post(t, h, "/rules/try", asked("washing.yaml", own)))
	boardtest.Lacks(t, w, 200, "All", "would have come")
	boardtest.Lacks(t, boardtest.Get(t, h, "/rules/try/0123"), 404, "What came of this change is no longer here.")
}

// Without rules in force there is nothing to compare with, and the page says what to do.
func TestNoBook(t *testing.T) {
	f := boardtest.New(t, boardtest.Files{Vehicles: "vehicles: {}\n", People: "people: {}\n"})
	const none = "No rules are in force yet, so there is nothing to compare a change with."
	boardtest.Lacks(t, boardtest.Get(t, pages(f), "/rules/try"), 200, none, "Put rule files into the folder")
	boardtest.Lacks(t, boardtest.Post(t, pages(f), "/rules/try", asked("washing.yaml", own)), 404, none)
}

func TestHostile(t *testing.T) {
	h := pages(boardtest.Sample(t))
	for _, text := range hostile.Text {
		for _, w := range []*httptest.ResponseRecorder{
			boardtest.Post(t, h, "/rules/try", asked("washing.yaml", text, "vehicle", text, "tag", text, "of", "vehicle")),
			boardtest.Post(t, h, "/rules/try", asked(text, text, "days", text)),
			boardtest.Get(t, h, "/rules/try?"+url.Values{"rule": {text}, "file": {text}, "again": {text}}.Encode()),
		} {
			body := w.Body.String()
			if w.Code >= 500 || strings.Contains(body, "<script>") || strings.Contains(body, "<img") || strings.Contains(body, "</textarea></div>{{") || strings.Count(body, "<main") != 1 {
				t.Errorf("%.40q: %d\n%.2000s", text, w.Code, body)
			}
		}
	}
}
