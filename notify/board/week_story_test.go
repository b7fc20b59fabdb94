package board_test

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/nats-io/nats.go/micro"

	"telltale/engine/stream/service"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
	"telltale/notify/delivery"
)

// TestBadWeek: what an operator has to do at a desk when several things go wrong, walked
// from Today by what the pages lead to.
func TestBadWeek(t *testing.T) {
	f := fleet(t, "")
	badWeek(t, f)
	tab := as(t, f, 1280, true, "Ines Thornbeck", "Ines Thornbeck")
	decides(t, tab)
	looksAfter(t, tab)
	triesRule(t, tab)
	sendsFile(t, tab)
	for _, c := range tab.Complaints() {
		t.Error(c)
	}
}

// badWeek has what the story needs happen: an event of a meter that the van lacks, one of a
// vehicle that nobody registered, and a message that was not delivered.
func badWeek(t *testing.T, f *boardtest.Fleet) {
	t.Helper()
	for subject, body := range map[string]string{
		"telltale.in.van-01.reading": strings.Replace(reading("w-1", "van-01", "2031-06-05T08:00:00Z", 12), "odometer", "winch", 1),
		"telltale.in.van-10.reading": reading("w-2", "van-10", "2031-06-05T08:00:00Z", 9000),
	} {
		if _, err := f.Log.JS.Publish(t.Context(), subject, []byte(body)); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.Service.CaughtUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	failed, err := json.Marshal(delivery.Delivery{Key: "w-3", Person: "abel", Way: "mail", To: "abel@larkfell.example", Vehicle: "gritter-01", Subject: "Overdue: Gritter 1",
		State: delivery.Failed, Attempts: 1, LastError: "550 5.1.1 no such mailbox", Time: boardtest.Morning, Created: boardtest.Morning, Raw: []byte("Subject: Overdue: Gritter 1\r\n\r\nGritter 1\r\n")})
	if err == nil {
		_, err = f.Log.Deliveries().Create(t.Context(), "w-3", failed)
	}
	if err != nil {
		t.Fatal(err)
	}
	sender(t, f)
}

// sender takes what is tried again, as the replica does that sends.
func sender(t *testing.T, f *boardtest.Fleet) {
	t.Helper()
	q := &delivery.Queue{Store: f.Log.Deliveries()}
	m, err := micro.AddService(f.Log.Conn, micro.Config{Name: "sends", Version: "1.0.0"})
	if err == nil {
		t.Cleanup(func() { _ = m.Stop() })
		err = m.AddGroup("telltale.query").AddEndpoint("retry", micro.HandlerFunc(func(r micro.Request) {
			var key string
			if json.Unmarshal(r.Data(), &key) == nil {
				_ = q.Retry(context.Background(), key) // the story sees whether it was tried
			}
			_ = service.Reply(r, []string{key})
		}))
	}
	if err != nil {
		t.Fatal(err)
	}
}

// decides: the worst first, why, acknowledged, put aside and brought back, a vehicle out of
// service and back.
func decides(t *testing.T, tab *browser.Tab) {
	t.Helper()
	tab.Press("Today")
	tab.Has("The fleet on 6 Jun 2031", "Stop these first", "Bus 3 · transmission, copper over baseline")
	tab.PressOf("Bus 3 · transmission, bronze in the fluid", "Why")
	tab.Has("unacknowledged.", "Rests on")
	tab.Press("Acknowledge")
	tab.Type("Why", "the pan comes off on Monday")
	tab.Press("Acknowledge")
	tab.Has("What followed")
	tab.Press("Standing")
	tab.Gone(t, "Tick Bus 3, transmission, bronze in the fluid")
	tab.PressOf("Bus 5 · transmission, silicon without dirt", "Put aside")
	tab.Has("Until")
	tab.Type("Why", "sealant, Ambry Lane says")
	tab.Press("Put aside")
	tab.Has("Put aside: silicon without dirt (transmission) until 20 Jun 2031: sealant, Ambry Lane says, 6 Jun 2031.", "What followed")
	tab.Press("Standing")
	tab.Press("Put aside (1)")
	tab.Has("Bus 5 · transmission, silicon without dirt")
	tab.PressOf("Bus 5 · transmission, silicon without dirt", "Bring back")
	tab.Press("Bring back")
	tab.Has("What followed")
	tab.Press("Standing")
	tab.Has("Put aside (0)", "Bus 5 · transmission, silicon without dirt")
	tab.Press("Vehicles")
	tab.Press("Van 4")
	tab.Press("Out of service")
	tab.Type("Why", "waits for a windscreen")
	tab.Press("Take out of service")
	tab.Has("What followed")
	tab.Press("Van 4")
	tab.Has("ut of service")
	tab.Press("Back to service")
	tab.Press("Put back into service")
	tab.Has("What followed")
}

// looksAfter: what could not be used, and what did not arrive.
func looksAfter(t *testing.T, tab *browser.Tab) {
	t.Helper()
	tab.Press("Today")
	tab.Has("Messages 1 was not delivered.", "Not used 1 event since 5 Jun 2031.", "Not registered 1 vehicle sends what nobody can judge yet.")
	tab.Press("Not used")
	tab.Has("has no meter", "van-10", "Looks like", "For vehicles.yaml")
	tab.Press("Today")
	tab.Press("Messages")
	tab.Press("Overdue: Gritter 1")
	tab.Has("550 5.1.1 no such mailbox")
	tab.Press("Try again")
	tab.Has("It was put back in the queue")
}

// triesRule: a limit is lowered in the text field; the page says what would have come.
func triesRule(t *testing.T, tab *browser.Tab) {
	t.Helper()
	tab.Press("More")
	tab.Press("Try a change")
	tab.Type("Begin with the file", "automatic-transmission.yaml")
	tab.Press("Begin with it")
	text := tab.Value("The rules")
	changed := strings.Replace(text, "above: {advisory: 2.2, caution: 6}", "above: {advisory: 2.2, caution: 6", 1)
	if changed == text {
		t.Fatal("the chapter has no such limit any more")
	}
	tab.Type("The rules", changed)
	tab.Press("Look")
	tab.Has("Faults", "automatic-transmission.yaml")
	tab.Type("The rules", strings.Replace(text, "distance: 60000 km, time: 36 months", "distance: 15000 km, time: 36 months", 1))
	tab.Type("Over the last", "365 days")
	tab.Press("Look")
	tab.Until(`(document.querySelector('main')?.innerText ?? '').includes('Change it further')`)
	tab.Has("All 19 vehicles, the last 365 days", "would have come", "What was changed", "distance: 15000 km, time: 36 months", "Work, at once", "Failed 3 of 40", "puts nothing in force")
}

const mileageMapping = "import: readings\nsource: /sheet/mileage\nzone: UTC\ndate order: day first\nthousands mark: comma\nvehicle: Bus\ndate: Day\nmeters: {odometer: {column: Km, unit: km}}\n"

// sendsFile: a table by a mapping of its own is looked at, sent, and changes nothing when it
// is sent again.
func sendsFile(t *testing.T, tab *browser.Tab) {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{"mileage.yaml": mileageMapping, "mileage.csv": "Bus,Day,Km\nbus-02,05/06/2031,\"110,100\"\nbus-10,05/06/2031,\"61,800\"\n"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	look := func() {
		tab.Press("More")
		tab.Press("Tables")
		tab.Upload("Mapping of your own", filepath.Join(dir, "mileage.yaml"))
		tab.Upload("Table", filepath.Join(dir, "mileage.csv"))
		tab.Press("Look at what follows")
	}
	look()
	tab.Has("2 events would be new. Nothing is stored yet.", "odometer 110,100 km", "odometer 61,800 km")
	tab.Press("Send 2 events")
	tab.Has("2 events stored. 0 were stored before. 0 were refused.")
	look()
	tab.Has("All of it is stored already, so there is nothing to send.")
	tab.Gone(t, "Send 2 events")
}
