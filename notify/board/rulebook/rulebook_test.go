package rulebook_test

import (
	"fmt"
	"html"
	"net/http"
	"net/url"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"telltale/engine/alarm"
	"telltale/engine/intake"
	"telltale/engine/reach"
	"telltale/engine/stream/service"
	"telltale/engine/why"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/frame"
	"telltale/notify/board/rulebook"
	"telltale/rules"
	"telltale/rules/unit"
)

func TestMain(m *testing.M) { boardtest.Main(m) }

func pagesOf(f *boardtest.Fleet) http.Handler { return f.Frame.Handler(rulebook.Pages(f.Frame)...) }

func get(t *testing.T, h http.Handler, path string) string {
	t.Helper()
	w := boardtest.Get(t, h, path)
	if w.Code != http.StatusOK {
		t.Fatalf("%s: %d\n%.2000s", path, w.Code, w.Body)
	}
	if w.Body.Len() > 60<<10 || strings.Contains(w.Body.String(), " style=") {
		t.Errorf("%s: %d bytes, or a style within", path, w.Body.Len())
	}
	return w.Body.String()
}

func wants(t *testing.T, page string, texts ...string) {
	t.Helper()
	for _, text := range texts {
		if !strings.Contains(page, text) {
			_, own, _ := strings.Cut(page, "<main")
			t.Errorf("the page does not say %q:\n%.4000s", text, own)
		}
	}
}

