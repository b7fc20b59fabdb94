package main

import (
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine/event"
	"telltale/notify/delivery"
)

// replicaFiles are those of a service that joins the server at url.
func replicaFiles(url string) map[string]string {
	vehicles := "vehicles:\n"
	for i := range 8 {
		vehicles += fmt.Sprintf("  bus-%02d: {name: Bus %d, kind: minibus, meters: {odometer: distance}}\n", i, i)
	}
	return map[string]string{
		"rules/oil.yaml": oilBook, "vehicles.yaml": vehicles, "telltale.yaml": "clock: events\nnats: " + url + "\n",
		"people.yaml": "people:\n  ines: {name: Ines Thornbeck, mail: ines@larkfell.example}\ntell:\n  all: {who: [ines]}\n",
	}
}

// joined is one more service on the server, with a folder of its own.
func joined(t *testing.T, url string) *app {
	t.Helper()
	dir := t.TempDir()
	write(t, dir, replicaFiles(url))
	f, err := loadFleet(dir)
	if err != nil {
		t.Fatal(err)
	}
	a, err := startApp(t.Context(), f, slog.New(slog.DiscardHandler), func(string) {})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.stop() })
	return a
}

func (a *app) tells() bool { return a.notify.Queue() != nil }

// TestReplicasTellOnce has three services on one server; the one that tells ends
// while there is something to tell. Each message is made and sent once, and any of
// them answers for all.
func TestReplicasTellOnce(t *testing.T) {
	t.Parallel()
	url := natsServer(t)
	all := []*app{joined(t, url), joined(t, url), joined(t, url)}
	if code, _, said := told(t, "adopt", all[0].fleet.dir); code != 0 {
		t.Fatal(said)
	}
	drive := func(day int, km float64) {
		t.Helper()
		at := time.Date(2031, 1, 1+day, 0, 0, 0, 0, time.UTC)
		for i := range 8 {
			ev := event.Event{ID: event.ID{Source: "/test", ID: fmt.Sprint(day, "-", i)}, Kind: event.ReadingEvent, Vehicle: fmt.Sprintf("bus-%02d", i),
				Time: at, Recorded: at, Data: &event.ReadingData{Meter: "odometer", Value: km, Unit: "km"}}
			if err := all[0].log.Publish(t.Context(), ev); err != nil {
				t.Fatal(err)
			}
		}
	}
	drive(0, 1000)
	drive(1, 1950) // soon
	if !poll(patience, func() bool { return slices.ContainsFunc(all, (*app).tells) }) {
		t.Fatal("nobody tells")
	}
	who := slices.IndexFunc(all, (*app).tells)
	gone := all[who]
	all = slices.Delete(all, who, who+1)
	drive(2, 2050) // due
	if err := gone.stop(); err != nil {
		t.Fatal(err)
	}
	drive(3, 2200) // overdue
	var list []delivery.Delivery
	sent := func() bool {
		var err error
		if list, err = delivery.All(t.Context(), all[0].log.Deliveries()); err != nil {
			t.Fatal(err)
		}
		return len(list) == 24 && !slices.ContainsFunc(list, func(d delivery.Delivery) bool { return d.State != delivery.Sent })
	}
	if !poll(patience, sent) {
		t.Fatalf("%d messages, want 24 sent: %+v", len(list), list)
	}
	for _, d := range list {
		if d.Attempts != 1 || d.Unknown != 0 {
			t.Errorf("%s was tried %d times, %d of them with no known end", d.Key, d.Attempts, d.Unknown)
		}
	}
	files := 0
	for _, a := range append(all, gone) {
		names, err := filepath.Glob(filepath.Join(a.fleet.dir, "mail", "*.eml"))
		if err != nil {
			t.Fatal(err)
		}
		files += len(names)
	}
	if files != 24 {
		t.Errorf("%d mails were written, want 24", files)
	}
	code, out, said := told(t, "alarms", "--nats", url)
	if n := strings.Count(out, "unacknowledged"); code != 0 || n != 8 {
		t.Errorf("exit %d, %d vehicles stand overdue, want 8:\n%s%s", code, n, out, said)
	}
	trimmed(t, all[0])
}

// trimmed has what was told taken out once it is old, and not before.
func trimmed(t *testing.T, a *app) {
	t.Helper()
	for _, tt := range []struct {
		before time.Time
		left   int
	}{{time.Now().Add(-time.Hour), 24}, {time.Now().Add(time.Hour), 0}} {
		_, err := delivery.Trim(t.Context(), a.log.Deliveries(), tt.before)
		list, err2 := delivery.All(t.Context(), a.log.Deliveries())
		if err != nil || err2 != nil || len(list) != tt.left {
			t.Errorf("what was made before %s taken out, %d messages are left (%v, %v), want %d", tt.before, len(list), err, err2, tt.left)
		}
	}
}

// TestUnanswered has a service answer that could not reach all partitions.
func TestUnanswered(t *testing.T) {
	t.Parallel()
	url := natsServer(t)
	nc, err := nats.Connect(url)
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	if _, err := nc.Subscribe("telltale.query.due", func(m *nats.Msg) {
		m.Respond([]byte(`{"items":[{"vehicle":"bus-07","name":"Bus 7","task":"oil","title":"Change the oil","stage":"due","why":"past"}],"unanswered":[3,7]}`))
	}); err != nil {
		t.Fatal(err)
	}
	if err := nc.Flush(); err != nil { // the server knows of the subscription
		t.Fatal(err)
	}
	for _, tt := range []struct{ flag, out string }{
		{"--nats=" + url, "due Bus 7 Change the oil [oil]\n past\n"},
		{"--json", `{"vehicle":"bus-07","name":"Bus 7","task":"oil","title":"Change the oil","stage":"due","limit":"","why":"past"}` + "\n" + `{"unanswered":[3,7]}` + "\n"},
		{"--csv", "stage,vehicle,name,component,task,title,limit,due date,due at,past by,unit,early,likely,late,last done,have ready,cautions,why,capacity,torque,figures from\n" +
			"due,bus-07,Bus 7,,oil,Change the oil,,,,,,,,,,,,past,,,\n"},
	} {
		code, out, said := told(t, "due", "--nats", url, tt.flag)
		if want := "telltale: partitions 3 and 7 did not answer\nhint: their vehicles are missing from this answer; try again in a moment\n"; code != 3 || out != tt.out || said != want {
			t.Errorf("%s: exit %d\n%s%swant 3\n%s%s", tt.flag, code, out, said, tt.out, want)
		}
	}
}
