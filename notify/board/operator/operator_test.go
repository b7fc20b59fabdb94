package operator_test

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"html"
	"net/http"
	"net/url"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/micro"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/intake"
	"telltale/engine/stream/service"
	"telltale/engine/stream/wire"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/frame"
	"telltale/notify/board/operator"
	"telltale/notify/delivery"
	"telltale/rules"
	"telltale/rules/unit"
	"telltale/testdata/hostile"
)

func TestMain(m *testing.M) { boardtest.Main(m) }

func pagesOf(f *boardtest.Fleet) http.Handler { return f.Frame.Handler(operator.Pages(f.Frame)...) }

// get is the body of a page, which must be there.
func get(t *testing.T, h http.Handler, path string) string {
	t.Helper()
	w := boardtest.Get(t, h, path)
	if w.Code != http.StatusOK {
		t.Fatalf("%s: %d\n%s", path, w.Code, w.Body)
	}
	return w.Body.String()
}

func wants(t *testing.T, page string, texts ...string) {
	t.Helper()
	for _, text := range texts {
		if !strings.Contains(page, text) {
			t.Errorf("the page does not say %q:\n%.3000s", text, main(page))
		}
	}
}

// main is what a page has of its own.
func main(page string) string {
	_, page, _ = strings.Cut(page, "<main")
	page, _, _ = strings.Cut(page, "</main>")
	return page
}

var all = []string{"/said", "/deliveries", "/refused", "/baselines", "/people", "/people?vehicle=bus-07&stage=warning", "/service", "/words"}

// What was said of work names days, which are written as the viewer writes them.
func TestSaidInTheViewersDays(t *testing.T) {
	page := main(get(t, pagesOf(boardtest.Sample(t)), "/said"))
	text := regexp.MustCompile(`<[^>]*>`).ReplaceAllString(page, "")
	if day := regexp.MustCompile(`[^\n]*\d{4}-\d\d-\d\d[^\n]*`).FindString(text); day != "" {
		t.Errorf("a day is not in the viewer's order: %s", day)
	}
}

func TestPages(t *testing.T) {
	h := pagesOf(boardtest.Sample(t))
	for _, path := range all {
		if body := get(t, h, path); len(body) > 60<<10 || strings.Contains(body, " style=") {
			t.Errorf("%s: %d bytes, or a style within", path, len(body))
		}
	}
	for _, path := range []string{"/said?after=x", "/refused/x", "/refused/999999999", "/deliveries/none", "/deliveries/none/raw"} {
		if w := boardtest.Get(t, h, path); w.Code != http.StatusNotFound {
			t.Errorf("%s: %d", path, w.Code)
		}
	}
}

// An empty fleet, with nobody and no rules, has plain words everywhere.
func TestEmpty(t *testing.T) {
	h := pagesOf(boardtest.New(t, boardtest.Files{Vehicles: "vehicles: {}\n", People: "people: {}\n"}))
	for path, want := range map[string]string{
		"/said": "Nothing has changed.", "/deliveries": "No message is here.", "/refused": "All that came in of late could be used.",
		"/baselines": "There are none yet", "/people": "people.yaml names nobody", "/service": "none waits", "/words": "Nothing to do.",
	} {
		if path == "/words" {
			want = "Anything with a meter"
		}
		wants(t, get(t, h, path), want)
	}
	wants(t, get(t, h, "/refused"), "None: all that is reported is of vehicles of the register.")
}

// short writes an event of the short form as a line of JSON.
func short(t *testing.T, to *strings.Builder, format string, args ...any) {
	t.Helper()
	line := fmt.Sprintf(format, args...)
	ev, err := intake.Short(line, line, unit.System{})
	if err != nil {
		t.Fatal(err)
	}
	b, err := intake.Encode(ev)
	if err != nil {
		t.Fatal(err)
	}
	to.Write(append(b, '\n'))
}