func bookOf(t *testing.T, f *boardtest.Fleet) *rules.Book {
	t.Helper()
	hash, err := f.Log.BookInForce(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	b, err := f.Log.Book(t.Context(), hash)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

var entryOf = regexp.MustCompile(`<a class="strong" href="([^"]*)">([^<]*)</a> <span class="soft">(\w+)</span>`)

// All pages of the list, one behind the other, have each part of the book once, and a part
// has a page.
func TestEveryPart(t *testing.T) {
	f := boardtest.Sample(t)
	h, b := pagesOf(f), bookOf(t, f)
	var want, got []string
	for _, k := range b.Tasks {
		want = append(want, "task "+k.Name)
	}
	for _, r := range b.Rules {
		want = append(want, "rule "+r.Name)
	}
	for _, bl := range b.Baselines {
		want = append(want, "baseline "+bl.Name)
	}
	slices.Sort(want[len(want)-len(b.Baselines):])
	next := regexp.MustCompile(`href="([^"]*)" rel="next"`)
	unescape := html.UnescapeString
	for path := "/rules"; path != "" && len(got) <= len(want); {
		page := get(t, h, path)
		for _, m := range entryOf.FindAllStringSubmatch(page, -1) {
			name := unescape(m[2])
			got = append(got, m[3]+" "+name)
			if len(got)%5 > 0 { // each runs its cases
				continue
			}
			one := get(t, h, unescape(m[1]))
			wants(t, one, m[2], "As it is written", "<pre class=\"lines\"><span><i>")
			if strings.Contains(one, ">Failed<") {
				t.Errorf("%s: a case of the sample book fails on its page", name)
			}
		}
		path = ""
		if m := next.FindStringSubmatch(page); m != nil {
			path = unescape(m[1])
		}
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %q\nwant %q", got, want)
	}
	wants(t, get(t, h, "/rules"), fmt.Sprintf("%d tasks, %d rules, %d baselines and %d cases.", len(b.Tasks), len(b.Rules), len(b.Baselines), len(b.Cases)), "engine-oil.yaml", "changed here", "your own")
	wants(t, get(t, h, "/rules?q=glycol"), "glycol in the engine oil")
	wants(t, get(t, h, "/rules?q=zzz"), "Nothing in the book has these words.")
	wants(t, get(t, h, "/rules?file=gritter.yaml&kind=task"), "chassis wash and grease")
	if w := boardtest.Get(t, h, "/rules/no%20such%20rule"); w.Code != http.StatusNotFound {
		t.Errorf("a rule that there is none of: %d", w.Code)
	}
}

// How far each rule reaches is what asking why of all vehicles says.
func TestReach(t *testing.T) {
	f := boardtest.Sample(t)
	b := bookOf(t, f)
	var all []why.Why
	vehicles, err := service.Register.Of(t.Context(), f.Service, service.Question{})
	for _, v := range vehicles {
		var one []why.Why
		if one, err = service.Why.Of(t.Context(), f.Service, service.Question{Vehicle: v.Vehicle}); err != nil {
			break
		}
		all = append(all, one...)
	}
	if err != nil {
		t.Fatal(err)
	}
	parts := map[string]*reach.Part{}
	worst, missing := map[[2]string]alarm.Stage{}, map[[2]string]bool{}
	places := map[string]int{}
	rank := func(s alarm.Stage) int {
		return max(slices.Index(alarm.RuleStages[:], s), slices.Index(alarm.TaskStages[:], s))
	}
	for _, r := range b.Rules {
		parts[r.Name] = &reach.Part{Name: r.Name, Stands: map[alarm.Stage]int{}}
	}
	for _, y := range all {
		if parts[y.Rule] == nil {
			continue
		}
		k := [2]string{y.Rule, y.Vehicle}
		if was, ok := worst[k]; !ok || rank(y.Stage) > rank(was) {
			worst[k] = y.Stage
		}
		lacks := y.NotJudged != nil && y.NotJudged.On.ID != nil
		missing[k] = missing[k] || lacks
		if y.Standing != "" || lacks {
			places[y.Rule]++
		}
	}
	for k, stage := range worst {
		p := parts[k[0]]
		p.Vehicles++
		if stage != alarm.Normal {
			p.Stands[stage]++
		}
		if missing[k] {
			p.NotJudged++
		}
	}
	got, err := service.Reach.Of(t.Context(), f.Service, service.Question{})
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, g := range got {
		w := parts[g.Name]
		if g.Task {
			continue
		}
		seen += g.Standing() + g.NotJudged
		g.Baselines = nil
		if !reflect.DeepEqual(&g, w) {
			t.Errorf("got %+v, want %+v", g, *w)
		}
		delete(parts, g.Name)
		list, err := service.Reached.Of(t.Context(), f.Service, service.Question{Rule: g.Name})
		if err != nil || len(list) != places[g.Name] {
			t.Errorf("%s stands or is not judged in %d places (%v), want %d", g.Name, len(list), err, places[g.Name])
		}
	}
	for name, p := range parts {
		if p.Vehicles > 0 {
			t.Errorf("%s is not counted, and applies to %d", name, p.Vehicles)
		}
	}
	if seen < 3 {
		t.Errorf("only %d stand or are not judged: the sample shows nothing", seen)
	}
}

func TestRulePage(t *testing.T) {
	h := pagesOf(boardtest.Sample(t))
	page := get(t, h, "/rules/copper%20over%20baseline")
	wants(t, page, "Applies to 12 vehicles; 1 to stop; 1 to look at.", "copper, times the baseline", "When the value is back past the limit by 10 % of it.",
		"within 5,000 km or 90 days", "Hot fluid scalds", `<a href="/v/bus-07">Bus 7</a>`, `href="/v/bus-07/why/copper%20over%20baseline?component=transmission"`,
		"a cooler that leaches copper is no bushing", "Passed", `href="/rules/try?rule=copper&#43;over&#43;baseline"`, "common practice, no source", "copper over baseline:\n")
	wants(t, get(t, h, "/rules/transmission%20fluid"), "Every 60,000 km or 36 months, whichever comes first.", "Source: invented for the sample fleet", "ATF 4 L", "10 % of the interval past the due point")
	wants(t, get(t, h, "/rules/minibus%20transmission%20fluid?kind=baseline"), "copper (Cu), mg/kg", "45,000 km", "transmission fluid of the fleet")
}

// few is a fleet of one bus by a book of the test's own.
func few(t *testing.T, book string) *boardtest.Fleet {
	t.Helper()
	ev, err := intake.Short("2031-05-01 reading bus-01 odometer 3 km", "r", unit.System{})
	if err != nil {
		t.Fatal(err)
	}
	line, err := intake.Encode(ev)
	if err != nil {
		t.Fatal(err)
	}
	return boardtest.New(t, boardtest.Files{Vehicles: "vehicles:\n  bus-01: {kind: minibus, meters: {odometer: distance}}\n", People: "people: {}\n", Events: string(line) + "\n",
		Rules: []rules.File{{Name: "rules/a.yaml", Text: []byte(book)}}})
}

// Cases that fail say what was expected and what came; cases that cannot be run say why.
func TestCases(t *testing.T) {
	h := pagesOf(few(t, `book: 1
tasks:
  oil: {every: {distance: 1000 km}, unknown history: from first reading, cautions: none}
cases:
  right: {given: [2031-01-02 reading bus-01 odometer 0 km, 2031-02-02 reading bus-01 odometer 1000 km], expect: [{on: 2031-02-02, rule: oil, to: due}]}
  wrong: {given: [2031-01-02 reading bus-01 odometer 0 km], expect: [{on: 2031-02-02, rule: oil, to: due}]}
  damaged: {given: [2031-01-02 reading bus-01 hubometer 3 km], expect: [{on: 2031-02-02, rule: oil, to: due}]}
  nothing: {given: [2031-01-02 reading bus-01 odometer 0 km], expect: none}
  of another: {given: [2031-01-02 reading bus-01 odometer 0 km], expect: none, of: other}
`+"rules:\n  other: {on: reading, raise: odometer() > km(9000), stage: advisory, cautions: none}\n"))
	page := get(t, h, "/rules/oil")
	for name, want := range map[string]string{"right": "Passed", "wrong": "Failed", "damaged": "Failed", "nothing": "Passed"} {
		if !regexp.MustCompile(want + `</span> ` + name + `<`).MatchString(page) {
			t.Errorf("the case %q has not %s", name, want)
		}
	}
	wants(t, page, `<td data-of="Expected">oil: due</td><td data-of="Came">nothing</td>`, "has no meter &#34;hubometer&#34;", "Nothing is expected, and nothing came.")
	if strings.Contains(page, "of another") {
		t.Error("a case that speaks of another rule stands there")
	}
}

// Without rules, and with what was never filled in, the pages say so.
func TestNothing(t *testing.T) {
	h := pagesOf(boardtest.New(t, boardtest.Files{Vehicles: "vehicles: {}\n", People: "people: {}\n"}))
	if w := boardtest.Get(t, h, "/rules/oil"); w.Code != http.StatusNotFound {
		t.Errorf("of no book: %d", w.Code)
	}
	wants(t, get(t, h, "/rules"), "No rules are in force yet.", "telltale adopt")
	h = pagesOf(few(t, "book: 1\ntasks:\n  belt: {every: {distance: fill in}, cautions: none, source: the maker's manual}\n"))
	wants(t, get(t, h, "/rules"), "1 figure is still to be filled in", "Applies to no vehicle.")
	wants(t, get(t, h, "/rules/belt"), "Not in use", "to be filled in at", "On no vehicle.", "No case of the book speaks of it.")
}

// Whatever stands in a rule file stays text.
func TestHostile(t *testing.T) {
	name := `<script>alert(1)</script> "&' ${1}{{.}}/x`
	book := fmt.Sprintf("book: 1\ntasks:\n  %[1]q: {title: %[1]q, every: {distance: 1000 km}, cautions: none, source: %[1]q}\ncases:\n  %[1]q: {given: [2031-01-02 reading bus-01 odometer 0 km], expect: none}\n", name)
	h := pagesOf(few(t, book))
	for _, path := range []string{"/rules", frame.Path("rules", name), "/rules?" + url.Values{"q": {name}, "file": {name}, "kind": {name}, "after": {name}}.Encode()} {
		if page := get(t, h, path); strings.Contains(page, "<script>") || strings.Count(page, "</main") != 1 {
			t.Errorf("%s: markup went through", path)
		}
	}
}
