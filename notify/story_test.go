package notify

import (
	"flag"
	"os"
	"path/filepath"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/notify/people"
	"telltale/rules/word"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares got with testdata/name, or writes it there with -update.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs (write it anew with -update):\n%s", path, got)
	}
}

func directory(t *testing.T) *people.Directory {
	t.Helper()
	d, err := people.Load("people/testdata/people.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return d
}

var fleet = map[string]people.Vehicle{
	"bus-07": {ID: "bus-07", Name: "Bus 7", Kind: "minibus", Tags: map[string]string{"depot": "north"}, People: []string{"ines"},
		Components: []people.Component{{Name: "transmission", Kind: "automatic transmission", Fluid: "ATF"}}},
	"gritter-1": {ID: "gritter-1", Name: "Gritter 1", Kind: "gritter", Tags: map[string]string{"depot": "north"}},
	"library":   {ID: "library", Name: "Mobile library", Kind: "mobile library", Tags: map[string]string{"depot": "north"}, People: []string{"ines", "gone"}},
}

func register(id string) people.Vehicle {
	if v, ok := fleet[id]; ok {
		return v
	}
	return people.Vehicle{ID: id}
}

func at(s string) time.Time {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		panic(err)
	}
	return t
}

func ptr(v float64) *float64 { return &v }

func copperRaised() alarm.Transition {
	return alarm.Transition{
		Time: at("2031-02-19T09:30:00Z"), Vehicle: "bus-07", Component: "transmission", Rule: "copper over baseline",
		Transition: "raised", From: "normal", To: "caution", Standing: "unacknowledged", Measure: ptr(3.275),
		Message:  "Copper 131 mg/kg is 3.3 times the baseline",
		Evidence: []word.Evidence{{Of: `times("Cu")`, Value: 3.275, Note: "light bus transmission fluid, mean 40"}},
		PointsTo: []string{"bushings", "thrust washers", "cooler"},
		Advise:   "Sample again within 5,000 km; look for bronze in pan and filter.",
		Cautions: []string{"hot fluid", "raised vehicle"}, FollowUps: []string{"resample"}, PullsIn: []string{"transmission fluid"},
		Events:  []event.ID{{Source: "/laboratory", ID: "s-1"}},
		BasedOn: []string{"sample L-1042 drawn 2031-02-10"},
	}
}

func coolantRaised() alarm.Transition {
	return alarm.Transition{
		Time: at("2031-02-19T09:30:00Z"), Vehicle: "bus-07", Component: "transmission", Rule: "coolant in the fluid",
		Transition: "raised", From: "normal", To: "warning", Standing: "unacknowledged",
		Message: "Sodium and potassium have risen together; coolant is not ruled out",
		Evidence: []word.Evidence{{Of: `value("Na")`, Value: 38, Unit: "mg/kg"}, {Of: `value("K")`, Value: 27, Unit: "mg/kg"},
			{Of: `change("K")`, Value: 21, Unit: "mg/kg"}},
		PointsTo: []string{"cooler"},
		Advise:   "Check the coolant level, pressure-test the cooler, test for water and glycol.",
		Cautions: []string{"pressurised coolant", "hot fluid"},
		Events:   []event.ID{{Source: "/laboratory", ID: "s-1"}},
	}
}

func taskOverdue() alarm.Transition {
	return alarm.Transition{
		Time: at("2031-02-19T09:30:00Z"), Vehicle: "bus-07", Rule: "roadworthiness", Title: "Roadworthiness inspection",
		Transition: "worsened", From: "due", To: "overdue", Standing: "unacknowledged", Task: true, Statutory: true,
		Message: "Roadworthiness inspection: due 2031-02-01, passed by 18 days",
	}
}

func outputs(all ...alarm.Transition) []engine.Output {
	var out []engine.Output
	for i := range all {
		out = append(out, engine.Output{Transition: &all[i]})
	}
	return out
}