// yard is a fleet of many vehicles whose oil comes due on one day.
func yard(t *testing.T, n int) *boardtest.Fleet {
	t.Helper()
	var vehicles, events strings.Builder
	vehicles.WriteString("vehicles:\n")
	for i := range n {
		depot := []string{"north", "south"}[i%2]
		fmt.Fprintf(&vehicles, "  van-%03d: {name: Van %d, kind: van, zone: Europe/London, tags: {depot: %s}, meters: {odometer: distance}}\n", i, i, depot)
		short(t, &events, "2031-05-01 reading van-%03d odometer 0 km", i)
	}
	for i := range n {
		short(t, &events, "2031-06-0%d reading van-%03d odometer %d km", 1+i%4, i, []int{1050, 1300}[i/2%2])
	}
	return boardtest.New(t, boardtest.Files{
		Rules: []rules.File{{Name: "a.yaml", Text: []byte("book: 1\nunits: {distance: km, volume: L}\ntasks:\n  oil: {title: Change the oil, every: {distance: 1000 km}, tolerance: 10%, unknown history: from first reading, cautions: [hot fluid]}\n")}},
		People: "people:\n  ines: {name: Ines Thornbeck, mail: ines@larkfell.example, zone: Europe/London, digest: \"0 7 * * 1\"}\n" +
			"  tom: {name: Tom Ash, mail: tom@larkfell.example, zone: Europe/London}\noperator: [ines]\n" +
			"tell:\n  all of it: {who: [ines], stages: [overdue]}\n  north: {who: [tom], where: 'vehicle.tags[\"depot\"] == \"north\"', when: at once, remind after: 3 days}\n",
		Vehicles: vehicles.String(), Events: events.String(),
	})
}

