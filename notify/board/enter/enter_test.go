package enter_test

import (
	"html"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream/service"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
	"telltale/notify/board/enter"
	"telltale/notify/board/entry"
	"telltale/rules"
	"telltale/testdata/quick"
)

func TestMain(m *testing.M) {
	quick.Start()
	code := m.Run()
	browser.Close()
	os.Exit(code)
}

const book = `book: 1
units: {distance: km, volume: L}
measures: {front lining: mm}
tasks:
  engine oil:
    title: Change the engine oil
    where: component.kind == "engine"
    every: {distance: 10000 km}
    early: {distance: 1000 km}
    unknown history: from first reading
    follow up:
      leak check: {title: Look for leaks, within: {distance: 500 km}}
  gearbox oil:
    title: Change the gearbox oil
    where: component.kind == "gearbox"
    every: {distance: 60000 km}
    unknown history: from first reading
  safety inspection:
    title: Safety inspection
    every: {time: 6 months}
    early: {time: 40 days}
    statutory: true
    unknown history: from first reading
  linings:
    title: Renew the front linings
    every: {until: {front lining: 3 mm}}
  repairs:
    title: Repair what was reported
    every: when reported
`

const vehicles = `vehicles:
  van-3:
    name: Van 3
    kind: van
    zone: Europe/London
    meters: {odometer: distance}
    components:
      engine: {kind: engine, fluid: 5W-30, capacity: 7 L}
      gearbox: {kind: gearbox, fluid: ATF, capacity: 8 L}
`

const persons = `people:
  ines: {name: Ines Thornbeck, mail: ines@larkfell.example, zone: Europe/London}
  tobias: {name: Tobias Wrenfold, mail: tobias@larkfell.example, zone: Europe/London, numbers: comma}
  uma: {name: Uma Greel, mail: uma@larkfell.example, zone: Pacific/Honolulu}
operator: [ines]
`

// readings are what the van's gateway sent.
const readings = `{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway/3","id":"r1","subject":"van-3","time":"2031-01-06T08:00:00Z","data":{"meter":"odometer","value":120000,"unit":"km"}}
{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway/3","id":"r2","subject":"van-3","time":"2031-03-06T08:00:00Z","data":{"meter":"odometer","value":124000,"unit":"km"}}
{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway/3","id":"r3","subject":"van-3","time":"2031-06-02T08:00:00Z","data":{"meter":"odometer","value":129500,"unit":"km"}}
`

// board is a van whose oil is soon due, in a service of its own.
type board struct {
	*boardtest.Fleet
	h http.Handler
	t *testing.T
}

func open(t *testing.T) board {
	t.Helper()
	f := boardtest.New(t, boardtest.Files{Rules: []rules.File{{Name: "van.yaml", Text: []byte(book)}}, Vehicles: vehicles, People: persons,
		Events: readings})
	e := entry.New(f.Frame)
	return board{f, f.Handler(slices.Concat(enter.Routes(e), e.Routes())...), t}
}

// page is what came back, and the form on it.
type page struct {
	code int
	to   string // where it leads
	text string
	id   string
}

var (
	formID = regexp.MustCompile(`name="form" value="(\w+)"`)
	sure   = regexp.MustCompile(`name="sure" value="(\w+)"`)
)

func (b board) seen(w *httptest.ResponseRecorder) page {
	p := page{w.Code, w.Header().Get("Location"), html.UnescapeString(w.Body.String()), ""}
	if m := formID.FindStringSubmatch(p.text); m != nil {
		p.id = m[1]
	}
	return p
}

func (b board) get(path string) page { return b.seen(boardtest.Get(b.t, b.h, path)) }

// send posts a form, given as it stands in an address, with the identity and the doubts of
// the page that it is on.
func (b board) send(path string, on page, form string) page {
	b.t.Helper()
	v, err := url.ParseQuery(form)
	if err != nil {
		b.t.Fatal(err)
	}
	v.Set("form", on.id)
	for _, m := range sure.FindAllStringSubmatch(on.text, -1) {
		v.Add("sure", m[1])
	}
	return b.seen(boardtest.Post(b.t, b.h, path, v))
}

// enter sends a form from its page, and goes on to what followed.
func (b board) enter(path, form string) page {
	b.t.Helper()
	p := b.send(path, b.get(path), form)
	if p.code != http.StatusSeeOther {
		b.t.Fatalf("%s with %s: %d\n%s", path, form, p.code, p.text)
	}
	return b.get(p.to)
}

