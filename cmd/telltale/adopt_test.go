package main

import (
	"bytes"
	"log/slog"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"telltale/engine/event"
	"telltale/engine/stream/service"
)

// natsServer runs one that is not the service's own.
func natsServer(t *testing.T) string {
	t.Helper()
	ns, err := server.NewServer(&server.Options{ServerName: "fleet-nats", Host: "127.0.0.1", Port: server.RANDOM_PORT, JetStream: true, StoreDir: t.TempDir(), NoSigs: true, NoLog: true})
	if err != nil {
		t.Fatal(err)
	}
	go ns.Start()
	t.Cleanup(func() { ns.Shutdown(); ns.WaitForShutdown() })
	if !ns.ReadyForConnections(10 * time.Second) {
		t.Fatal("the NATS server does not come up")
	}
	return ns.ClientURL()
}

// told runs a command and gives its exit code and what it printed, blanks squeezed.
func told(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, err bytes.Buffer
	code = run(t.Context(), args, strings.NewReader(""), &out, &err)
	squeeze := regexp.MustCompile(` +`)
	return code, squeeze.ReplaceAllString(out.String(), " "), squeeze.ReplaceAllString(err.String(), " ")
}

// TestAdopt has a joined service take its rules by adopt alone, and tells before
// what would come of other ones.
func TestAdopt(t *testing.T) {
	t.Parallel()
	url := natsServer(t)
	dir := t.TempDir()
	write(t, dir, map[string]string{"rules/oil.yaml": oilBook, "telltale.yaml": "clock: events\nnats: " + url + "\n",
		"vehicles.yaml": "vehicles:\n  bus-07: {name: Bus 7, kind: minibus, meters: {odometer: distance}}\n  bus-08: {name: Bus 8, kind: minibus, meters: {odometer: distance}}\n"})
	f, err := loadFleet(dir)
	if err != nil {
		t.Fatal(err)
	}
	var log bytes.Buffer
	begin := func() *app {
		t.Helper()
		a, err := startApp(t.Context(), f, slog.New(slog.NewTextHandler(&log, nil)), func(string) {})
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	a := begin()
	t.Cleanup(func() { a.stop() })
	if !strings.Contains(log.String(), "no rules in force yet") || a.svc.Health().Book != "" {
		t.Errorf("a service that joined began with its own rules:\n%s", log.String())
	}
	expect := func(wantOut, wantErr string, more ...string) {
		t.Helper()
		code, out, said := told(t, append([]string{"adopt", dir}, more...)...)
		if code != 0 || out != wantOut || said != wantErr {
			t.Errorf("adopt %s: exit %d\n%s%s\nwant\n%s%s", more, code, out, said, wantOut, wantErr)
		}
		if err := a.svc.CaughtUp(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	if err := a.nc.Flush(); err != nil { // so that questions reach it
		t.Fatal(err)
	}
	code, out, said := told(t, "due", "--nats", url)
	if want := "telltale: no rules are in force, so nothing can be due\nhint: telltale adopt DIR puts those of a folder in force\n"; code != 1 || out != "" || said != want {
		t.Errorf("due before any rules are in force: exit %d\n%s%s", code, out, said)
	}
	expect("", "adopt: 0 rules, 1 task in force, 2 vehicles registered\n")
	expect("", "adopt: 0 rules, 1 task were already in force, 0 vehicles registered\n")
	if a.svc.Health().Book != f.book.Hash || registered(t, a, "bus-08") == nil {
		t.Fatalf("the folder is not in force: %+v", a.svc.Health())
	}
	readings(t, a)
	if err := a.stop(); err != nil { // which writes the records down
		t.Fatal(err)
	}
	a = begin()

	write(t, dir, map[string]string{"rules/oil.yaml": strings.Replace(oilBook, "1000 km", "500 km", 1)})
	a.reload(t.Context())
	expect("oil due 1 vehicle\n", "adopt: nothing was changed; 0 vehicles would be registered or changed\n", "--dry-run")
	if a.svc.Health().Book != f.book.Hash {
		t.Error("rules came into force that nobody adopted")
	}
	expect("oil due 1 vehicle\n", "adopt: 0 rules, 1 task in force, 0 vehicles registered\n")
	if list, err := service.Alarms.Of(t.Context(), a.svc, service.Question{}); err != nil || len(list) != 1 || list[0].Vehicle != "bus-07" || list[0].To != "due" {
		t.Errorf("there stands %+v (%v)", list, err)
	}

	// A register that leaves a vehicle out is told of it.
	write(t, dir, map[string]string{"vehicles.yaml": "vehicles:\n  bus-07: {name: Bus 7, kind: minibus, meters: {odometer: distance}}\n"})
	expect("", "adopt: in service, and vehicles.yaml no longer names it: bus-08\n"+
		"hint: if it has another key now, write `was: bus-08` under that; if it is gone, keep it with `retired: yes`\n"+
		"adopt: nothing was changed; 0 vehicles would be registered or changed\n", "--dry-run")
}

// TestAdoptOfTwoFolders has two services on one NATS server read their folders, which
// hold different rules, again and again: what was adopted last stays in force on both.
func TestAdoptOfTwoFolders(t *testing.T) {
	t.Parallel()
	url := natsServer(t)
	var apps []*app
	for _, book := range []string{oilBook, strings.Replace(oilBook, "1000 km", "500 km", 1)} {
		dir := t.TempDir()
		write(t, dir, map[string]string{"rules/oil.yaml": book, "telltale.yaml": "clock: events\nnats: " + url + "\n"})
		f, err := loadFleet(dir)
		if err != nil {
			t.Fatal(err)
		}
		a, err := startApp(t.Context(), f, slog.New(slog.DiscardHandler), func(string) {})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { a.stop() })
		apps = append(apps, a)
	}
	for _, from := range []int{0, 1, 0} {
		if code, _, said := told(t, "adopt", apps[from].fleet.dir); code != 0 {
			t.Fatalf("exit %d: %s", code, said)
		}
		before, err := apps[0].log.LastEvent(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for range 3 {
			for _, a := range apps {
				a.reload(t.Context())
			}
		}
		for i, a := range apps {
			err := a.svc.CaughtUp(t.Context())
			if h := a.svc.HealthOfAll(t.Context()); err != nil || h.Book != apps[from].fleet.book.Hash {
				t.Errorf("after folder %d was adopted, service %d has %s (%v), want %s", from, i, h.Book, err, apps[from].fleet.book.Hash)
			}
		}
		if after, err := apps[0].log.LastEvent(t.Context()); err != nil || after != before {
			t.Errorf("reading the folders brought %d events (%v)", after-before, err)
		}
	}
}

func registered(t *testing.T, a *app, vehicle string) *event.VehicleData {
	t.Helper()
	d, err := a.svc.Registered(t.Context(), vehicle)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// readings has one vehicle run 520 km and the other 50 km, and all of it stored.
func readings(t *testing.T, a *app) {
	t.Helper()
	at := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	for i, r := range []struct {
		vehicle string
		km      float64
	}{{"bus-07", 1000}, {"bus-08", 1000}, {"bus-07", 1520}, {"bus-08", 1050}} {
		ev := event.Event{ID: event.ID{Source: "/test", ID: string(rune('a' + i))}, Kind: event.ReadingEvent, Vehicle: r.vehicle,
			Time: at.AddDate(0, 0, i), Recorded: at.AddDate(0, 0, i), Data: &event.ReadingData{Meter: "odometer", Value: r.km, Unit: "km"}}
		if err := a.log.Publish(t.Context(), ev); err != nil {
			t.Fatal(err)
		}
	}
	if err := a.svc.CaughtUp(t.Context()); err != nil {
		t.Fatal(err)
	}
}

// TestAdoptRefuses has no service to adopt for.
func TestAdoptRefuses(t *testing.T) {
	t.Parallel()
	a := startTest(t, func(*settings) {})
	code, _, said := told(t, "adopt", a.fleet.dir, "--nats", a.url())
	if want := "telltale: the service at " + a.url() + " has a NATS server of its own\nhint: save the rules in its folder; it reads them by itself\n"; code != 1 || said != want {
		t.Errorf("exit %d\n%s\nwant\n%s", code, said, want)
	}
	code, _, said = told(t, "adopt", a.fleet.dir)
	if !strings.HasPrefix(said, "telltale: the service of "+a.fleet.dir+" has a NATS server of its own, and reads the folder when a file is saved\nhint: telltale adopt "+a.fleet.dir+" --dry-run says what would change") || code != 2 {
		t.Errorf("exit %d\n%s", code, said)
	}
}
