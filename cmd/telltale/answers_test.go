package main

import (
	"fmt"
	"io"
	"log/slog"
	"net/http/httptest"
	"net/mail"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/stream/wire"
)

// answeringAt is one more service on the server whose mails carry links; all of them
// sign with the same key.
func answeringAt(t *testing.T, url string) *app {
	t.Helper()
	dir := t.TempDir()
	files := replicaFiles(url)
	files["answers.key"] = strings.Repeat("0123456789abcdef", 4) + "\n"
	files["telltale.yaml"] += "answers: {listen: 127.0.0.1:0, url: https://fleet.larkfell.example}\n"
	files["people.yaml"] += "operator: [ines]\n"
	write(t, dir, files)
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

// press sends a form, or looks at a page where it is nil.
func press(a *app, path string, form url.Values) (code int, page string) {
	r := httptest.NewRequest("GET", path, nil)
	if form != nil {
		r = httptest.NewRequest("POST", path, strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	w := httptest.NewRecorder()
	a.pages.Handler.ServeHTTP(w, r)
	return w.Code, w.Body.String()
}

// TestLeaveByAnyReplica opens the links of a mail at the service that does not tell
// people: opening changes nothing, and what is pressed reaches the one that does.
func TestLeaveByAnyReplica(t *testing.T) {
	t.Parallel()
	server := natsServer(t)
	all := []*app{answeringAt(t, server), answeringAt(t, server)}
	if code, _, said := told(t, "adopt", all[0].fleet.dir); code != 0 {
		t.Fatal(said)
	}
	drive := func(day int, km float64) {
		t.Helper()
		at := time.Date(2031, 1, 1+day, 0, 0, 0, 0, time.UTC)
		ev := event.Event{ID: event.ID{Source: "/test", ID: fmt.Sprint(day)}, Kind: event.ReadingEvent, Vehicle: "bus-00",
			Time: at, Recorded: at, Data: &event.ReadingData{Meter: "odometer", Value: km, Unit: "km"}}
		if err := all[0].log.Publish(t.Context(), ev); err != nil {
			t.Fatal(err)
		}
	}
	drive(0, 1000)
	if err := all[0].log.PublishTick(t.Context(), time.Date(2031, 1, 2, 0, 0, 0, 0, time.UTC)); err != nil {
		t.Fatal(err)
	}
	drive(1, 1950) // soon
	if !poll(patience, func() bool { return len(mailsIn(t, all)) == 1 }) {
		t.Fatalf("%d mails, want one", len(mailsIn(t, all)))
	}
	other := all[slices.IndexFunc(all, func(a *app) bool { return !a.tells() })]
	m := mailsIn(t, all)[0]
	leave := strings.TrimPrefix(strings.Trim(m.Header.Get("List-Unsubscribe"), "<>"), "https://fleet.larkfell.example")
	if !strings.HasPrefix(leave, "/u/") || m.Header.Get("List-Unsubscribe-Post") != "List-Unsubscribe=One-Click" {
		t.Fatalf("the mail cannot be left: %v", m.Header)
	}

	if code, page := press(other, leave, nil); code != 200 || !strings.Contains(page, ">Unsubscribe</button>") {
		t.Fatalf("opening the link: %d\n%s", code, page)
	}
	if got := telltale(t, "deliveries", "--nats", server, "--left"); got != "" {
		t.Errorf("opening the link has ended the mails: %s", got)
	}
	if code, page := press(other, leave, url.Values{"List-Unsubscribe": {"One-Click"}}); code != 200 {
		t.Fatalf("leaving: %d\n%s", code, page)
	}
	if got := telltale(t, "deliveries", "--nats", server, "--left"); got != "ines unsubscribed from messages on 2031-01-02 00:00\n" {
		t.Errorf("who left: %q", got)
	}
	drive(2, 2050) // due
	nc, err := nats.Connect(server)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	// It stands in the record before it lies in the log, where it is told from.
	if !poll(patience, func() bool {
		return slices.ContainsFunc(said(t, nc), func(m wire.Message) bool {
			return slices.ContainsFunc(m.Outputs, func(o engine.Output) bool { return o.Transition != nil && o.Transition.To == alarm.Due })
		})
	}) {
		t.Fatal("it is not due")
	}
	// What came before she comes back must have been told to nobody by then.
	teller := all[slices.IndexFunc(all, (*app).tells)]
	if err := teller.notify.Settle(t.Context()); err != nil {
		t.Fatal(err)
	}
	if code, page := press(other, leave, url.Values{"again": {"yes"}}); code != 200 {
		t.Fatalf("coming back: %d\n%s", code, page)
	}
	drive(3, 2200) // overdue
	subjects := func() (list []string) {
		for _, m := range mailsIn(t, all) {
			list = append(list, m.Header.Get("Subject"))
		}
		slices.Sort(list)
		return list
	}
	want := []string{"Ines Thornbeck wants messages again", "Ines Thornbeck wants no more messages", "Overdue: Bus 0, Change the oil", "Soon: Bus 0, Change the oil"}
	if !poll(patience, func() bool { return slices.Equal(subjects(), want) }) {
		t.Errorf("mails %q, want %q", subjects(), want)
	}
	answersByPage(t, other, server, m)
}

// answersByPage says by the link of the mail that the vehicle is somebody else's, and
// that the work is done.
func answersByPage(t *testing.T, a *app, server string, m *mail.Message) {
	t.Helper()
	body, err := io.ReadAll(m.Body)
	if err != nil {
		t.Fatal(err)
	}
	text := strings.ReplaceAll(strings.ReplaceAll(string(body), "=\r\n", ""), "=3D", "=")
	link := regexp.MustCompile(`https://fleet\.larkfell\.example(/a/[A-Za-z0-9._-]+)`).FindStringSubmatch(text)
	if link == nil {
		t.Fatalf("no link to answer by in\n%s", text)
	}
	code, page := press(a, link[1], nil)
	if code != 200 || !strings.Contains(page, "Not my vehicle") {
		t.Fatalf("opening the alarm: %d\n%s", code, page)
	}
	if code, page := press(a, link[1], url.Values{"answer": {"not mine"}}); code != 200 || !strings.Contains(page, "has been recorded") {
		t.Fatalf("not my vehicle: %d\n%s", code, page)
	}
	if !poll(patience, func() bool {
		return strings.Contains(telltale(t, "alarms", "--nats", server), "ines says that this vehicle is not theirs")
	}) {
		t.Errorf("nothing stands of it:\n%s", telltale(t, "alarms", "--nats", server))
	}
	// And that it is done: one event like any other.
	if code, page := press(a, link[1], url.Values{"answer": {"done"}, "day": {"2031-01-02"}, "why": {"by a friend"}}); code != 200 || !strings.Contains(page, "The work is entered.") {
		t.Fatalf("work was done: %d\n%s", code, page)
	}
	if !poll(patience, func() bool { return !strings.Contains(telltale(t, "alarms", "--nats", server), "overdue  bus-00") }) {
		t.Errorf("it is overdue still:\n%s", telltale(t, "alarms", "--nats", server))
	}
	if got := telltale(t, "history", "bus-00", "--nats", server); !strings.Contains(got, "by a friend") {
		t.Errorf("the history does not hold it:\n%s", got)
	}
}

// mailsIn are the mails that the services wrote, in order of their names.
func mailsIn(t *testing.T, all []*app) (mails []*mail.Message) {
	t.Helper()
	for _, a := range all {
		names, err := filepath.Glob(filepath.Join(a.fleet.dir, "mail", "*.eml"))
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range names {
			raw, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			m, err := mail.ReadMessage(strings.NewReader(string(raw)))
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			mails = append(mails, m)
		}
	}
	return mails
}
