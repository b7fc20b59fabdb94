package notify

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"telltale/engine"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/notify/people"
	"telltale/rules/unit"
)

func TestDigest(t *testing.T) {
	d := directory(t)
	m, _, ok := Digest(d, register, d.Person("north"), Listing{Parts: winterList(), Of: 2})
	if !ok {
		t.Fatal("no list")
	}
	golden(t, "list.txt", "Subject: "+m.Subject+"\n\n"+m.Text)
	golden(t, "list.html", m.HTML)
	back := winterList()
	back[0], back[1] = back[1], back[0]
	if again, _, _ := Digest(d, register, d.Person("north"), Listing{Parts: back, Of: 2}); !reflect.DeepEqual(m, again) {
		t.Errorf("the order of the parts makes a difference")
	}
}

func TestDigestMissingParts(t *testing.T) {
	d := directory(t)
	m, _, ok := Digest(d, register, d.Person("north"), Listing{Parts: winterList()[:1], Of: 16})
	if want := "This list is incomplete: 15 of 16 parts"; !ok || !strings.Contains(m.Text, want) {
		t.Errorf("got %v, want it to say %q:\n%s", ok, want, m.Text)
	}
}

func TestDigestNothingDue(t *testing.T) {
	d := directory(t)
	empty := []engine.TurnPart{{Date: "2031-02-04", Now: at("2031-02-04T06:00:00Z")}}
	m, _, ok := Digest(d, register, d.Person("north"), Listing{Parts: empty, Of: 1})
	if !ok || m.Stage != "normal" {
		t.Fatalf("north asks to be told: %v %+v", ok, m)
	}
	golden(t, "list-nothing.txt", "Subject: "+m.Subject+"\n\n"+m.Text)
	if m, _, ok := Digest(d, register, d.Person("tove"), Listing{Parts: empty, Of: 1}); ok {
		t.Errorf("tove wants silence: %+v", m)
	}
}

// A list of thousands stays a list that can be read and sent.
func TestDigestOfMany(t *testing.T) {
	d := directory(t)
	var part engine.TurnPart
	for i := range 5000 {
		part.Items = append(part.Items, due.Item{Vehicle: fmt.Sprint("v-", i), Tags: map[string]string{"depot": "north"},
			Task: "engine oil", Stage: "due", Limit: "no history", Needs: []due.Need{{Fluid: "oil", Volume: 5}}})
	}
	m, _, _ := Digest(d, register, d.Person("north"), Listing{Parts: []engine.TurnPart{part}, Of: 1})
	for _, want := range []string{"5,000 due on 5,000 vehicles.", " more: telltale due", "25000 L oil"} {
		if !strings.Contains(m.Text, want) {
			t.Errorf("want %q", want)
		}
	}
	if n := len(m.HTML) + len(m.Text); n > 160_000 || len(m.HTML) > maxList {
		t.Errorf("%d bytes", n)
	}
}

func TestWhyDue(t *testing.T) {
	miles := readerOf(&people.Person{Distance: "mi", Dates: people.MonthFirst})
	for _, c := range []struct {
		item due.Item
		want string
	}{
		// 1 mi = 1609.344 m exactly (NIST SP 811).
		{due.Item{Limit: "distance", Unit: "m", DueAt: ptr(1609.344 * 30000), PastBy: ptr(1609.344 * 1500)}, "1,500 mi past the limit at 30,000 mi."},
		{due.Item{Limit: "distance", Unit: "m", DueAt: ptr(1609.344 * 30000), PastBy: ptr(-1609.344 * 400)}, "400 mi to go until 30,000 mi."},
		{due.Item{Limit: "hours", Unit: "s", DueAt: ptr(3600 * 250), PastBy: ptr(0)}, "Due at 250 h."},
		{due.Item{Limit: "distance", Unit: "m", DueAt: ptr(1609.344 * 67010), PastBy: ptr(300)}, "Due at 67,010 mi."},
		{due.Item{Limit: "reported", DueDate: "2031-02-03", Why: "wipers smear (reported 2031-02-03 by Jo)"}, "Wipers smear (reported Feb 3, 2031 by Jo)."},
		{due.Item{Limit: "time", DueDate: "2031-02-02"}, "Was due on Feb 2, 2031, 1 day ago."},
		{due.Item{Limit: "time", DueDate: "2031-02-03"}, "Due today, Feb 3, 2031."},
		{due.Item{Limit: "time", DueDate: "2031-03-03"}, "Due on Mar 3, 2031, in 28 days."},
		{due.Item{Limit: "time", Why: "by the calendar"}, "By the calendar."},
		{due.Item{Limit: "distance", Why: "the meter is disputed"}, "The meter is disputed."},
		{due.Item{Limit: "no history"}, "No record of when this was last done."},
		{due.Item{Limit: "distance", Unit: "m", DueAt: ptr(1609.344 * 2000), DueInAll: ptr(1609.344 * 62000), PastBy: ptr(-1609.344 * 400)}, "400 mi to go until 2,000 mi on the new instrument (62,000 mi in all)."},
		{due.Item{Limit: "distance", Unit: "m", DueInAll: ptr(1609.344 * 60000), PastBy: ptr(1609.344 * 20)}, "20 mi past the limit at 60,000 mi in all, before the instrument was replaced."},
		{due.Item{Stage: "soon", Limit: "distance", DueDate: "2031-05-01", Untold: "the distance since the work cannot be told since 2030-11-13"}, "The distance since the work cannot be told since Nov 13, 2030. By the calendar it is due on May 1, 2031."},
		{due.Item{Stage: "due", Limit: "time", DueDate: "2031-02-03", Untold: "the distance since the work cannot be told since 2030-11-13"}, "Due today, Feb 3, 2031. The distance since the work cannot be told since Nov 13, 2030."},
		{due.Item{Stage: "due", Limit: "distance", Why: "due at 90,000 km; the odometer reads 90,100 km; the distance since the work cannot be told since 2030-11-13", Untold: "the distance since the work cannot be told since 2030-11-13"},
			"Due at 90,000 km; the odometer reads 90,100 km; the distance since the work cannot be told since Nov 13, 2030."},
	} {
		if got := miles.WhyDue(&c.item, "2031-02-03"); got != c.want {
			t.Errorf("%+v: got %q, want %q", c.item, got, c.want)
		}
	}
}

