package notify

import (
	"bytes"
	"errors"
	"html/template"
	"log/slog"
	"strings"
	"testing"

	"telltale/engine"
)

// Whatever fails in writing a message, it goes out, with the figures and what to
// do in it, and the log says what failed.
func TestRawFiguresWhereWordsFail(t *testing.T) {
	pageWas := pageTemplate
	t.Cleanup(func() { pageTemplate = pageWas })
	broken := template.Must(template.New("page").Parse("{{index .Blocks 999}}"))
	for name, c := range map[string]struct {
		page *template.Template
		fail func(n *Notifier)
		says []string // in the mail
		log  string
	}{
		"a template that fails": {broken, func(*Notifier) {},
			[]string{"Found: Copper 131 mg/kg is 3.3 times the baseline.", "> Sample again within 5,000 km"}, "out of range: 999"},
		"words that panic": {pageWas, func(n *Notifier) {
			n.Answer = func(string, *engine.Transition) string { panic("no such link") }
		}, []string{bareLead, "bus-07 transmission copper over baseline raised normal to caution", "measure: 3.275", `times("Cu"): 3.275`,
			"do: Sample again within 5,000 km", "mind: hot fluid, raised vehicle", standingNote}, "no such link"},
		"a picture that panics": {pageWas, func(n *Notifier) {
			n.Sample = func(string, string) []engine.Verdict { panic("no such sample") }
		}, []string{"Found: Copper 131 mg/kg is 3.3 times the baseline."}, "no such sample"},
		"a mail that cannot be composed with its dates": {pageWas, func(n *Notifier) {
			plain := n.Compose["mail"]
			n.Compose["mail"] = func(m Message) (string, []byte, error) {
				if !strings.HasPrefix(m.HTML, "<!doctype html><meta") {
					return "", nil, errors.New("no calendar")
				}
				return plain(m)
			}
		}, []string{"Found: Copper 131 mg/kg is 3.3 times the baseline."}, "no calendar"},
	} {
		pageTemplate = c.page
		m := &memory{keys: map[string]string{}}
		n, _ := newNotifier(t, m, 1)
		var log bytes.Buffer
		n.Log = slog.New(slog.NewTextHandler(&log, nil))
		c.fail(n)
		if err := n.Handle(t.Context(), 1, cause("c-1"), outputs(copperRaised())); err != nil {
			t.Fatal(err)
		}
		all, err := Deliveries(t.Context(), m)
		if err != nil || len(all) != 1 || all[0].State != Waiting || all[0].Subject == "" {
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

// A list, what was held, and a reminder go out in raw figures too.
func TestRawFiguresOfLists(t *testing.T) {
	p := people(t).Person("north")
	parts := winterList()
	m := bareList(p, "2031-02-03", parts, listKey(p, "2031-02-03"))
	want, _, _ := Digest(people(t), register, p, Listing{Parts: parts, Of: 2})
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
	for _, want := range []string{"first: " + stopFirst, "bus-07 transmission coolant in the fluid raised normal to warning"} {
		if !strings.Contains(m.Text, want) {
			t.Errorf("%q is not in\n%s", want, m.Text)
		}
	}
	if strings.Contains(m.HTML, "<script") || strings.Contains(m.Text, "\nBcc") || len(m.Text) > 4000 {
		t.Errorf("not harmless: %d bytes\n%s", len(m.Text), m.HTML)
	}
}