func (b board) want(p page, code int, texts ...string) {
	b.t.Helper()
	for _, text := range texts {
		if p.code != code || !strings.Contains(p.text, text) {
			b.t.Errorf("%d, want %d with %q\n%s", p.code, code, text, main(p.text))
		}
	}
}

// main is the page without its frame.
func main(text string) string {
	_, text, _ = strings.Cut(text, "<main")
	text, _, _ = strings.Cut(text, "</main>")
	return text
}

func TestReading(t *testing.T) {
	b := open(t)
	p := b.get("/v/van-3/reading")
	b.want(p, 200, "Last 129,500 km on 2 Jun 2031; about 129,750 km by now.", `inputmode="decimal"`, `name="day" value="2031-06-06"`)
	b.want(b.send("/v/van-3/reading", p, "day=2031-06-06"), 422, "Type what a meter shows.")
	b.want(b.send("/v/van-3/reading", p, "day=2031-06-06&meter0=129,8"), 422, "129,8: write 129.8 or 1298.", "Not entered yet: Enter a reading")
	b.want(b.send("/v/van-3/reading", p, "day=2031-06-06&meter0=129800&time=23:10"), 422, "23:10 has not come yet.")

	back := b.send("/v/van-3/reading", p, "day=2031-06-06&meter0=12980")
	b.want(back, 422, "The odometer reads 12,980 km after 129,500 km on 2 Jun 2031", "What would follow", "Enter it all the same", `value="12980"`)
	look := b.send("/v/van-3/reading", back, "day=2031-06-06&meter0=129800&do=look")
	b.want(look, 200, "What would follow", "Odometer 129,800 km recorded.", "Soon: safety inspection, engine oil (engine).")
	if n := len(b.entries("")); n != 0 {
		t.Errorf("looking has entered %d", n)
	}
	done := b.send("/v/van-3/reading", look, "day=2031-06-06&meter0=129800")
	if done.code != 303 || done.to != "/v/van-3/entered/"+p.id {
		t.Fatalf("%d to %q\n%s", done.code, done.to, main(done.text))
	}
	b.want(b.get(done.to), 200, "Entered, Van 3", "Odometer 129,800 km, 6 Jun 2031.", "What followed", "Take it back")
	// twice is once; and something else is not taken for it
	if again := b.send("/v/van-3/reading", look, "day=2031-06-06&meter0=129800"); again.code != 303 || len(b.entries(p.id)) != 1 {
		t.Errorf("twice: %d, %d entries", again.code, len(b.entries(p.id)))
	}
	b.want(b.send("/v/van-3/reading", look, "day=2031-06-06&meter0=129900"), 409, "This form was entered already, with something else in it: odometer 129,800 km")
	gone := b.send(done.to, b.get(done.to), "")
	if gone.code != 303 {
		t.Fatalf("taking it back: %d\n%s", gone.code, main(gone.text))
	}
	b.want(b.get(gone.to), 200, "Taken back", "It counts for nothing any more.")
	if strings.Contains(b.get(gone.to).text, "Take it back") {
		t.Error("it can be taken back twice")
	}
	b.want(b.send("/v/van-3/reading", look, "day=2031-06-06&meter0=129800"), 409, "What this form entered was taken back")
}

// Days are those where the vehicle is, whoever looks from wherever.
func TestDaysOfTheVehicle(t *testing.T) {
	b := open(t)
	b.want(b.as("uma", "GET", "/v/van-3/reading", nil), 200, `name="day" value="2031-06-06"`) // where it is the evening before
	p := b.enter("/v/van-3/reading", "day=2031-06-06&time=0:30&meter0=129800")
	b.want(p, 200, "Odometer 129,800 km, 6 Jun 2031.")
	b.want(b.as("uma", "GET", "/v/van-3/entered/"+b.entries("")[0], nil), 200, "Odometer 129,800 km, 6 Jun 2031.")
}

// entries are those of the van whose identity begins so.
func (b board) entries(id string) (out []string) {
	list, err := service.Entries.Of(b.t.Context(), b.Service, service.Question{Vehicle: "van-3", ID: id})
	if err != nil {
		b.t.Fatal(err)
	}
	for _, e := range list {
		ev, err := intake.Decode(e.Event)
		if err != nil {
			b.t.Fatal(err)
		}
		if ev.ID.Source == "/people/ines" {
			out = append(out, ev.ID.ID)
		}
	}
	return out
}

