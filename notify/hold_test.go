package notify

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/notify/delivery"
	"telltale/notify/people"
)

// keptSmall has a driver with quiet hours, who is reminded, and a stand-in.
const keptSmall = `people:
  ines: {name: Ines, mail: ines@larkfell.example, zone: Europe/London, quiet: "21:00 to 07:00"}
  north: {name: North workshop, mail: north@larkfell.example}
  tove: {name: Tove, mail: tove@larkfell.example}
tell:
  all: {who: [ines], remind after: 2 days, stand-in: [tove], stand-in after: 5 days}
  law: {who: [north], where: statutory}
`

// day is one step of a story: news, or a tick.
type step struct {
	at  string
	out []engine.Output // nil: a tick
}

// play hands a story to a new notifier and gives "time person: subject" of each
// message; before every step the notifier is made anew from its checkpoint, if
// restarts is set.
func play(t *testing.T, file string, restarts bool, steps []step) (told []string, all []delivery.Delivery) {
	t.Helper()
	d, err := people.Parse("people.yaml", []byte(file))
	if err != nil {
		t.Fatal(err)
	}
	m := &delivery.Memory{}
	n, _ := newNotifier(t, m, 1)
	n.SetDirectory(d)
	for i, s := range steps {
		if restarts {
			if err := n.Flush(t.Context(), uint64(i)); err != nil {
				t.Fatal(err)
			}
			n, _ = newNotifier(t, m, 1)
			n.SetDirectory(d)
		}
		if s.out == nil {
			err = n.Tick(t.Context(), at(s.at))
		} else {
			for j := range s.out {
				s.out[j].Transition.Time = at(s.at)
			}
			err = n.Handle(t.Context(), uint64(i+1), Cause{Key: fmt.Sprint("c-", i), Time: at(s.at)}, s.out)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	all, err = delivery.All(t.Context(), m)
	if err != nil {
		t.Fatal(err)
	}
	slices.SortStableFunc(all, func(a, b delivery.Delivery) int { return a.Time.Compare(b.Time) })
	for _, d := range all {
		told = append(told, d.Time.Format("01-02 15:04 ")+d.Person+": "+d.Subject)
	}
	return told, all
}

func changed(t alarm.Transition, what alarm.Change, from, to alarm.Stage, standing alarm.Standing) []engine.Output {
	t.Transition, t.From, t.To, t.Standing = what, from, to, standing
	return outputs(t)
}

func TestKeptSmall(t *testing.T) {
	copper, coolant := copperRaised(), coolantRaised()
	law := taskOverdue()
	law.Statutory = true
	const onCopper, onCoolant = "Look: Bus 7 transmission, copper over baseline", "Stop: Bus 7 transmission, coolant in the fluid"
	for name, c := range map[string]struct {
		steps []step
		want  []string
	}{
		"quiet hours hold a caution until they end": {[]step{{"2031-02-19T22:00:00Z", outputs(copper)}, {at: "2031-02-20T06:45:00Z"}, {at: "2031-02-20T07:00:00Z"}, {at: "2031-02-20T07:15:00Z"}},
			[]string{"02-20 07:00 ines: " + onCopper}},
		"a warning and the law pass them": {[]step{{"2031-02-19T22:00:00Z", outputs(coolant)}, {"2031-02-19T23:00:00Z", outputs(law)}, {at: "2031-02-19T23:15:00Z"}},
			[]string{"02-19 22:00 ines: " + onCoolant, "02-19 23:00 ines: Overdue: Bus 7, Roadworthiness inspection", "02-19 23:00 north: Overdue: Bus 7, Roadworthiness inspection"}},
		"what is over before the morning is not told": {[]step{{"2031-02-19T22:00:00Z", outputs(copper)},
			{"2031-02-20T05:00:00Z", changed(copper, "withdrawn", "caution", "normal", "normal")}, {at: "2031-02-20T07:00:00Z"}}, nil},
		"what was told is corrected once": {[]step{{"2031-02-19T12:00:00Z", outputs(copper)},
			{"2031-02-20T12:00:00Z", changed(copper, "withdrawn", "caution", "normal", "normal")}, {at: "2031-02-28T12:00:00Z"}},
			[]string{"02-19 12:00 ines: " + onCopper, "02-20 12:00 ines: Withdrawn: Bus 7 transmission, copper over baseline"}},
		"reminded three times, by day, and the stand-in once": {[]step{{"2031-02-19T20:00:00Z", outputs(copper)}, {at: "2031-02-21T06:00:00Z"},
			{at: "2031-02-21T22:00:00Z"}, {at: "2031-02-22T07:00:00Z"}, {at: "2031-02-23T20:00:00Z"}, {at: "2031-02-25T20:00:00Z"}, {at: "2031-03-09T12:00:00Z"}},
			[]string{"02-19 20:00 ines: " + onCopper, "02-21 22:00 ines: " + onCopper, "02-23 20:00 ines: " + onCopper,
				"02-25 20:00 ines: " + onCopper, "02-25 20:00 tove: " + onCopper}},
		"nobody is reminded of what was acknowledged": {[]step{{"2031-02-19T12:00:00Z", outputs(copper)},
			{"2031-02-20T12:00:00Z", changed(copper, "acknowledged", "caution", "caution", "acknowledged")}, {at: "2031-02-28T12:00:00Z"}},
			[]string{"02-19 12:00 ines: " + onCopper}},
		"a shelf that is over is told": {[]step{{"2031-02-19T12:00:00Z", outputs(copper)},
			{"2031-02-20T12:00:00Z", changed(copper, "shelved", "caution", "caution", "shelved")}, {at: "2031-02-28T12:00:00Z"},
			{"2031-03-01T12:00:00Z", changed(copper, "unshelved", "caution", "caution", "unacknowledged")}},
			[]string{"02-19 12:00 ines: " + onCopper, "03-01 12:00 ines: " + onCopper}},
	} {
		for _, restarts := range []bool{false, true} {
			if got, _ := play(t, keptSmall, restarts, c.steps); !reflect.DeepEqual(got, c.want) {
				t.Errorf("%s (restarts %v): got\n%s\nwant\n%s", name, restarts, strings.Join(got, "\n"), strings.Join(c.want, "\n"))
			}
		}
	}
}

// A flood is ten messages and one summary with the worst first.
func TestFlood(t *testing.T) {
	var steps []step
	for i := range 300 {
		c := copperRaised()
		c.Vehicle = fmt.Sprintf("van-%03d", i)
		if i == 250 {
			c = coolantRaised()
			c.Vehicle = "van-250"
		}
		steps = append(steps, step{at("2031-02-19T12:00:00Z").Add(time.Duration(i) * time.Second).Format(time.RFC3339), outputs(c)})
	}
	steps = append(steps, step{at: "2031-02-19T12:15:00Z"}, step{at: "2031-02-19T12:30:00Z"})
	told, all := play(t, keptSmall, false, steps)
	if len(told) != 11 || !strings.HasSuffix(told[10], "ines: Stop: van-250 transmission, coolant in the fluid, and 289 more") {
		t.Fatalf("got %d messages\n%s", len(told), strings.Join(told, "\n"))
	}
	text := string(all[10].Raw)
	if stop, watch := strings.Index(text, "Stop these first"), strings.Index(text, "Look at these"); stop < 0 || watch < stop || !strings.Contains(text, "And 190 more") {
		t.Errorf("got\n%s", text)
	}
}

// What waits for many people fits into the checkpoint.
func TestCheckpointPacked(t *testing.T) {
	k := newMark()
	d, err := people.Parse("people.yaml", []byte(`people: {p: {mail: p@larkfell.example, quiet: "00:00 to 23:59"}}`))
	if err != nil {
		t.Fatal(err)
	}
	for i := range 40 {
		p := *d.Person("p")
		p.ID = fmt.Sprint("p", i)
		for j := range 200 {
			c := copperRaised()
			c.Rule = fmt.Sprint("rule ", j)
			k.mayGo(telling{p: readerOf(&p), way: "mail", mine: byAll(outputs(c))}, cause(fmt.Sprint(i, j)))
		}
	}
	body, _ := json.Marshal(k)
	packed := delivery.Pack(body)
	if len(packed) > 512<<10 {
		t.Fatalf("%d bytes, of %d", len(packed), len(body))
	}
	if again, err := delivery.Unpack(packed); err != nil || string(again) != string(body) {
		t.Errorf("not the same again: %v", err)
	}
}