// winterList is two parts of the north workshop's list of 3 February.
func winterList() []engine.TurnPart {
	north := map[string]string{"depot": "north"}
	now := at("2031-02-03T06:00:00Z")
	fluid := []due.Need{{Fluid: "ATF", Volume: 4}, {Part: "filter and gasket kit"}}
	return []engine.TurnPart{{
		Digest: "north", Date: "2031-02-03", Now: now, Vehicles: 10,
		Items: []due.Item{
			{Vehicle: "bus-07", Name: "Bus 7", Tags: north, Component: "transmission", Task: "transmission fluid",
				Title: "Drain and refill the transmission, new filter", Stage: "due", Limit: "distance", Why: "45,000 km since the last",
				DueAt: ptr(90_000_000), PastBy: ptr(1_240_000), Unit: "m", Likely: "2031-01-20", LastDone: "2029-03-04",
				PulledIn: []alarm.PulledIn{{Rule: "copper over baseline", Component: "transmission", On: "2030-12-04", Within: "5,000 km"}},
				Needs:    fluid, Cautions: []string{"hot fluid", "raised vehicle", "used fluid"}},
			{Vehicle: "bus-03", Name: "Bus 3", Tags: north, Component: "transmission", Task: "transmission fluid",
				Title: "Drain and refill the transmission, new filter", Stage: "due", Limit: "no history", Why: "no history", Needs: fluid,
				Cautions: []string{"hot fluid", "raised vehicle", "used fluid"}},
			{Vehicle: "bus-09", Name: "Bus 9", Tags: north, Task: "roadworthiness", Title: "Roadworthiness inspection", Stage: "overdue",
				Limit: "time", Why: "passed", DueDate: "2031-01-22", LastDone: "2030-07-22", Statutory: true},
			{Vehicle: "library", Name: "Mobile library", Tags: north, Task: "roadworthiness", Title: "Roadworthiness inspection",
				Stage: "overdue", Limit: "time", DueDate: "2031-01-02"},
			{Vehicle: "bus-12", Name: "Bus 12", Tags: map[string]string{"depot": "south"}, Task: "engine oil", Title: "Engine oil and filter",
				Stage: "overdue", Limit: "time", DueDate: "2031-01-02"},
		},
		Alarms: []alarm.Listed{
			{Since: at("2031-01-30T10:00:00Z"), Name: "Bus 7", Tags: north, Transition: coolantRaised()},
		},
	}, {
		Digest: "north", Date: "2031-02-03", Now: now, Vehicles: 9,
		Items: []due.Item{
			{Vehicle: "gritter-1", Name: "Gritter 1", Tags: north, Component: "hydraulics", Task: "hydraulic oil", Title: "Hydraulic oil and return filter",
				Stage: "soon", Limit: "hours", DueAt: ptr(1250 * 3600), PastBy: ptr(-18 * 3600), Unit: "s",
				Early: "2031-02-09", Likely: "2031-02-12", Late: "2031-02-20", LastDone: "2030-11-02",
				Needs:    []due.Need{{Fluid: "hydraulic oil ISO VG 46", Volume: 22.5}, {Part: "return filter", Count: 2}},
				Cautions: []string{"hydraulic pressure"}},
			{Vehicle: "bus-02", Name: "Bus 2", Tags: north, Component: "transmission", Task: "leak check", Title: "Leak check after the drain",
				Stage: "soon", Limit: "distance", DueAt: ptr(61_500_000), PastBy: ptr(-120_000), Unit: "m", Likely: "2031-02-04", FollowUp: true,
				Cautions: []string{"raised vehicle"}},
			{Vehicle: "bus-02", Name: "Bus 2", Tags: north, Task: "brakes", Title: "Brake inspection", Stage: "normal", Limit: "time",
				DueDate: "2031-03-01", LastDone: "2030-09-01", Cautions: []string{"brake hydraulics"}},
			{Vehicle: "bus-05", Name: "Bus 5", Tags: north, Task: "cabin filter", Title: "Cabin filter", Stage: "due", Limit: "time",
				DueDate: "2031-02-03", Shelved: true},
		},
		Alarms: []alarm.Listed{
			{Since: at("2031-01-12T10:00:00Z"), Name: "Bus 4", Tags: north, Transition: alarm.Transition{Vehicle: "bus-04", Rule: "data: silent",
				Transition: "raised", From: "normal", To: "advisory", Standing: "acknowledged", Message: "no reading of the odometer for 22 days"}},
			{Since: at("2031-01-12T10:00:00Z"), Name: "Bus 4", Tags: north, Transition: alarm.Transition{Vehicle: "bus-04", Rule: "iron",
				Transition: "cleared", From: "caution", To: "normal", Standing: "returned"}},
		},
	}}
}
