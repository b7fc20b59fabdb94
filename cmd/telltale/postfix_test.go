package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"net/mail"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"telltale/notify/delivery"
	"telltale/notify/mail/mailtest"
)

// TestDemoByPostfix has the sample year's mails go out by a real mail server, and
// reads the boxes: each mail once, in the box of whom it is for, and all that is
// said of one alarm under one subject and one root.
func TestDemoByPostfix(t *testing.T) {
	t.Parallel()
	boxes := []string{"ines", "north.workshop", "south.workshop", "tobias", "maud", "abel"}
	p := mailtest.StartPostfix(t, boxes)
	var stdout, stderr bytes.Buffer
	code := run(t.Context(), []string{"demo", "--dir", filepath.Join(t.TempDir(), "fleet"), "--smtp", fmt.Sprintf("127.0.0.1:%d", p.Port)}, strings.NewReader(""), &stdout, &stderr)
	said := regexp.MustCompile(`\nThe mails went to 127\.0\.0\.1:\d+\ndemo: \d+ events, \d+ transitions, (\d+) mails\n$`).FindStringSubmatch(stdout.String())
	if code != 0 || said == nil {
		t.Fatalf("exit code %d, at the end it says %.300q\n%s", code, stdout.String()[max(0, stdout.Len()-300):], &stderr)
	}
	var all []boxed
	if !poll(patience, func() bool { all = inBoxes(t, p, boxes); return fmt.Sprint(len(all)) == said[1] }) {
		t.Fatalf("%d mails in the boxes, %s were sent\n%s", len(all), said[1], p.Log())
	}
	ids, roots := map[string]bool{}, map[string]string{}
	for _, m := range all {
		id, to := m.Header.Get("Message-Id"), m.Header.Get("To")
		if ids[id] || !strings.Contains(to, "<"+m.box+"@larkfell.example>") {
			t.Errorf("%s in the box of %s, to %s; there before: %v", id, m.box, to, ids[id])
		}
		ids[id] = true
		if m.Header.Get("Auto-Submitted") != "auto-generated" || m.Header.Get("List-Id") == "" {
			t.Errorf("%s: not marked as what it is: %v", id, m.Header)
		}
		root := m.Header.Get("References")
		if root != m.Header.Get("In-Reply-To") || strings.ContainsAny(root, ", ") {
			t.Errorf("%s: References %q, In-Reply-To %q", id, root, m.Header.Get("In-Reply-To"))
		}
		if root != "" {
			if before, ok := roots[root]; ok && before != aboutOf(m.Header.Get("Subject")) {
				t.Errorf("%s: the subject %q follows on %q", id, m.Header.Get("Subject"), before)
			}
			roots[root] = aboutOf(m.Header.Get("Subject"))
		}
	}
	for _, b := range boxes {
		if !slices.ContainsFunc(all, func(m boxed) bool { return m.box == b }) {
			t.Errorf("nothing in the box of %s", b)
		}
	}
	t.Logf("%d mails, %d threads", len(all), len(roots))
}

type boxed struct {
	box string
	*mail.Message
}

func inBoxes(t *testing.T, p *mailtest.Postfix, boxes []string) (all []boxed) {
	t.Helper()
	for _, b := range boxes {
		for _, raw := range p.Box(t, b) {
			m, err := mail.ReadMessage(strings.NewReader(raw))
			if err != nil {
				t.Fatalf("in the box of %s: %v\n%.500s", b, err, raw)
			}
			all = append(all, boxed{b, m})
		}
	}
	return all
}

// TestBadBoxHoldsUpNobody has a Postfix that does not know one of three people: that
// one's mail fails in plain sight and the operator hears of it, the others' arrive.

func TestBadBoxHoldsUpNobody(t *testing.T) {
	t.Parallel()
	p := mailtest.StartPostfix(t, []string{"ines", "abel"})
	dir := folder(t, map[string]string{
		"rules/bus.yaml": busRules,
		"telltale.yaml":  fmt.Sprintf("clock: events\nmail: {from: telltale@larkfell.example}\nsmtp: {host: 127.0.0.1, port: %d, tls: never}\n", p.Port),
		"vehicles.yaml":  "vehicles:\n  bus-07: {name: Bus 7, kind: minibus, meters: {odometer: distance}}\n",
		"people.yaml": "people:\n  abel: {mail: abel@larkfell.example}\n  gone: {mail: gone@larkfell.example}\n  ines: {mail: ines@larkfell.example}\n" +
			"operator: [ines]\ntell:\n  all: {who: [abel, gone, ines]}\n",
		"events.jsonl": `{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":"r-1","subject":"bus-07","time":"2031-01-03T06:10:00Z","data":{"meter":"odometer","value":1000,"unit":"mi"}}
{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":"r-2","subject":"bus-07","time":"2031-03-03T06:10:00Z","data":{"meter":"odometer","value":6200,"unit":"mi"}}
`,
		"later.jsonl": `{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":"r-3","subject":"bus-07","time":"2031-03-05T06:10:00Z","data":{"meter":"odometer","value":6210,"unit":"mi"}}
`,
	})
	serving(t, dir)
	telltale(t, "send", "--dir", dir, filepath.Join(dir, "events.jsonl"))
	var states map[string]delivery.State
	if !poll(patience, func() bool {
		states = map[string]delivery.State{}
		for _, d := range deliveriesOf(t, dir) {
			states[d.Person] = d.State
		}
		return len(states) == 3 && !slices.Contains(slices.Collect(maps.Values(states)), delivery.Waiting) && !slices.Contains(slices.Collect(maps.Values(states)), delivery.Sending)
	}) {
		t.Fatalf("%v", states)
	}
	if want := map[string]delivery.State{"abel": delivery.Sent, "gone": delivery.Failed, "ines": delivery.Sent}; !maps.Equal(states, want) {
		t.Errorf("%v, want %v", states, want)
	}
	// Troubles are told at the next tick.
	telltale(t, "send", "--dir", dir, filepath.Join(dir, "later.jsonl"))
	subjects := func() (out []string) {
		for _, m := range inBoxes(t, p, []string{"abel", "ines"}) {
			out = append(out, m.box+": "+m.Header.Get("Subject"))
		}
		slices.Sort(out)
		return out
	}
	want := []string{"abel: Due: Bus 7, Inspect the bus", "ines: 1 message not delivered", "ines: Due: Bus 7, Inspect the bus"}
	if !poll(patience, func() bool { return slices.Equal(subjects(), want) }) {
		t.Errorf("in the boxes %q, want %q", subjects(), want)
	}
}

func deliveriesOf(t *testing.T, dir string) (list []delivery.Delivery) {
	t.Helper()
	for line := range strings.Lines(telltale(t, "deliveries", "--dir", dir, "--json")) {
		var d delivery.Delivery
		if err := json.Unmarshal([]byte(line), &d); err != nil {
			t.Fatal(err)
		}
		list = append(list, d)
	}
	return list
}
