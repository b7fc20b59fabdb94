package notify

import (
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/notify/delivery"
	"telltale/notify/people"
	"telltale/rules/unit"
)

const withForms = `people:
  tobias: {name: Tobias, mail: tobias@larkfell.example, zone: Europe/London, distance: mi, digest: "0 7 1 * *", list: owner, unchanged: silent}
  ines: {name: Ines, mail: ines@larkfell.example, digest: "0 7 * * *", list: operator}
tell:
  own: {who: [tobias], where: vehicle.id == "bus-07" or vehicle.id == "bus-02", when: digest}
  all: {who: [ines], when: digest}
`

func withFormsRead(t *testing.T) *people.Directory {
	t.Helper()
	d, err := people.Parse("people.yaml", []byte(withForms))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// endedTask is an alarm that returned to normal and nobody has acknowledged.
func endedTask(rule, title, when string) alarm.Listed {
	return alarm.Listed{Name: "Bus 7", Transition: alarm.Transition{Time: at(when), Vehicle: "bus-07", Rule: rule, Title: title, Task: true,
		Transition: "cleared", From: "due", To: "normal", Standing: "returned",
		Due: &alarm.DuePoint{On: when[:10], Limit: "distance", At: &unit.Quantity{Value: 160934.4, Unit: "km"}, Past: &unit.Quantity{Value: -32186.9, Unit: "km"}}}}
}

// The owner's list: by vehicle, in their units, with what is over since the one
// before and the days for a calendar; and the operator's: counts, what changed in
// them, the worst first, and what is wrong with the service.
func TestListForms(t *testing.T) {
	d := withFormsRead(t)
	parts := winterList()
	parts[0].Alarms = append(parts[0].Alarms, endedTask("engine oil", "Change the engine oil", "2031-01-20T10:00:00Z"), endedTask("brakes", "Brakes", "2031-01-01T10:00:00Z"))
	last := Listed{Date: "2031-01-05", Counts: map[alarm.Stage]int{"due": 4, "overdue": 1, "caution": 2, "soon": 1}}
	for name, p := range map[string]string{"list-owner": "tobias", "list-operator": "ines"} {
		m, kept, ok := Digest(d, register, d.Person(p), Listing{Parts: parts, Of: 2, Last: last,
			Notes: []string{"Nothing is sent by mail, because the settings are wrong: 535 no."}, Leave: "https://fleet.larkfell.example/u/x"})
		if !ok || kept.Date != "2031-02-03" || kept.Print == "" {
			t.Fatalf("%s: %v %+v", name, ok, kept)
		}
		golden(t, name+".txt", "Subject: "+m.Subject+"\n\n"+m.Text)
		golden(t, name+".html", m.HTML)
		if a, b := words(strings.ReplaceAll(m.Text, ": https://fleet.larkfell.example/u/x", "")), words(visible(m.HTML)); strings.Join(a, " ") != strings.Join(b, " ") {
			t.Errorf("%s: text %q\nhtml %q", name, a, b)
		}
		if m.Leave == "" || (p == "tobias") != (len(m.Dates) > 0) {
			t.Errorf("%s: leave %q, %d dates", name, m.Leave, len(m.Dates))
		}
	}
}

// A list that says what the one before said stays away where the person wants
// that, and what ended meanwhile is in the next one that comes.
func TestUnchangedIsSilent(t *testing.T) {
	d := withFormsRead(t)
	tobias := d.Person("tobias")
	list := func(date string, last Listed, alarms ...alarm.Listed) (Message, Listed, bool) {
		part := winterList()[0]
		part.Date, part.Now = date, at(date+"T07:00:00Z")
		part.Alarms = alarms
		return Digest(d, register, tobias, Listing{Parts: []engine.TurnPart{part}, Of: 1, Last: last})
	}
	_, last, ok := list("2031-02-01", Listed{})
	if !ok {
		t.Fatal("no first list")
	}
	m, last, ok := list("2031-03-01", last, endedTask("oil", "Change the oil", "2031-02-12T10:00:00Z"))
	if ok || last.Date != "2031-02-01" {
		t.Errorf("the same again came: %v %+v %s", ok, last, m.Text)
	}
	worse := copperRaised()
	m, _, ok = list("2031-04-01", last, endedTask("oil", "Change the oil", "2031-02-12T10:00:00Z"), alarm.Listed{Name: "Bus 7", Since: worse.Time, Transition: worse})
	if !ok || !strings.Contains(m.Text, "Since 12 Feb 2031. Recorded as done.") {
		t.Errorf("%v\n%s", ok, m.Text)
	}
	if _, _, ok := Digest(d, register, tobias, Listing{Parts: winterList()[:1], Of: 2, Last: last}); !ok {
		t.Error("a list that lacks parts must not be taken for an unchanged one")
	}
}

// Whoever reads an owner's list reads there that work is done; a caution that is
// over is told at once all the same.
func TestOwnersReadThatWorkIsDone(t *testing.T) {
	d, err := people.Parse("people.yaml", []byte(`people:
  tobias: {mail: tobias@larkfell.example, digest: "0 7 1 * *", list: owner, file: told}
  maud: {mail: maud@larkfell.example}
tell: {all: {who: [tobias, maud]}}
`))
	if err != nil {
		t.Fatal(err)
	}
	done, over := taskOverdue(), copperRaised()
	done.Transition, done.From, done.To, done.Standing = "cleared", "overdue", "normal", "returned"
	over.Transition, over.From, over.To, over.Standing = "cleared", "caution", "normal", "returned"
	var got []string
	for _, m := range append(Tell(d, register, cause("a"), outputs(done)), Tell(d, register, cause("b"), outputs(over))...) {
		got = append(got, m.Person+" "+m.Way+" "+m.Subject)
	}
	want := "maud mail Done: Bus 7, Roadworthiness inspection|tobias file Done: Bus 7, Roadworthiness inspection|" +
		"maud mail OK: Bus 7 transmission, copper over baseline|tobias mail OK: Bus 7 transmission, copper over baseline|tobias file OK: Bus 7 transmission, copper over baseline"
	if strings.Join(got, "|") != want {
		t.Errorf("got %s\nwant %s", strings.Join(got, "|"), want)
	}
}

// The notifier keeps what a list said for the next one, over a restart.
func TestNotifierKeepsTheListBefore(t *testing.T) {
	m := &delivery.Memory{}
	d := withFormsRead(t)
	for i, date := range []string{"2031-02-01", "2031-02-02", "2031-02-03"} {
		n, _ := newNotifier(t, m, 1)
		n.SetDirectory(d)
		part := winterList()[0]
		part.Digest, part.Date, part.Now = "ines", date, at(date+"T07:00:00Z")
		if i == 2 {
			part.Items = part.Items[:1]
		}
		c := Cause{Key: "turn " + date, Time: at(date + "T07:00:00Z")}
		if err := n.Handle(t.Context(), uint64(i+1), c, []engine.Output{{Turn: &part}}); err != nil {
			t.Fatal(err)
		}
	}
	all, err := delivery.All(t.Context(), m)
	if err != nil || len(all) != 3 {
		t.Fatalf("%d lists, %v", len(all), err)
	}
	for _, l := range all {
		text := string(l.Raw)
		switch l.Time.Format(time.DateOnly) {
		case "2031-02-01":
			if strings.Contains(text, "change since") || strings.Contains(text, "than on") {
				t.Errorf("the first compares:\n%s", text)
			}
		case "2031-02-02":
			if !strings.Contains(text, "Due: 2 (no change since 1 Feb 2031).") {
				t.Errorf("the second:\n%s", text)
			}
		default:
			if !strings.Contains(text, "Due: 1 (1 fewer than on 2 Feb 2031).") {
				t.Errorf("the third:\n%s", text)
			}
		}
	}
}

// Each line of a list that stands as an alarm says where to answer it, in text and on
// the page, for as long as a link lives from the day of the list; what only lies ahead
// has nothing to answer, and paper shows no links.
func TestListsCanBeAnswered(t *testing.T) {
	d := directory(t)
	var asked []string
	g := Listing{Parts: winterList(), Of: 2, Answer: func(person string, tr *alarm.Transition) string {
		asked = append(asked, person+" "+tr.Vehicle+" "+tr.Component+" "+tr.Rule+" "+tr.Time.Format(time.DateOnly))
		return "https://fleet.larkfell.example/a/" + tr.Vehicle + "-" + strings.ReplaceAll(tr.Rule, " ", "-")
	}}
	m, _, ok := Digest(d, register, d.Person("north"), g)
	if !ok {
		t.Fatal("no list")
	}
	want := []string{"north bus-02  leak check", "north bus-03 transmission transmission fluid", "north bus-04  data: silent", "north bus-07 transmission coolant in the fluid",
		"north bus-07 transmission transmission fluid", "north bus-09  roadworthiness", "north gritter-1 hydraulics hydraulic oil"}
	for i := range want {
		want[i] += " 2031-02-03"
	}
	want[0] = "north bus-02 transmission leak check 2031-02-03"
	slices.Sort(asked)
	slices.Sort(want)
	if !slices.Equal(asked, want) {
		t.Errorf("links for\n%s\nwant\n%s", strings.Join(asked, "\n"), strings.Join(want, "\n"))
	}
	const link = "https://fleet.larkfell.example/a/bus-07-coolant-in-the-fluid"
	if !strings.Contains(m.Text, "Answer: "+link) || !strings.Contains(m.HTML, `<a href="`+link+`"`) || !strings.Contains(m.HTML, ".link { display: none }") {
		t.Errorf("no link to answer by in\n%s\n%s", m.Text, m.HTML)
	}
}
