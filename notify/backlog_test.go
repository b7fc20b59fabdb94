package notify

import (
	"encoding/json"
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/notify/delivery"
	"telltale/notify/people"
)

const backlogPeople = `people:
  ines: {name: Ines, mail: ines@larkfell.example, zone: Europe/London, quiet: "21:00 to 07:00"}
  north: {name: North workshop, mail: north@larkfell.example}
  program: {file: told}
tell:
  all: {who: [ines], remind after: 2 days}
  bad: {who: [north, program], stages: [due, overdue, caution, warning]}
`

// late is a task's transition that old work brought about.
func late(vehicle string, what alarm.Change, from, to alarm.Stage) engine.Output {
	t := alarm.Transition{Vehicle: vehicle, Rule: "engine oil", Title: "Engine oil", Task: true, Transition: what, From: from, To: to,
		Standing: alarm.Unacknowledged, Message: "Engine oil: " + string(to), Backlog: alarm.OldWork}
	if to == alarm.Normal {
		t.Standing = alarm.Returned
	}
	return engine.Output{Transition: &t}
}

// now is the same as news of the moment.
func now(o engine.Output) engine.Output {
	o.Transition.Backlog = 0
	return o
}

func byRules(all ...engine.Output) []engine.Output {
	for _, o := range all {
		o.Transition.Backlog = alarm.NewRules
	}
	return all
}

func out(all ...engine.Output) []engine.Output { return all }