func TestVolumes(t *testing.T) {
	quarts := readerOf(&people.Person{Volume: "qt"})
	// 1 qt (US) = 0.946352946 L exactly (NIST Handbook 44 App. C).
	if got := quarts.Litres(0.946352946 * 4.5); got != "4.5 qt" {
		t.Errorf("got %q", got)
	}
}

func TestListSays(t *testing.T) {
	l := &list{p: readerOf(&people.Person{Distance: "km"}), today: "2031-02-03"}
	for _, c := range []struct {
		item due.Item
		want string
	}{
		{due.Item{Stage: "soon", Limit: "distance", Unit: "m", DueAt: ptr(9e7), PastBy: ptr(-5e5), Early: "2031-01-20", Likely: "2031-02-01", Late: "2031-02-09"},
			"Probably already past 90,000 km (about 1 Feb 2031). Please read the odometer."},
		{due.Item{Stage: "soon", Limit: "distance", Unit: "m", DueAt: ptr(9e7), PastBy: ptr(-5e5), Early: "2031-02-20", Likely: "2031-02-20", Late: "2031-02-20", LastDone: "2030-01-02"},
			"500 km to go until 90,000 km. Likely on 20 Feb 2031. Last done 2 Jan 2030."},
		{due.Item{Stage: "due", Limit: "time", DueDate: "2031-02-03", Postponed: "put where the forecast of a sample has it, accepted by tom", LastDone: "counted from 2030-02-03"},
			"Due today, 3 Feb 2031. Put where the forecast of a sample has it, accepted by tom. Counted from 3 Feb 2030."},
		{due.Item{Stage: "due", Limit: "time", DueDate: "2031-02-03", Postponed: "postponed by tom: waiting for parts", LastDone: "counted from 2030-02-03"},
			"Due today, 3 Feb 2031. Postponed by tom: waiting for parts. Counted from 3 Feb 2030."},
		{due.Item{Stage: "due", Limit: "no history", LastDone: "no history"}, "No record of when this was last done."},
	} {
		if got := l.item(lineOf(&c.item)).Lines[0].Text; got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}

// What the register says of a component stands on the list with its source; a
// volume in the reader's own unit, a torque in all three.
func TestDigestFigures(t *testing.T) {
	d := directory(t)
	figures := &event.Figures{Capacity: &unit.Quantity{Value: 8, Unit: "L"}, Torque: map[string]unit.Quantity{"drain plug": {Value: 35, Unit: "N m"}}, Source: "maker's manual, p. 112"}
	part := engine.TurnPart{Date: "2031-02-04", Items: []due.Item{{Vehicle: "v-1", Tags: map[string]string{"depot": "north"},
		Component: "transmission", Task: "transmission fluid", Stage: "due", Limit: "no history", Figures: figures}}}
	m, _, _ := Digest(d, register, d.Person("north"), Listing{Parts: []engine.TurnPart{part}, Of: 1})
	want := "Holds 8 L; torque: drain plug 35 newton-metres (26 pound-force feet, 310 pound-force inches); confirm against the maker's manual; source: maker's manual, p. 112."
	if got := strings.Join(strings.Fields(m.Text), " "); !strings.Contains(got, want) {
		t.Errorf("want %q in\n%s", want, m.Text)
	}
}
