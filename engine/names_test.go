package engine_test

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/replay"
	"telltale/rules"
)

// numbered are the names that a renamed vehicle has by turns, and its meter and its
// component.
var numbered = regexp.MustCompile(`(van|odometer|motor)-[0-9]`)

// TestRenamedIsOne: a log in which a vehicle, its meter and its component are renamed, and
// in which later events come under whichever of their names so far, says the same as the
// log under one name, at the same moments.
func TestRenamedIsOne(t *testing.T) {
	book := orderBook(t)
	rapid.Check(t, func(rt *rapid.T) {
		one, many := drawRenamed(rt, book, false)
		want, wantEnd := saidOf(one, book)
		got, gotEnd := saidOf(many, book)
		if got != want {
			rt.Fatalf("only under one name:\n%s\nonly renamed:\n%s", without(want, got), without(got, want))
		}
		if gotEnd != wantEnd {
			rt.Fatalf("at the end, under one name:\n%s\nrenamed:\n%s", wantEnd, gotEnd)
		}
	})
}

// TestRenamedLate: what came under a new name before the register said so counts as soon
// as it does, and ends in the same record.
func TestRenamedLate(t *testing.T) {
	book := orderBook(t)
	rapid.Check(t, func(rt *rapid.T) {
		one, many := drawRenamed(rt, book, true)
		_, want := saidOf(one, book)
		if said, got := saidOf(many, book); got != want {
			rt.Fatalf("at the end, only under one name:\n%s\nonly renamed:\n%s\nsaid:\n%s", without(want, got), without(got, want), said)
		}
	})
}

func orderBook(t *testing.T) *rules.Book {
	t.Helper()
	book, err := rules.Load([]rules.File{{Name: "order.yaml", Text: []byte(orderRules)}})
	if err != nil {
		t.Fatal(err)
	}
	return book
}

// drawRenamed draws a vehicle's life under one name, and the same with renames in it;
// early has some events come under a name that it has only later.
func drawRenamed(rt *rapid.T, book *rules.Book, early bool) (one, many []event.Event) {
	events := shortEvents(rt, drawYear(rt), book)
	if early { // what nobody registers is kept for 90 days
		end := events[0].Time.AddDate(0, 0, 85)
		events = slices.DeleteFunc(events, func(ev event.Event) bool { return ev.Recorded.After(end) })
	}
	turns := rapid.IntRange(1, 3).Draw(rt, "renames")
	now := 0
	for i, ev := range events {
		one = append(one, ev)
		name := rapid.IntRange(0, now).Draw(rt, "name")
		switch {
		case i == 0:
		case early && ev.Kind != event.AnswerEvent: // an answer is to what stands when it comes
			name = rapid.IntRange(0, turns).Draw(rt, "early name")
		}
		many = append(many, underName(rt, ev, name, nil))
		if now < turns && rapid.IntRange(0, 3).Draw(rt, "rename") == 0 || i == len(events)-1 {
			again := renewed(rt, events[0], ev, now)
			now = min(now+1, turns)
			if i == len(events)-1 {
				now = turns
			}
			one = append(one, again)
			many = append(many, underName(rt, again, now, earlierNames(rt, now)))
		}
	}
	return one, many
}

// renewed is the vehicle registered once more, right after an event.
func renewed(rt *rapid.T, first, after event.Event, n int) event.Event {
	first.ID.ID = fmt.Sprintf("again-%d", n)
	first.Time = after.Recorded.Add(time.Second)
	first.Recorded = first.Time
	ev, err := intake.Checked(first)
	if err != nil {
		rt.Fatal(err)
	}
	return ev
}

// earlierNames are those before the n-th, all or the one before, in any order.
func earlierNames(rt *rapid.T, n int) []int {
	var all []int
	for i := range n {
		all = append(all, i)
	}
	if n > 1 && rapid.Bool().Draw(rt, "newest first") {
		slices.Reverse(all)
	}
	return all
}

// underName is the event under the n-th names, and if it is a registration with the
// earlier ones.
func underName(rt *rapid.T, ev event.Event, n int, was []int) event.Event {
	text, err := intake.Encode(ev)
	if err != nil {
		rt.Fatal(err)
	}
	s := strings.NewReplacer(`"van-1"`, fmt.Sprintf(`"van-%d"`, n), `"odometer"`, fmt.Sprintf(`"odometer-%d"`, n), `"motor"`, fmt.Sprintf(`"motor-%d"`, n)).Replace(string(text))
	if ev, err = intake.Decode([]byte(s)); err != nil {
		rt.Fatalf("%s: %v", s, err)
	}
	if d, ok := ev.Data.(*event.VehicleData); ok {
		d.Name = "van-1"
		for _, w := range was {
			d.Was = append(d.Was, fmt.Sprintf("van-%d", w))
			d.Meters[0].Was = append(d.Meters[0].Was, fmt.Sprintf("odometer-%d", w))
			d.Components[0].Was = append(d.Components[0].Was, fmt.Sprintf("motor-%d", w))
		}
		if ev, err = intake.Checked(ev); err != nil {
			rt.Fatal(err)
		}
	}
	return ev
}

