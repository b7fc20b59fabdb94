package notify

import (
	"bytes"
	"errors"
	"log/slog"
	"strings"
	"testing"

	"telltale/engine/alarm"
	"telltale/engine/sample"
	"telltale/notify/delivery"
	"telltale/notify/wording"
	"telltale/rules/unit"
)

// Whatever fails in writing a message, it goes out, with the figures and what to
// do in it, and the log says what failed.
func TestRawFiguresWhereWordsFail(t *testing.T) {
	for name, c := range map[string]struct {
		fail func(n *Notifier)
		says []string // in the mail
		log  string
	}{
		"words that panic": {func(n *Notifier) {
			n.Answer = func(string, *alarm.Transition) string { panic("no such link") }
		}, []string{bareLead, "bus-07 transmission copper over baseline raised normal to caution", "measure: 3.275", `times("Cu"): 3.275`,
			"do: Sample again within 5,000 km", "mind: hot fluid, raised vehicle", wording.StandingNote}, "no such link"},
		"a picture that panics": {func(n *Notifier) {
			n.Sample = func(string, string, unit.System) []sample.Verdict { panic("no such sample") }
		}, []string{"Found: Copper 131 mg/kg is 3.3 times the baseline."}, "no such sample"},
		"a mail that cannot be composed with its dates": {func(n *Notifier) {
			plain := n.Compose["mail"]
			n.Compose["mail"] = func(m Message) (string, []byte, error) {
				if !strings.HasPrefix(m.HTML, "<!doctype html><meta") {
					return "", nil, errors.New("no calendar")
				}
				return plain(m)
			}
		}, []string{"Found: Copper 131 mg/kg is 3.3 times the baseline."}, "no calendar"},
	} {
		m := &delivery.Memory{}
		n, _ := newNotifier(t, m, 1)
		var log bytes.Buffer
		n.Log = slog.New(slog.NewTextHandler(&log, nil))
		c.fail(n)
		if err := n.Handle(t.Context(), 1, cause("c-1"), outputs(copperRaised())); err != nil {
			t.Fatal(err)
		}
		all, err := delivery.All(t.Context(), m)
		if err != nil || len(all) != 1 || all[0].State != delivery.Waiting || all[0].Subject == "" {
			t.Fatalf("%s: %v %+v", name, err, all)
		}
		for _, want := range c.says {
			if !strings.Contains(string(all[0].Raw), want) {
				t.Errorf("%s: %q is not in\n%s", name, want, all[0].Raw)
			}
		}
		if !strings.Contains(log.String(), c.log) || !strings.Contains(log.String(), "level=ERROR") {
			t.Errorf("%s: the log says\n%s", name, log.String())
		}
	}
}

// What went wrong with the page is in the log.
func TestFaultyPageIsLogged(t *testing.T) {
	n, _ := newNotifier(t, &delivery.Memory{}, 1)
	var log bytes.Buffer
	n.Log = slog.New(slog.NewTextHandler(&log, nil))
	faulty := func() Message { return Message{Key: "k", Text: "as it was", Fault: "out of range: 999"} }
	if m := n.written("telling c-1", faulty, nil); m.Text != "as it was" || !strings.Contains(log.String(), "out of range: 999") || !strings.Contains(log.String(), "level=ERROR") {
		t.Errorf("got %+v; the log says\n%s", m, log.String())
	}
}

// A list, what was held, and a reminder go out in raw figures too.
func TestRawFiguresOfLists(t *testing.T) {
	p := readerOf(directory(t).Person("north"))
	parts := winterList()
	m := bareList(p, "2031-02-03", parts, listKey(p, "2031-02-03"))
	want, _, _ := Digest(directory(t), register, p.Person, Listing{Parts: parts, Of: 2})
	if m.Key != want.Key || !strings.Contains(m.Text, "overdue bus-09") || !strings.Contains(m.Text, "warning bus-07 transmission coolant in the fluid") {
		t.Errorf("key %s, want %s:\n%s", m.Key, want.Key, m.Text)
	}
	coolant, nasty := coolantRaised(), copperRaised()
	nasty.Rule, nasty.Message = "<script>\r\nBcc: x", strings.Repeat("x", 10<<10)
	pieces := []piece{{T: coolant}, {T: nasty}}
	m = barePieces(p, cause("c"), pieces)
	if m.Key != summary(register, p, cause("c"), "", []piece{{T: coolant}, {T: taskOverdue()}}, 9).Key {
		t.Errorf("key %s is not that of the summary", m.Key)
	}
	for _, want := range []string{"first: " + wording.StopFirst, "bus-07 transmission coolant in the fluid raised normal to warning"} {
		if !strings.Contains(m.Text, want) {
			t.Errorf("%q is not in\n%s", want, m.Text)
		}
	}
	if strings.Contains(m.HTML, "<script") || strings.Contains(m.Text, "\nBcc") || len(m.Text) > 4000 {
		t.Errorf("not harmless: %d bytes\n%s", len(m.Text), m.HTML)
	}
}