// Gloves at six: from the due list a press to the form, on which the work is ticked, one
// number, and one press to enter it.
func TestWork(t *testing.T) {
	b := open(t)
	p := b.get("/v/van-3/work?task=engine+oil")
	b.want(p, 200, `value="engine oil" checked`, "Change the engine oil (engine): soon", "Change the gearbox oil (gearbox)", "Engine holds 7 L of 5W-30.",
		`name="by" value="Ines Thornbeck"`, `<option value="Tobias Wrenfold">`)
	if strings.Contains(b.get("/v/van-3/work?task=engine+oil&component=engine").text, "<details open") {
		t.Error("a link to the work unfolds what nobody typed into")
	}
	if strings.Contains(p.text, `value="safety inspection" checked`) {
		t.Error("what nobody named is ticked")
	}
	all := "task=engine+oil&by=Ines+Thornbeck&day=2031-06-06&meter0=129800"
	look := b.send("/v/van-3/work", p, all+"&do=look&filter=yes&filled=6.5")
	b.want(look, 200, "Engine oil (engine): due next at 139,800 km", "Leak check (engine)", `name="filter" value="yes" checked`, "Fluid and filter")
	done := b.enter("/v/van-3/work?task=engine+oil", all+"&filled=6.5&filter=yes&note=thin+film")
	b.want(done, 200, "Engine oil (engine)", "6.5 L", "thin film", "What followed", "Engine oil (engine): due next at 139,800 km", "Take it back")
	b.want(b.get("/v/van-3/work"), 200, "Look for leaks (engine)", `<label class="tick"><input type="checkbox" name="task" value="leak check"`)
}

// A link may tick several, and what is not due yet.
func TestWorkByALink(t *testing.T) {
	b := open(t)
	b.want(b.get("/v/van-3/work?task=gearbox+oil&task=safety+inspection&task=made+up"), 200, `value="gearbox oil" checked`, `value="safety inspection" checked`)
	if strings.Contains(b.get("/v/van-3/work?task=made+up").text, "made up") {
		t.Error("a task that nobody has stands on the page")
	}
}

// Who begins with an old vehicle enters what was done years ago.
func TestWorkOfYearsAgo(t *testing.T) {
	b := open(t)
	done := b.enter("/v/van-3/work", "other=gearbox+oil&day=2026-05-04&meter0=81000")
	b.want(done, 200, "4 May 2026", "Gearbox oil (gearbox): due next at 141,000 km")
	b.want(b.send("/v/van-3/reading", b.get("/v/van-3/reading"), "meter0=81000&day=2026-05-04"), 422, "Choose a day from 5 Jun 2030 to 6 Jun 2031.")
}

// What can hardly be is asked back, once.
func TestWorkAsksBack(t *testing.T) {
	b := open(t)
	p := b.get("/v/van-3/work")
	b.want(b.send("/v/van-3/work", p, "task=engine+oil&day=2031-06-07"), 422, "Choose a day from 7 May 1991 to 6 Jun 2031.", `value="engine oil" checked`)
	b.want(b.send("/v/van-3/work", p, "day=2031-06-06"), 422, "What was done?")
	b.want(b.send("/v/van-3/work", p, "day=2031-06-06&filled=4"), 422, "Which component? van-3 has engine and gearbox")
	much := b.send("/v/van-3/work", p, "task=engine+oil&day=2031-06-06&filled=70")
	b.want(much, 422, "Fluid filled in: 70 L is more than the 7 L that the engine holds.", "Enter it all the same")
	if again := b.send("/v/van-3/work", much, "task=engine+oil&day=2031-06-06&filled=70"); again.code != 303 {
		t.Errorf("%d\n%s", again.code, main(again.text))
	}
	twice := b.send("/v/van-3/work", b.get("/v/van-3/work"), "other=engine+oil&day=2031-06-06")
	b.want(twice, 422, "Engine oil is entered for 6 Jun 2031 already.", "Enter it all the same")
	if again := b.send("/v/van-3/work", twice, "other=engine+oil&day=2031-06-06"); again.code != 303 {
		t.Errorf("%d\n%s", again.code, main(again.text))
	}
}