// saidOf folds the events with their midnights, and gives what was said, and at the end
// the record and all that can be asked, with the names of one turn.
func saidOf(events []event.Event, book *rules.Book) (said, end string) {
	p := engine.NewPartition()
	p.Rename = intake.Renamed
	var b strings.Builder
	tell := func(out []engine.Output) {
		for _, o := range out {
			if o.Transition != nil {
				o.Transition.First = ""
			}
			line, _ := json.Marshal(o)
			b.Write(append(line, '\n'))
		}
	}
	tell(p.Apply(bookEvent(book)))
	for ev := range replay.Ticked(events) {
		tell(p.Apply(ev))
	}
	vehicle := p.Vehicles()[0]
	end = strings.NewReplacer(`},{"t"`, "},\n{\"t\"", `"r":[`, "\"r\":[\n", `"services":[`, "\"services\":[\n").Replace(p.Describe(vehicle))
	return sameNames(b.String()), sameNames(end)
}

// named is what a record holds of its names, and digests, which are of an event's text, and
// where a quantity stands behind a name.
var named = regexp.MustCompile(`"names":\[[^]]*\],|,"was":\[[^]]*\]|,"key":"[^"]*"|"d":[0-9]+,?|"at":[0-9]+,`)

func sameNames(s string) string {
	s = named.ReplaceAllString(s, "")
	s = numbered.ReplaceAllString(s, "$1")
	return strings.NewReplacer("van-1", "van").Replace(s)
}

// A registration that is made in the second of the one before comes after it.
func TestRegisteredLater(t *testing.T) {
	p := engine.NewPartition()
	at := time.Date(2031, 1, 2, 8, 0, 0, 0, time.UTC)
	ev, err := intake.Short("2031-01-02T08:00 vehicle van-1 van", "e", orderBook(t).Units)
	if err != nil {
		t.Fatal(err)
	}
	p.Apply(ev)
	v := p.AskedBy(p.By).RegisterOf("van-1")[0]
	for now, want := range map[time.Time]time.Time{at: at.Add(time.Second), at.Add(-time.Hour): at.Add(time.Second), at.Add(time.Hour): at.Add(time.Hour)} {
		if got := v.Later(now); !got.Equal(want) {
			t.Errorf("at %s: %s, want %s", now, got, want)
		}
	}
	if got := (&engine.RegisteredVehicle{}).Later(at); !got.Equal(at) {
		t.Errorf("not registered: %s", got)
	}
}

// TestRenamedCounts: the alarms of a name that turns out to be another's vehicle are no
// longer counted.
func TestRenamedCounts(t *testing.T) {
	p := engine.NewPartition()
	p.Apply(bookEvent(orderBook(t)))
	for i, line := range []string{
		`2031-01-02 vehicle van-1 van meter odometer component motor engine fluid oil capacity 6L`,
		`2031-01-02 vehicle van-2 van meter odometer component motor engine fluid oil capacity 6L`,
		`2031-01-03 sample van-2 motor number 1 age 9000 Fe 300`,
		`2031-01-04 sample van-2 motor number 2 age 9000 Fe 300`,
	} {
		p.Apply(short(t, fmt.Sprint("e-", i), line))
	}
	if p.ActiveAlarms()["warning"]+p.ActiveAlarms()["caution"] != 1 {
		t.Fatal("the sample raises nothing:", p.ActiveAlarms())
	}
	again := short(t, "e-9", `2031-01-05 vehicle van-2 van meter odometer component motor engine fluid oil capacity 6L`)
	again.Data.(*event.VehicleData).Was = []string{"van-1"}
	p.Apply(again)
	sameCounts(t, "after the rename", p)
}

// TestRenamedOut: a vehicle that somebody took out of service under its new name, before the
// register said whose name that is, stays out until the answer is taken back.
func TestRenamedOut(t *testing.T) {
	p := engine.NewPartition()
	p.Rename = intake.Renamed
	p.Apply(bookEvent(orderBook(t)))
	again := short(t, "e-3", `2031-01-05 vehicle van-2 van meter odometer component motor engine fluid oil capacity 6L`)
	again.Data.(*event.VehicleData).Was = []string{"van-1"}
	out := func() bool { return p.Would("van-1", nil).Out }
	for _, c := range []struct {
		ev   event.Event
		want bool
	}{
		{short(t, "e-1", `2031-01-02 vehicle van-1 van meter odometer component motor engine fluid oil capacity 6L`), false},
		{short(t, "e-2", `2031-01-04 answer van-2 "out of service" by ines`), false},
		{again, true},
		{short(t, "e-4", `2031-01-06 void van-2 e-2`), false},
	} {
		p.Apply(c.ev)
		if got := out(); got != c.want {
			t.Errorf("after %s: out %v, want %v", c.ev.ID.ID, got, c.want)
		}
	}
}