func TestBacklog(t *testing.T) {
	raised := func(v string) engine.Output { return late(v, alarm.Raised, alarm.Normal, alarm.Due) }
	worse := func(v string) engine.Output { return late(v, alarm.Worsened, alarm.Due, alarm.Overdue) }
	for name, c := range map[string]struct {
		steps []step
		want  []string
	}{
		"told once, when nothing more came between two ticks": {[]step{
			{"2031-02-19T12:00:00Z", out(raised("bus-07"))}, {at: "2031-02-19T12:15:00Z"},
			{"2031-02-19T12:16:00Z", out(raised("library"))}, {at: "2031-02-19T12:30:00Z"}, {at: "2031-02-19T12:45:00Z"}, {at: "2031-02-19T13:00:00Z"}},
			[]string{"02-19 12:45 ines: Due: Bus 7, Engine oil, and 1 more on 2 vehicles", "02-19 12:45 north: Due: Bus 7, Engine oil, and 1 more on 2 vehicles", "02-19 12:45 program: 2 due on 2 vehicles"}},
		"one that goes on for long is told on the way": {[]step{
			{"2031-02-19T12:00:00Z", out(raised("bus-07"))}, {at: "2031-02-19T12:15:00Z"}, {"2031-02-19T13:00:00Z", out(raised("library"))}, {at: "2031-02-19T13:15:00Z"},
			{"2031-02-19T13:50:00Z", out(raised("gritter-1"))}, {at: "2031-02-19T14:00:00Z"}, {"2031-02-19T14:10:00Z", out(raised("bus-08"))}, {at: "2031-02-19T14:15:00Z"}, {at: "2031-02-19T14:30:00Z"}},
			[]string{"02-19 14:00 ines: Due: Bus 7, Engine oil, and 2 more on 3 vehicles", "02-19 14:00 north: Due: Bus 7, Engine oil, and 2 more on 3 vehicles", "02-19 14:00 program: 3 due on 3 vehicles",
				"02-19 14:30 ines: Due: bus-08, Engine oil", "02-19 14:30 north: Due: bus-08, Engine oil", "02-19 14:30 program: 1 due on 1 vehicle"}},
		"from what it was to what it is, and nothing of what ended": {[]step{
			{"2031-02-19T12:00:00Z", out(raised("bus-07"))}, {"2031-02-19T12:01:00Z", out(worse("bus-07"))},
			{"2031-02-19T12:02:00Z", out(raised("library"))}, {"2031-02-19T12:03:00Z", out(late("library", alarm.Cleared, alarm.Due, alarm.Normal))},
			{at: "2031-02-19T12:15:00Z"}, {at: "2031-02-19T12:30:00Z"}},
			[]string{"02-19 12:30 ines: Overdue: Bus 7, Engine oil", "02-19 12:30 north: Overdue: Bus 7, Engine oil", "02-19 12:30 program: 1 overdue on 1 vehicle"}},
		"news of the moment are told at once, and not again": {[]step{
			{"2031-02-19T12:00:00Z", out(raised("bus-07"))}, {"2031-02-19T12:01:00Z", out(now(worse("bus-07")))}, {at: "2031-02-19T12:15:00Z"}, {at: "2031-02-19T12:30:00Z"}},
			[]string{"02-19 12:01 ines: Overdue: Bus 7, Engine oil", "02-19 12:01 north: Overdue: Bus 7, Engine oil", "02-19 12:01 program: Overdue: Bus 7, Engine oil"}},
		"who never heard of it need not hear that it is done": {[]step{
			{"2031-02-19T12:00:00Z", out(raised("bus-07"))}, {"2031-02-19T12:01:00Z", out(now(late("bus-07", alarm.Cleared, alarm.Due, alarm.Normal)))}, {at: "2031-02-19T13:15:00Z"}},
			nil},
		"what new rules find wrong is told at once, what they make due is not": {[]step{
			{"2031-02-19T12:00:00Z", append(byRules(late("bus-07", alarm.Raised, alarm.Normal, alarm.Due)), byRules(outputs(copperRaised())...)...)}, {at: "2031-02-19T12:15:00Z"}, {at: "2031-02-19T12:30:00Z"}},
			[]string{"02-19 12:00 ines: Look: Bus 7 transmission, copper over baseline", "02-19 12:00 north: Look: Bus 7 transmission, copper over baseline",
				"02-19 12:00 program: Look: Bus 7 transmission, copper over baseline",
				"02-19 12:30 ines: Due: Bus 7, Engine oil", "02-19 12:30 north: Due: Bus 7, Engine oil", "02-19 12:30 program: 1 due on 1 vehicle"}},
		"who sleeps hears of it in the morning, with what came since": {[]step{
			{"2031-02-19T22:00:00Z", out(raised("bus-07"))}, {at: "2031-02-19T22:15:00Z"}, {at: "2031-02-19T22:30:00Z"},
			{"2031-02-20T06:00:00Z", out(raised("library"))}, {at: "2031-02-20T06:15:00Z"}, {at: "2031-02-20T06:30:00Z"}, {at: "2031-02-20T07:00:00Z"}},
			[]string{"02-19 22:30 north: Due: Bus 7, Engine oil", "02-19 22:30 program: 1 due on 1 vehicle", "02-20 06:30 north: Due: Mobile library, Engine oil",
				"02-20 06:30 program: 1 due on 1 vehicle", "02-20 07:00 ines: Due: Bus 7, Engine oil, and 1 more on 2 vehicles"}},
		"what it told of is asked about again": {[]step{
			{"2031-02-19T12:00:00Z", out(raised("bus-07"))}, {at: "2031-02-19T12:15:00Z"}, {at: "2031-02-19T12:30:00Z"}, {at: "2031-02-21T13:00:00Z"}},
			[]string{"02-19 12:30 ines: Due: Bus 7, Engine oil", "02-19 12:30 north: Due: Bus 7, Engine oil", "02-19 12:30 program: 1 due on 1 vehicle", "02-21 13:00 ines: Due: Bus 7, Engine oil"}},
	} {
		for _, restarts := range []bool{false, true} {
			if got, _ := play(t, backlogPeople, restarts, c.steps); !reflect.DeepEqual(got, c.want) {
				t.Errorf("%s (restarts %v): got\n%s\nwant\n%s", name, restarts, strings.Join(got, "\n"), strings.Join(c.want, "\n"))
			}
		}
	}
}