// said are all changes of a stage in the log of the last 7 days, the latest first.
func said(t *testing.T, f *boardtest.Fleet) (out []alarm.Transition) {
	t.Helper()
	err := f.Log.EachOutput(t.Context(), 1, "telltale.alarm.*", func(_ wire.Message, o engine.Output) error {
		if o.Transition != nil && !o.Transition.Time.Before(boardtest.Morning.Add(-7*24*time.Hour)) {
			out = append(out, *o.Transition)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	slices.Reverse(out)
	return out
}

var (
	lineOf = regexp.MustCompile(`<a href="/v/([^"]+)">[^<]*</a> *(?:<span class="soft">[^<]*</span>)? *<span class="badge[^"]*">([^<]*)<`)
	nextOf = regexp.MustCompile(`href="(/said\?[^"]*)" rel="next"`)
)

// All pages, one behind the other, say what the log does; so does the table.
func TestSaid(t *testing.T) {
	f := yard(t, 120)
	h := pagesOf(f)
	log := said(t, f)
	if len(log) != 120 {
		t.Fatalf("%d changes in the log, want one a vehicle", len(log))
	}
	for query, keep := range map[string]func(alarm.Transition) bool{
		"":                  func(alarm.Transition) bool { return true },
		"stage=overdue":     func(tr alarm.Transition) bool { return tr.To == alarm.Overdue },
		"tag=depot%3Dnorth": func(tr alarm.Transition) bool { return (tr.Vehicle[6]-'0')%2 == 0 },
		"rule=OIL":          func(alarm.Transition) bool { return true },
		"rule=brake":        func(alarm.Transition) bool { return false },
	} {
		var want, got []string
		for _, tr := range log {
			if keep(tr) {
				want = append(want, tr.Vehicle+" "+frame.BadgeOf(tr.To).Word)
			}
		}
		pages := 0
		for path := "/said?" + query; path != "" && pages <= len(log); pages++ {
			body := get(t, h, path)
			for _, m := range lineOf.FindAllStringSubmatch(body, -1) {
				got = append(got, m[1]+" "+m[2])
			}
			path = ""
			if m := nextOf.FindStringSubmatch(body); m != nil {
				path = html.UnescapeString(m[1])
			}
		}
		if !reflect.DeepEqual(got, want) || pages != max(1, (len(want)+49)/50) {
			t.Errorf("%q: %d lines on %d pages, want %d: %.3q, want %.3q", query, len(got), pages, len(want), got, want)
		}
		rows, err := csv.NewReader(strings.NewReader(get(t, h, "/said.csv?"+query))).ReadAll()
		if err != nil || len(rows) != len(want)+1 {
			t.Errorf("%q: the table has %d rows (%v), want %d", query, len(rows), err, len(want))
		}
	}
	rows, _ := csv.NewReader(strings.NewReader(get(t, h, "/said.csv?rule=oil"))).ReadAll()
	first := log[0]
	if want := []string{first.Time.In(time.FixedZone("BST", 3600)).Format(time.RFC3339), first.Vehicle, "Van " + strings.TrimLeft(first.Vehicle[4:], "0"), "", "oil", "Change the oil", "raised", "normal", string(first.To), "unacknowledged"}; !reflect.DeepEqual(rows[1][:10], want) {
		t.Errorf("the table says %q, want %q", rows[1][:10], want)
	}
	wants(t, get(t, h, "/said?rule=brake"), "Nothing has changed of what you asked for.")
}

// keep stores a delivery.
func keep(t *testing.T, f *boardtest.Fleet, d delivery.Delivery) {
	t.Helper()
	body, err := json.Marshal(d)
	if err == nil {
		_, err = f.Log.Deliveries().Create(t.Context(), d.Key, body)
	}
	if err != nil {
		t.Fatal(err)
	}
}

const mail = "From: telltale@larkfell.example\r\nTo: tom@larkfell.example\r\nSubject: =?utf-8?q?Stop:_Van_1_=E2=80=93_oil?=\r\nMIME-Version: 1.0\r\n" +
	"Content-Type: multipart/alternative; boundary=b\r\n\r\n--b\r\nContent-Type: text/plain; charset=utf-8\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\nChange the oil, 1=\r\n,000 km =3D due.\r\n" +
	"--b\r\nContent-Type: text/html\r\n\r\n<script>alert(1)</script>\r\n--b--\r\n"

// A message that was not delivered says why and what to do, is seen as it was sent, and goes
// out when it is tried again.
func TestDeliveries(t *testing.T) {
	f := yard(t, 2)
	h := pagesOf(f)
	base := delivery.Delivery{Person: "tom", Way: "mail", To: "tom@larkfell.example", Vehicle: "van-001", Time: boardtest.Morning, Created: boardtest.Morning, Raw: []byte(mail)}
	failed, waits, sent, gone := base, base, base, base
	failed.Key, failed.Subject, failed.State, failed.Attempts, failed.LastError = "k/1 ?", "Stop: Van 1", delivery.Failed, 1, "550 5.1.1 no such mailbox"
	waits.Key, waits.Subject, waits.State, waits.Attempts, waits.LastError, waits.NextTry = "k2", "Due: Van 1", delivery.Waiting, 3, "451 try later", boardtest.Morning.Add(time.Hour)
	sent.Key, sent.Subject, sent.State, sent.Attempts, sent.SentAt = "k3", "Soon: Van 1", delivery.Sent, 1, boardtest.Morning
	waits.Created = time.Now().Add(-2 * time.Hour) // by the clock on the wall
	gone.Key, gone.Subject, gone.State, gone.Gone, gone.Way, gone.To, gone.Raw, gone.Vehicle = "k4", "", delivery.Failed, true, "webhook", "https://larkfell.example/hook", []byte(`{"a":1}`), ""
	gone.Cause, gone.Person = "1-2-3", "nobody"
	for _, d := range []delivery.Delivery{failed, waits, sent, gone} {
		keep(t, f, d)
	}
	page := get(t, h, "/deliveries")
	wants(t, page, "2 messages were not delivered. What the server said stands beside each.", "Not delivered: 2", "Waiting: 1", "Sent: 1", "550 5.1.1 no such mailbox", "After 1 try:", "After 3 tries: 451 try later",
		"Next try: 6 Jun 2031, 07:31", "put it right in people.yaml", "It is tried again by itself", "The receiver wants nothing more", "Tom Ash", "4 messages")
	if n := strings.Count(page, "Try again</button>"); n != 2 {
		t.Errorf("%d can be tried again, want those two that failed", n)
	}
	for query, want := range map[string]string{"state=failed": "2 messages", "way=webhook": "1 message<", "person=tom": "3 messages", "vehicle=van-001": "3 messages", "vehicle=none": "0 messages"} {
		wants(t, get(t, h, "/deliveries?"+query), want)
	}
	one := get(t, h, "/deliveries/k%2F1%20%3F")
	wants(t, one, "Change the oil, 1,000 km = due.", "Stop: Van 1 – oil", "550 5.1.1 no such mailbox", `action="/deliveries/k%2F1%20%3F/again"`)
	if strings.Contains(one, "<script>alert") {
		t.Error("the mail's markup went through")
	}
	wants(t, get(t, h, "/deliveries/k4"), "&#34;a&#34;: 1")
	if w := boardtest.Get(t, h, "/deliveries/k%2F1%20%3F/raw"); w.Body.String() != mail || !strings.Contains(w.Header().Get("Content-Disposition"), "message.eml") {
		t.Errorf("saved: %v\n%s", w.Header(), w.Body)
	}

	wants(t, get(t, h, "/service"), "2 messages were not delivered.", "A message has waited for more than an hour.", "1 waits; the oldest since ", ", to tom")

	again := "/deliveries/k%2F1%20%3F/again"
	if w := boardtest.Post(t, h, again, nil); w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), "It was not tried again.") {
		t.Errorf("while nobody sends: %d\n%s", w.Code, main(w.Body.String()))
	}
	q := &delivery.Queue{Store: f.Log.Deliveries()}
	retries(t, f.Log.Conn, q)
	if w := boardtest.Post(t, h, again, url.Values{}); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/deliveries/k%2F1%20%3F?tried=1" {
		t.Errorf("tried again: %d, %v", w.Code, w.Header())
	}
	stored, err := delivery.All(t.Context(), f.Log.Deliveries())
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range stored {
		if d.Key == failed.Key && d.State != delivery.Waiting {
			t.Errorf("after it was tried again: %+v", d)
		}
	}
	wants(t, get(t, h, "/deliveries/k%2F1%20%3F?tried=1"), "It was put back in the queue")
	own := failed
	own.Key, own.Until, own.Subject = "k5", own.Created.Add(time.Minute), "Sign in"
	keep(t, f, own)
	if one := get(t, h, "/deliveries/k5"); strings.Contains(one, "1,000 km") || strings.Contains(one, "/again") || !strings.Contains(one, "shown to nobody") {
		t.Errorf("a secret is shown, or can be tried again:\n%s", one)
	}
	if w := boardtest.Get(t, h, "/deliveries/k5/raw"); w.Code != http.StatusNotFound {
		t.Errorf("a secret can be saved: %d", w.Code)
	}
}