// While the service does not answer, what was typed comes back, to be sent again.
func TestKept(t *testing.T) {
	b := open(t)
	p := b.get("/v/van-3/work")
	if err := b.Service.Stop(); err != nil {
		t.Fatal(err)
	}
	b.want(b.send("/v/van-3/work", p, "task=engine+oil&day=2031-06-06&note=thin+film"), 503, "This does not work just now. What you typed is still here",
		`name="note" value="thin film"`, `value="engine oil" checked`, `name="form" value="`+p.id+`"`)
}

// What is stored and not folded yet says so.
func TestNotFoldedYet(t *testing.T) {
	b := open(t)
	if err := b.Service.Stop(); err != nil {
		t.Fatal(err)
	}
	ev, err := intake.Checked(event.Event{ID: event.ID{Source: "/people/ines", ID: "late"}, Kind: event.ReadingEvent, Vehicle: "van-3",
		Time: boardtest.Morning, Recorded: boardtest.Morning, Data: &event.ReadingData{Meter: "odometer", Value: 129800, Unit: "km"}})
	if err == nil {
		err = b.Log.Publish(t.Context(), ev)
	}
	if err != nil {
		t.Fatal(err)
	}
	b.want(b.get("/v/van-3/entered/late"), 200, "It is stored. The service is busy and has not used it yet; load this page again in a minute.")
}

// A form that several presses send at once is entered once, and each comes to what
// followed.
func TestPressedManyTimes(t *testing.T) {
	b := open(t)
	p := b.get("/v/van-3/work")
	var wg sync.WaitGroup
	var all [4]page
	for i := range all {
		wg.Go(func() { all[i] = b.send("/v/van-3/work", p, "task=engine+oil&day=2031-06-06&meter0=129800") })
	}
	wg.Wait()
	for _, w := range all {
		if w.code != 303 || w.to != "/v/van-3/entered/"+p.id {
			t.Errorf("%d to %s\n%s", w.code, w.to, main(w.text))
		}
	}
	if n := len(b.entries("")); n != 1 {
		t.Errorf("%d entries", n)
	}
	refused, err := service.Refused.Of(t.Context(), b.Service, service.Question{})
	if err != nil || len(refused) > 0 {
		t.Errorf("%v, %v", refused, err)
	}
}

// A sample of the same day counts as drawn before the work, which is asked back.
func TestSampleOfTheSameDay(t *testing.T) {
	b := open(t)
	at := boardtest.Morning
	data := &event.SampleData{Component: "engine", Number: "L-7", Drawn: "2031-06-06", Laboratory: "valley", Results: []event.ResultData{{Analyte: "Fe", Value: new(20.0), Unit: "mg/kg"}}}
	ev, err := intake.Checked(event.Event{ID: event.ID{Source: "/laboratory", ID: "7"}, Kind: event.SampleEvent, Vehicle: "van-3", Time: at, Recorded: at, Data: data})
	if err == nil {
		err = b.Log.Publish(t.Context(), ev)
	}
	if err == nil {
		err = b.Service.CaughtUp(t.Context())
	}
	if err != nil {
		t.Fatal(err)
	}
	b.want(b.send("/v/van-3/work", b.get("/v/van-3/work"), "task=engine+oil&day=2031-06-06"), 422,
		"Day: Sample L-7 of the engine was drawn on the same day: it counts as drawn before this work.")
}

// Work on two components in one form is an entry of each, and one entry to take back.
func TestWorkOnTwoComponents(t *testing.T) {
	b := open(t)
	p := b.get("/v/van-3/work")
	done := b.enter("/v/van-3/work", "task=engine+oil&other=gearbox+oil&task=safety+inspection&day=2031-06-05&meter0=129750&component=gearbox&filled=8")
	b.want(done, 200, "Engine oil (engine)", "Gearbox oil", "8 L", "Safety inspection: due next on", "5 Jun 2031")
	if n := len(b.entries("")); n != 2 {
		t.Errorf("%d entries", n)
	}
	_ = p
}

// as makes a request as somebody else than the operator.
func (b board) as(who, method, path string, form url.Values) page {
	r := httptest.NewRequest(method, "http://127.0.0.1:4280"+path, strings.NewReader(form.Encode()))
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	r.AddCookie(&http.Cookie{Name: "telltale-who", Value: who})
	w := httptest.NewRecorder()
	b.h.ServeHTTP(w, r)
	return b.seen(w)
}