// A reminder counts the days up to its own date.
func TestReminderCountsDays(t *testing.T) {
	o := now(late("bus-07", alarm.Worsened, alarm.Due, alarm.Overdue))
	o.Transition.Due = &alarm.DuePoint{On: "2031-02-19", Limit: "time", Date: "2031-02-18"}
	_, all := play(t, backlogPeople, false, []step{{"2031-02-19T12:00:00Z", out(o)}, {at: "2031-02-20T12:00:00Z"}, {at: "2031-02-21T13:00:00Z"}})
	var says []string
	for _, d := range all {
		if d.Person == "ines" {
			says = append(says, regexp.MustCompile(`\d+ days? ago`).FindString(string(d.Raw)))
		}
	}
	if want := []string{"1 day ago", "3 days ago"}; !slices.Equal(says, want) {
		t.Errorf("the mails say %q, want %q", says, want)
	}
}

// A program gets every alarm that moved, once, in few messages; what is more than is kept
// is counted. It fits into the checkpoint.
func TestBacklogForPrograms(t *testing.T) {
	var steps []step
	for i := range maxWaiting + 7 {
		v := fmt.Sprintf("van-%04d", i)
		steps = append(steps, step{"2031-02-19T12:00:00Z", out(late(v, alarm.Raised, alarm.Normal, alarm.Due))})
	}
	steps = append(steps, step{at: "2031-02-19T12:15:00Z"}, step{at: "2031-02-19T12:30:00Z"})
	_, all := play(t, backlogPeople, false, steps)
	vehicles := map[string]int{}
	var parts []int
	for _, d := range all {
		var ev struct {
			Type string
			Data struct {
				Part, Parts, More int
				Transitions       []alarm.Transition
			}
		}
		if d.Person != "program" {
			if d.Subject != "Due: van-0000, Engine oil, and 4,006 more" || !strings.Contains(string(d.Raw), "And 3,987 more") {
				t.Errorf("%s: %s\n%s", d.Person, d.Subject, d.Raw[max(0, len(d.Raw)-1500):])
			}
			continue
		}
		if err := json.Unmarshal(d.Raw, &ev); err != nil || ev.Type != "telltale.summary.v1" || ev.Data.Parts != 8 || ev.Data.More != 7 {
			t.Fatalf("%v, %s, %d parts, %d more", err, ev.Type, ev.Data.Parts, ev.Data.More)
		}
		parts = append(parts, ev.Data.Part)
		for _, tr := range ev.Data.Transitions {
			vehicles[tr.Vehicle]++
			if tr.Backlog != alarm.OldWork || tr.From != alarm.Normal || tr.To != alarm.Due {
				t.Errorf("%+v", tr)
			}
		}
	}
	slices.Sort(parts)
	if len(vehicles) != maxWaiting || !slices.Equal(parts, []int{1, 2, 3, 4, 5, 6, 7, 8}) {
		t.Errorf("%d vehicles in the parts %v", len(vehicles), parts)
	}
}

// What waits fits into the checkpoint, whoever hears of it.
func TestBacklogPacked(t *testing.T) {
	d, err := people.Parse("people.yaml", []byte(backlogPeople))
	if err != nil {
		t.Fatal(err)
	}
	k, p := newMark(), readerOf(d.Person("ines"))
	for i := range maxWaiting {
		c := copperRaised()
		c.Backlog, c.Vehicle, c.Message = alarm.OldSample, fmt.Sprintf("van-%04d", i), fmt.Sprintf("Copper %d mg/kg is %d times the baseline", i, i%7)
		for _, way := range []string{"mail", "webhook", "nats"} {
			k.await(telling{p: p, way: way, mine: byAll(outputs(c))}, cause(fmt.Sprint(i)), nil)
		}
	}
	body, _ := json.Marshal(k)
	if packed := delivery.Pack(body); len(packed) > 512<<10 {
		t.Errorf("%d bytes, of %d", len(packed), len(body))
	} else {
		t.Logf("%d bytes, of %d", len(packed), len(body))
	}
}