// retries answers as the replica does that sends.
func retries(t *testing.T, nc *nats.Conn, q *delivery.Queue) {
	t.Helper()
	m, err := micro.AddService(nc, micro.Config{Name: "sends", Version: "1.0.0"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = m.Stop() })
	err = m.AddGroup("telltale.query").AddEndpoint("retry", micro.HandlerFunc(func(r micro.Request) {
		var key string
		err := json.Unmarshal(r.Data(), &key)
		if err = errors.Join(err, q.Retry(context.Background(), key)); err != nil {
			_ = r.Error("500", err.Error(), nil)
			return
		}
		_ = service.Reply(r, []string{key})
	}))
	if err != nil {
		t.Fatal(err)
	}
}

func send(t *testing.T, f *boardtest.Fleet, subject, body string) {
	t.Helper()
	if _, err := f.Log.JS.Publish(t.Context(), subject, []byte(body)); err != nil {
		t.Fatal(err)
	}
}

func TestRefused(t *testing.T) {
	f := yard(t, 3)
	h := pagesOf(f)
	reading := func(id, vehicle, meter string, v int) string {
		return fmt.Sprintf(`{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway/3","id":%q,"subject":%q,"time":"2031-06-05T08:00:00Z","data":{"meter":%q,"value":%d,"unit":"km"}}`, id, vehicle, meter, v)
	}
	send(t, f, "telltale.in.van-001.reading", `{"nonsense":"<script>"`)
	send(t, f, "telltale.in.van-001.reading", reading("r1", "van-001", "winch", 3))
	send(t, f, "telltale.in.van-002.reading", reading("r2", "van-002", "odometer", 1400))
	send(t, f, "telltale.in.van-002.reading", reading("r2", "van-002", "odometer", 1500))
	send(t, f, "telltale.in.van-020.reading", reading("r3", "van-020", "odometer", 9))
	if err := f.Service.CaughtUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	list, err := service.Refused.Of(t.Context(), f.Service, service.Question{})
	if err != nil || len(list) != 3 {
		t.Fatalf("the service refused %+v (%v), want 3", list, err)
	}
	page := get(t, h, "/refused")
	wants(t, page, "Not readable", "Does not fit the vehicle", "Used an identity twice", "3 events", "/gateway/3", `href="/v/van-001"`, "has no meter", "void the first")
	for _, r := range list {
		if r.Seq == 0 {
			t.Errorf("%+v lies nowhere", r)
		}
		wants(t, page, fmt.Sprintf(`href="/refused/%d"`, r.Seq))
		wants(t, get(t, h, fmt.Sprintf("/refused/%d", r.Seq)), "As it lies in the log.", "telltale.event.")
	}
	wants(t, get(t, h, "/refused?reason=conflict"), "1 event<")
	wants(t, get(t, h, "/refused?vehicle=van-002"), "1 event<")
	wants(t, get(t, h, "/refused?reason=fault"), "None of this kind.")
	// The stranger: who it looks like, and what registers it.
	wants(t, page, "<h3>van-020</h3>", "5 Jun 2031, 09:00", "1 event, from /gateway/3", `<a href="/v/van-002">van-002</a>`, "  van-020:\n    name: van-020\n    kind: FILL IN\n    meters: {odometer: distance}\n", "kept for 90 days")
}