// Everybody takes back their own of the day, an operator what anybody entered.
func TestWhoTakesBack(t *testing.T) {
	b := open(t)
	work := url.Values{"form": {"0123456789abcdef0123"}, "task": {"engine oil"}, "day": {"2031-06-05"}}
	p := b.as("tobias", "POST", "/v/van-3/work", work)
	if p.code != 303 {
		t.Fatalf("%d\n%s", p.code, main(p.text))
	}
	b.want(b.as("tobias", "GET", p.to, nil), 200, "Take it back")
	gateway := b.as("tobias", "GET", "/v/van-3/entered/r3", nil)
	b.want(gateway, 200, "Somebody else (/gateway/3) entered it, who can take it back; so can an operator.", "How it stands now")
	if strings.Contains(gateway.text, "Take it back<") {
		t.Error("a gateway's reading can be taken back by anybody")
	}
	b.want(b.as("tobias", "POST", "/v/van-3/entered/r3", nil), 403, "This is not yours to take back.")
	mine := b.enter("/v/van-3/reading", "day=2031-06-06&meter0=129800")
	b.want(mine, 200, "Take it back")
	if theirs := b.as("ines", "POST", p.to, nil); theirs.code != 303 {
		t.Errorf("an operator: %d\n%s", theirs.code, main(theirs.text))
	}
	b.want(b.as("tobias", "GET", p.to, nil), 200, "Taken back", "Engine oil (engine): now Soon")
	b.want(b.as("tobias", "POST", "/v/van-3/work", work), 409, "What this form entered was taken back; open the page again to enter it anew.")
}

// The gateways of two vehicles may name events alike: what followed of one is not told of the other.
func TestTakenBackOfEachVehicle(t *testing.T) {
	b := open(t)
	events := strings.NewReplacer("van-3", "van-4", "gateway/3", "gateway/4", "129500", "118000", "12", "11")
	b.Fleet = boardtest.New(t, boardtest.Files{Rules: []rules.File{{Name: "van.yaml", Text: []byte(book)}}, People: persons,
		Vehicles: vehicles + strings.TrimPrefix(strings.NewReplacer("van-3", "van-4", "Van 3", "Van 4").Replace(vehicles), "vehicles:\n"),
		Events:   readings + events.Replace(readings)})
	e := entry.New(b.Frame)
	b.h = b.Handler(slices.Concat(enter.Routes(e), e.Routes())...)
	var of [2]string
	for i, path := range []string{"/v/van-3/entered/r3", "/v/van-4/entered/r3"} {
		if p := b.send(path, b.get(path), ""); p.code != 303 {
			t.Fatalf("%s: %d\n%s", path, p.code, main(p.text))
		}
		of[i] = main(b.get(path).text)
	}
	if again := main(b.get("/v/van-3/entered/r3").text); again != of[0] || again == of[1] {
		t.Errorf("of van-3 first\n%s\nand now\n%s", of[0], again)
	}
}

// Who types a decimal comma is read by it.
func TestDecimalComma(t *testing.T) {
	b := open(t)
	v := url.Values{"form": {b.as("tobias", "GET", "/v/van-3/work", nil).id}, "task": {"engine oil"}, "day": {"2031-06-06"}, "filled": {"6,5"}, "meter0": {"129.800"}}
	p := b.as("tobias", "POST", "/v/van-3/work", v)
	if p.code != 303 {
		t.Fatalf("%d\n%s", p.code, main(p.text))
	}
	b.want(b.get(p.to), 200, "6.5 L", "odometer 129,800 km")
}

func TestMeasure(t *testing.T) {
	b := open(t)
	p := b.get("/v/van-3/measure")
	b.want(p, 200, "Front lining", `<option selected>mm</option>`, "Seen to be wrong, and not repaired")
	b.want(b.send("/v/van-3/measure", p, "day=2031-06-06"), 422, "Type what was measured, or what was seen to be wrong.")
	b.want(b.send("/v/van-3/measure", p, "day=2031-06-06&measure0=6,5"), 422, "Front lining: 6,5: write 6.5 or 65.")
	b.want(b.enter("/v/van-3/measure", "day=2031-06-04&measure0=6.5&measure0-in=mm&meter0=129600"), 200, "Front lining 6.5 mm", "Linings: ")
	b.want(b.enter("/v/van-3/measure", "day=2031-06-06&measure0=2.5&measure0-in=mm&defect=wipers+smear"), 200, "wipers smear", "Linings: now")
}

