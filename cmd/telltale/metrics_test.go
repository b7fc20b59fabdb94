package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"telltale/cmd/telltale/internal/cli"
	"telltale/cmd/telltale/internal/listen"
	"telltale/engine/event"
)

// write puts files into a folder.
func write(t *testing.T, dir string, files map[string]string) {
	t.Helper()
	for name, text := range files {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

const oilBook = `book: 1
units: {distance: km, volume: L}
tasks:
  oil:
    title: Change the oil
    every: {distance: 1000 km}
    early: {distance: 100 km}
    tolerance: 10%
    unknown history: from first reading
`

func startTest(t *testing.T, set func(*settings)) *app {
	t.Helper()
	dir := t.TempDir()
	write(t, dir, map[string]string{"rules/oil.yaml": oilBook})
	f, err := loadFleet(dir)
	if err != nil {
		t.Fatal(err)
	}
	f.set.Listen, f.set.Clock = "127.0.0.1:-1", "events"
	set(&f.set)
	a, err := startApp(t.Context(), f, slog.New(slog.DiscardHandler), func(string) {})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.stop() })
	return a
}

func get(t *testing.T, url string) (int, string) {
	t.Helper()
	r, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, string(b)
}

// TestMetrics scrapes a service that has folded a few events.
func TestMetrics(t *testing.T) {
	t.Parallel()
	a := startTest(t, func(s *settings) { s.Metrics = "127.0.0.1:0" })
	at := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	events := []event.Event{{Kind: event.VehicleEvent, Data: &event.VehicleData{Name: "Bus 7", Kind: "minibus", Meters: []event.MeterDef{{Name: "odometer", Kind: "distance"}}}}}
	for _, km := range []float64{1000, 1920, 2300} {
		events = append(events, event.Event{Kind: event.ReadingEvent, Data: &event.ReadingData{Meter: "odometer", Value: km, Unit: "km"}})
	}
	for i, ev := range events {
		ev.ID, ev.Vehicle = event.ID{Source: "/test", ID: fmt.Sprint(i)}, "bus-07"
		ev.Time = at.AddDate(0, 0, i)
		ev.Recorded = ev.Time
		if err := a.log.Publish(t.Context(), ev); err != nil {
			t.Fatal(err)
		}
	}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	if err := a.settle(ctx); err != nil {
		t.Fatal(err)
	}
	url := "http://" + a.monitor.addr
	_, text := get(t, url+"/metrics")
	for _, want := range []string{
		"telltale_up 1", `telltale_transitions_total{stage="overdue"} 1`, `telltale_transitions_total{stage="soon"} 1`,
		`telltale_event_lag{partition="0"} 0`, `telltale_book_info{book="` + a.fleet.book.Hash + `"} 1`, "telltale_reload_success 1",
		"telltale_owner_changes_total 16", "telltale_deliveries_waiting 0", "telltale_clock_suspect 0", "telltale_not_judged_total 0",
		"telltale_oldest_delivery_age_seconds 0",
		`telltale_alarms_active{stage="overdue"} 1`, `telltale_alarms_active{stage="soon"} 0`, `telltale_alarms_active{stage="warning"} 0`,
		`telltale_messages_total{result="sent",way="mail"} 0`, `telltale_messages_total{result="failed",way="webhook"} 0`,
		`telltale_seats_held{seat="partition"} 16`, `telltale_seats_held{seat="ticks"} 1`,
		`telltale_seats_held{seat="notify"} 1`, `telltale_seats_held{seat="baselines"} 1`,
	} {
		if !strings.Contains(text, want+"\n") {
			t.Errorf("the metrics lack %s", want)
		}
	}
	if strings.Contains(text, "bus-07") {
		t.Error("the metrics name a vehicle")
	}
	if !regexp.MustCompile(`telltale_checkpoint_age_seconds\{partition="3"\} [0-9.e-]+\n`).MatchString(text) {
		t.Error("the metrics lack the age of a checkpoint")
	}
	a.tellClock(true, time.Hour)
	if _, text := get(t, url+"/metrics"); !strings.Contains(text, "telltale_clock_suspect 1\n") {
		t.Error("the metrics do not show that the clock is suspect")
	}
	a.fault.Store("rules/oil.yaml:1: nonsense")
	if _, text := get(t, url+"/metrics"); !strings.Contains(text, "telltale_reload_success 0\n") {
		t.Error("the metrics do not show that the folder has faults")
	}
	checkAnswers(t, a, url)
}

// checkAnswers asks the two checks of a service that is up and of one that ended.
func checkAnswers(t *testing.T, a *app, url string) {
	t.Helper()
	for _, path := range []string{"/healthz", "/readyz"} {
		if code, text := get(t, url+path); code != 200 || text != "ok\n" {
			t.Errorf("%s: %d %q", path, code, text)
		}
	}
	if err := a.svc.Stop(); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{"/healthz", "/readyz"} {
		if code, text := get(t, url+path); code != 503 || text != "the partitions have ended\n" {
			t.Errorf("%s of one that ended: %d %q", path, code, text)
		}
	}
}

// TestReadyWhileComingUp asks before there is a service.
func TestReadyWhileComingUp(t *testing.T) {
	m, err := startMonitor("127.0.0.1:0", slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	defer m.stop()
	for path, want := range map[string]string{"/healthz": "200 ok\n", "/readyz": "503 coming up\n"} {
		if code, text := get(t, "http://"+m.addr+path); fmt.Sprint(code, " ", text) != want {
			t.Errorf("%s: %d %q, want %q", path, code, text, want)
		}
	}
	if _, text := get(t, "http://"+m.addr+"/metrics"); !strings.Contains(text, "telltale_up 0\n") {
		t.Error("the metrics do not say that it is coming up")
	}
}

// TestMetricsAddress takes loopback addresses alone.
func TestMetricsAddress(t *testing.T) {
	for address, want := range map[string]bool{
		"127.0.0.1:9464": true, "localhost:0": true, "[::1]:9464": true,
		"0.0.0.0:9464": false, ":9464": false, "192.0.2.7:9464": false, "127.0.0.1": false, "127.0.0.1:http": false, "example.org:9464": false,
	} {
		if got := listen.Loopback(address); got != want {
			t.Errorf("%s: %t, want %t", address, got, want)
		}
	}
	dir := t.TempDir()
	write(t, dir, map[string]string{"telltale.yaml": "metrics: 0.0.0.0:9464\n"})
	if _, err := loadSettings(dir); err == nil || !strings.Contains(err.Error(), `metrics can only be served on the loopback, not on "0.0.0.0:9464"`) {
		t.Errorf("got %v", err)
	}
}

// TestLogs are JSON where no person reads them.
func TestLogs(t *testing.T) {
	var b bytes.Buffer
	cli.NewLogger(&b).Info("rules adopted", "rules", 3)
	if got := b.String(); !strings.HasPrefix(got, `{"time":`) || !strings.HasSuffix(got, `"level":"INFO","msg":"rules adopted","rules":3}`+"\n") {
		t.Errorf("got %s", got)
	}
}