func TestPeople(t *testing.T) {
	f := yard(t, 4)
	h := pagesOf(f)
	page := get(t, h, "/people")
	wants(t, page, "Hears of 4 vehicles.", "Hears of 2 vehicles.", "km, L, °C and kPa", "the next on 9 Jun 2031 at 07:00", "all of it", "reminded after 3 days", "vehicle.tags[&#34;depot&#34;]", `<span class="badge">Operator</span>`)
	page = get(t, h, "/people?vehicle=Van+0&stage=overdue")
	wants(t, page, `<a href="/v/van-000">Van 0</a>`, "Ines Thornbeck", "Tom Ash", "at once by mail", `<a href="/rules/oil">oil</a>`)
	if page := get(t, h, "/people?vehicle=van-001&stage=due"); !strings.Contains(page, "Nobody hears of: oil.") {
		t.Errorf("of due work in the south:\n%s", main(page))
	}
	wants(t, get(t, h, "/people?vehicle=van-001&stage=warning"), "no rule or task of the book comes to that stage")
	wants(t, get(t, h, "/people?vehicle=bus"), "No vehicle is called that.", `value="bus"`)
}

func TestService(t *testing.T) {
	f := yard(t, 1)
	f.Frame.Own = frame.Own{
		Folder:  func() (string, time.Time) { return "people.yaml:3:1: <b>", boardtest.Morning },
		Disk:    func() (uint64, uint64, error) { return 5 << 20, 100 << 30, nil },
		Held:    func() map[string]string { return map[string]string{"mail": "535 wrong password"} },
		Suspect: func() bool { return true },
		NATS:    "nats://larkfell.example",
	}
	page := get(t, pagesOf(f), "/service")
	wants(t, page, "4 things need seeing to.", "5 MiB free of 100 GiB", "The disk is nearly full.", "Nothing goes out by mail: 535 wrong password.", "The machine&#39;s clock jumped", "people.yaml:3:1: &lt;b&gt;", "nats://larkfell.example",
		"read 6 Jun 2031, 06:31", "6 Jun 2031, 06:31, as the events have it")
	h := f.Service.HealthOfAll(t.Context())
	for _, p := range h.Partitions {
		wants(t, page, fmt.Sprintf(`<th scope="row">%d</th><td class="num" data-of="Vehicles">%d</td><td class="num" data-of="Events">%d</td>`, p.Partition, p.Vehicles, p.Events))
	}
	sizes, err := f.Log.Sizes(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	trail, _, err := f.Audit.Size(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, z := range append(sizes, trail) {
		if !regexp.MustCompile(z.Stream + ` <span class="hint">[a-z]`).MatchString(page) {
			t.Errorf("nothing says what %s holds", z.Stream)
		}
	}
	f.Frame.Own = frame.Own{}
	wants(t, get(t, pagesOf(f), "/service"), "It runs, and nothing needs seeing to.")
}

// The page says until when the certificate is, that it must be renewed, and what is wrong with
// its files.
func TestServiceCertificate(t *testing.T) {
	f := yard(t, 1)
	of := []string{"fleet.larkfell.example"}
	for _, tt := range []struct {
		left  time.Duration
		fault string
		lead  string
		says  string
	}{
		{60 * 24 * time.Hour, "", "nothing needs seeing to.", "for fleet.larkfell.example, until "},
		{5*24*time.Hour + time.Hour, "", "1 thing needs seeing to.", ", in 5 days. From then on browsers and gateways refuse to connect, or warn."},
		{-time.Hour, "the certificate x ended on 2031-06-01", "1 thing needs seeing to.", "Browsers and gateways refuse to connect, or warn."},
		{60 * 24 * time.Hour, "the key <k> does not belong to the certificate c", "1 thing needs seeing to.", "The key &lt;k&gt; does not belong to the certificate c."},
	} {
		f.Frame.Own = frame.Own{Certificate: func() (time.Time, []string, string) { return time.Now().Add(tt.left), of, tt.fault }}
		wants(t, get(t, pagesOf(f), "/service"), tt.lead, tt.says, "for fleet.larkfell.example")
	}
}

// Each word has a place of its own that a link can lead to.
func TestWords(t *testing.T) {
	page := get(t, pagesOf(boardtest.Sample(t)), "/words")
	seen := map[string]bool{}
	for _, m := range regexp.MustCompile(` id="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		if seen[m[1]] {
			t.Errorf("two places are called %q", m[1])
		}
		seen[m[1]] = true
	}
	for _, anchor := range []string{"stage-warning", "standing-returned", "change-withdrawn", "word-baseline", "data-data-silent", "unit-a-volume", "analyte-cu", "asked-times"} {
		if !seen[anchor] {
			t.Errorf("no place is called %q", anchor)
		}
	}
}

// What nobody should write stays text, in lists and in messages.
func TestHostile(t *testing.T) {
	f := yard(t, 1)
	for i, bad := range hostile.Text {
		d := delivery.Delivery{Key: fmt.Sprint("k", i), Person: bad, Way: bad, To: bad, Subject: bad, LastError: bad, State: delivery.Failed, Created: boardtest.Morning, Raw: []byte(bad)}
		keep(t, f, d)
		body, err := json.Marshal(map[string]any{"specversion": "1.0", "type": bad, "source": bad, "id": bad, "subject": bad})
		if err != nil {
			t.Fatal(err)
		}
		send(t, f, "telltale.in.van-000.reading", string(body))
		send(t, f, "telltale.in.van-000.service", bad)
	}
	if err := f.Service.CaughtUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	h := pagesOf(f)
	paths := []string{"/deliveries", "/refused", "/service"}
	for i := range hostile.Text {
		paths = append(paths, fmt.Sprintf("/deliveries/k%d", i))
	}
	list, err := service.Refused.Of(t.Context(), f.Service, service.Question{})
	if err != nil || len(list) == 0 {
		t.Fatal(err, "nothing was refused")
	}
	for _, r := range list {
		paths = append(paths, fmt.Sprintf("/refused/%d", r.Seq))
	}
	for _, path := range paths {
		page := get(t, h, path)
		odd := strings.IndexFunc(page, func(r rune) bool { return unicode.Is(unicode.Cf, r) || unicode.IsControl(r) && r != '\n' && r != '\t' })
		if strings.Contains(page, "<script>") || strings.Contains(page, "<img") || strings.Count(page, "</main") != 1 || !utf8.ValidString(page) || odd >= 0 || len(page) > 60<<10 {
			t.Errorf("%s: %d bytes, mark at %d: markup or marks went through", path, len(page), odd)
		}
	}
}

// TestNoPasskeys: where the board can have no passkeys, the service's page says why, and the
// page of people says nothing of any.
func TestNoPasskeys(t *testing.T) {
	f := boardtest.New(t, boardtest.Files{People: "people: {ines: {name: Ines Thornbeck, mail: ines@larkfell.example}}\n"})
	for url, says := range map[string]string{"http://127.0.0.1:4280": "browsers allow them only where the board has a name", "https://board.larkfell.example": ""} {
		f.URL = url
		d := f.WithDoor(boardtest.Doorman{})
		h := d.Handler(operator.Pages(d)...)
		service, people := boardtest.Says(boardtest.GetAs(t, h, "ines", "/service")), boardtest.Says(boardtest.GetAs(t, h, "ines", "/people"))
		if got := strings.Contains(service, "There are no passkeys"); got != (says != "") || !strings.Contains(service, says) {
			t.Errorf("%s: %s", url, service)
		}
		if got := strings.Contains(people, "Passkeys: none"); got != (says == "") {
			t.Errorf("%s: %s", url, people)
		}
	}
}