func TestReplaced(t *testing.T) {
	b := open(t)
	p := b.get("/v/van-3/replaced")
	b.want(p, 200, "Last 129,500 km on 2 Jun 2031", "What the new one showed first")
	b.want(b.send("/v/van-3/replaced", p, "meter=odometer&day=2031-06-06&old=129600"), 422, "What the new one showed first: What the new one showed first is missing.")
	b.want(b.enter("/v/van-3/replaced", "meter=odometer&day=2031-06-06&old=129600&new=12"), 200, "Odometer replaced: the old one showed 129,600 km, the new one 12 km")
	b.want(b.get("/v/van-3/reading"), 200, "A new instrument since 6 Jun 2031, which began at 12 km.")
}

func TestAnswer(t *testing.T) {
	b := open(t)
	oil := "/v/van-3/answer?rule=engine+oil&component=engine"
	b.want(b.get(oil), 200, "Change the engine oil (engine)", "Acknowledge", "Put aside", "Postpone", "/v/van-3/answer?answer=postpone&component=engine&rule=engine+oil")
	b.want(b.get("/v/van-3/answer?rule=safety+inspection"), 200, "The law asks for this work, so it cannot be postponed.")
	if strings.Contains(b.get("/v/van-3/answer?rule=safety+inspection").text, ">Postpone<") {
		t.Error("what the law asks for can be postponed")
	}
	b.want(b.get("/v/van-3/answer?rule=nothing"), 200, "This alarm is closed, or was never there.")
	b.want(b.get("/v/van-3/answer"), 200, "Take out of service", "Not my vehicle")

	late := oil + "&answer=postpone"
	p := b.get(late)
	b.want(p, 200, "Until a day", "Or how much further", "by one interval at most")
	b.want(b.send(late, p, "further=500"), 422, "Why is missing.")
	b.want(b.send(late, p, "why=parts"), 422, "Give a day, or how much further: one of the two.")
	b.want(b.send(late, p, "why=parts&further=20000"), 409, `It would not be taken: "engine oil" can be postponed by 10,000 km at most`)
	b.want(b.enter(late, "why=parts+on+Friday&further=500"), 200, "Postponed: engine oil (engine) by 500 km: parts on Friday", "Engine oil (engine): due next at 130,500 km")
}

func TestAcknowledgeAndPutAside(t *testing.T) {
	b := open(t)
	seen := "/v/van-3/answer?rule=safety+inspection&answer=acknowledge"
	p := b.get(seen)
	b.want(p, 200, "Acknowledge: Safety inspection", ">Acknowledge</button>")
	b.want(b.enter(seen, "why=booked"), 200, "Safety inspection: acknowledged, no more reminders.", "Take it back")
	if again := b.send(seen, p, "why=booked"); again.code != 409 || !strings.Contains(again.text, "is acknowledged already") {
		t.Errorf("by another: %d\n%s", again.code, main(again.text))
	}
	aside := "/v/van-3/answer?rule=safety+inspection&answer=shelve"
	b.want(b.send(aside, b.get(aside), "until=2033-01-01&why=x"), 422, "it can be put aside for ")
	b.want(b.enter(aside, "until=2031-06-12&why=booked"), 200, "Safety inspection: put aside, unless it becomes worse.")
	b.want(b.enter("/v/van-3/answer?rule=safety+inspection&answer=unshelve", ""), 200, "Safety inspection: back on the list.")
	b.want(b.enter("/v/van-3/answer?answer=out+of+service", "why=repair"), 200, "The vehicle is out of service; no messages about it until it is back in service.")
	b.want(b.enter("/v/van-3/answer?answer=in+service", ""), 200, "The vehicle is back in service; nothing came due meanwhile.")
}

func TestWhich(t *testing.T) {
	b := open(t)
	b.want(b.get("/enter"), 200, "Van 3", "/v/van-3/work", "/v/van-3/sample", "1 vehicle")
	b.want(b.get("/enter?q=van"), 200, "/v/van-3/reading")
	b.want(b.get("/enter?q=lorry"), 200, "No vehicle is called that.")
	for _, path := range []string{"/v/nothing/work", "/v/van-3/entered/x", "/v/nothing/entered/x"} {
		if p := b.get(path); p.code != 404 {
			t.Errorf("%s: %d", path, p.code)
		}
	}
}
