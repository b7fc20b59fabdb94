package notify

import (
	"strings"
	"testing"

	"telltale/engine/alarm"
	"telltale/notify/people"
	"telltale/notify/wording"
)

func TestTitle(t *testing.T) {
	us := &people.Person{Spelling: 1}
	for title, want := range map[string]string{"Inspect brakes, steering and tyres": "Inspect brakes, steering and tires", "Our tyres": "Our tyres", "": "brake inspection"} {
		if got := wording.Title(us, "brake inspection", title); got != want {
			t.Errorf("%q: %q, want %q", title, got, want)
		}
	}
}

// American readers read tires and gasoline in our words, and their own words as they
// wrote them, whatever they are called.
func TestSpelledLetter(t *testing.T) {
	d, err := people.Parse("people.yaml", []byte(`{people: {gus: {mail: gus@example.org, spelling: en-US}, ines: {mail: ines@example.org}},
tell: {all: {who: [gus, ines]}}}`))
	if err != nil {
		t.Fatal(err)
	}
	reg := func(id string) people.Vehicle { return people.Vehicle{ID: id, Name: "Tyre van"} }
	due := alarm.Transition{Time: at("2031-02-19T09:30:00Z"), Vehicle: "tyre-van", Rule: "brake inspection", Title: "Inspect brakes, steering and tyres",
		Task: true, Transition: "raised", From: "normal", To: "due", Standing: "unacknowledged", Cautions: []string{"used fluid", "fuel and ignition"},
		Due: &alarm.DuePoint{On: "2031-02-19", Limit: "time", Date: "2031-02-19"}}
	own := due
	own.Rule, own.Title = "winter wheels", "Tyres: the grey set"
	dirt := alarm.Transition{Time: at("2031-02-19T09:30:00Z"), Vehicle: "tyre-van", Component: "engine", Rule: "dirt in the engine oil",
		Transition: "raised", From: "normal", To: "caution", Standing: "unacknowledged", Message: "Tyre van: silicon 50 and aluminium 17 mg/kg are high together, as road dust makes them",
		PointsTo: []string{"aluminium housing"}}
	for who, want := range map[string][]string{
		"gus":  {"Look: Tyre van engine, dirt", "Tyre van: silicon 50 and aluminum 17 mg/kg", "aluminum housing", "steering and tires", "Tyres: the grey set", "labeled can", "vapor explodes", "Due today, Feb 19, 2031"},
		"ines": {"aluminium 17 mg/kg", "aluminium housing", "steering and tyres", "Tyres: the grey set", "labelled can", "vapour explodes", "Due today, 19 Feb 2031"},
	} {
		found := false
		for _, m := range Tell(d, reg, cause("x"), outputs(due, own, dirt)) {
			if m.Person != who {
				continue
			}
			found = true
			text := m.Subject + " " + strings.Join(strings.Fields(m.Text), " ")
			for _, w := range want {
				if !strings.Contains(text, w) {
					t.Errorf("%s: %q is not in\n%s", who, w, text)
				}
			}
		}
		if !found {
			t.Errorf("nothing to %s", who)
		}
	}
}
