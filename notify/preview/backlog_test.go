package preview

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine/intake"
	"telltale/engine/replay"
	"telltale/notify"
	"telltale/notify/people"
	"telltale/rules"
)

// The rules of a workshop: work with checks before release and some hundred kilometres
// after, and what the law asks for.
const workshopRules = `book: 1
units: {distance: km, volume: L}
tasks:
  engine oil:
    every: {distance: 15000 km, time: 12 months}
    early: {distance: 1000 km, time: 30 days}
    tolerance: 10%
    cautions: [hot fluid]
    follow up:
      no leak before release: {within: {time: 1 days}}
      leak check: {after: {distance: 500 km}, early: {distance: 100 km}, tolerance: 50%}
  brakes:
    every: {distance: 60000 km, time: 36 months}
    cautions: [raised vehicle]
    follow up:
      pedal firm before release: {within: {time: 1 days}}
  coolant hoses:
    every: {distance: 60000 km, time: 48 months}
    unknown history: from first reading
    cautions: [pressurised coolant]
  roadworthiness:
    every: {time: 12 months}
    statutory: yes
    unknown history: from in-service date
    cautions: none
`

const workshopPeople = `people:
  workshop: {name: The workshop, mail: workshop@larkfell.example}
  keeper: {name: The keeper, mail: keeper@larkfell.example}
  program: {file: told}
tell:
  all: {who: [workshop, program], stages: [due, overdue, advisory, caution, warning]}
  theirs: {who: [keeper], stages: [overdue], where: vehicle.kind == "van"}
`

// told runs a file of events by the workshop's rules and people; it gives the messages and
// their subjects.
func told(t *testing.T, register, events string, until time.Time) (all []Told, subjects []string) {
	t.Helper()
	book, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte(workshopRules)}})
	if err != nil {
		t.Fatal(err)
	}
	dir, err := people.Parse("people.yaml", []byte(workshopPeople))
	if err != nil {
		t.Fatal(err)
	}
	vehicles, err := intake.Register("vehicles.yaml", []byte(register), time.Unix(0, 0).UTC())
	if err != nil {
		t.Fatal(err)
	}
	all, err = Run(t.Context(), strings.NewReader(events), Config{
		File: replay.File{Register: vehicles, Until: until}, Book: book, People: dir,
		Compose: func(m notify.Message) (string, []byte, error) { return "<" + m.Key + ">", []byte(m.Text), nil },
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range all {
		subjects = append(subjects, m.Time.Format("01-02 15:04 ")+m.Person+" "+m.Way+": "+m.Subject)
	}
	return all, subjects
}

func workshopRegister(vehicles int) string {
	var b strings.Builder
	b.WriteString("vehicles:\n")
	for v := range vehicles {
		fmt.Fprintf(&b, "  v-%02d: {name: Vehicle %d, kind: %s, in service: 2027-%02d-01, meters: {odometer: distance}}\n", v, v, []string{"car", "van"}[v%2], 1+v%12)
	}
	return b.String()
}

// A workshop registers 40 vehicles and types in its year of 120 jobs on a day. Each is told
// once what that comes to, and nobody is asked for a check of last spring. Told one by one
// this was 83 mails, and 228 messages to the program.
func TestFirstImport(t *testing.T) {
	const vehicles = 40
	var b strings.Builder
	entered := time.Date(2031, 11, 3, 9, 0, 0, 0, time.UTC)
	for i := range 3 * vehicles {
		v, round := i%vehicles, i/vehicles
		done := time.Date(2030, 4, 20, 15, 0, 0, 0, time.UTC).AddDate(0, 0, 5*v+round*120)
		km := 40000 + 900*v + round*(2000+100*v)
		task := []string{"engine oil", "brakes", "roadworthiness"}[(round+v)%3]
		fmt.Fprintf(&b, `{"specversion":"1.0","type":"telltale.service.v1","source":"/papers","id":"j-%d","subject":"v-%02d","time":%q,"recordedtime":%q,"data":{"tasks":[%q],"meters":{"odometer":{"value":%d,"unit":"km"}}}}`+"\n",
			i, v, done.Format(time.RFC3339), entered.Add(time.Duration(i)*2*time.Minute).Format(time.RFC3339), task, km)
	}
	all, subjects := told(t, workshopRegister(vehicles), b.String(), time.Date(2031, 11, 5, 0, 0, 0, 0, time.UTC))
	want := `11-04 00:00 keeper mail: Overdue: Vehicle 1, Roadworthiness, and 14 more on 14 vehicles
11-04 00:00 program file: 32 overdue, 5 due on 32 vehicles
11-04 00:00 workshop mail: Overdue: Vehicle 1, Roadworthiness, and 36 more`
	if got := strings.Join(subjects, "\n"); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	for _, m := range all {
		if strings.Contains(string(m.Raw), "eak check") || strings.Contains(string(m.Raw), "release") {
			t.Errorf("checks of last year are asked for:\n%s", m.Raw)
		}
	}
}

// Thirty days of readings that the gateways of 60 vehicles kept come in on a day, of
// vehicles that have been read by hand since the spring. Told one by one this was 23 mails,
// and 92 messages to the program, of which 60 said falsely that nothing was read.
func TestBacklogOfReadings(t *testing.T) {
	const vehicles = 60
	var b strings.Builder
	n := 0
	event := func(kind string, v int, at, came time.Time, data string) {
		n++
		fmt.Fprintf(&b, `{"specversion":"1.0","type":"telltale.%s.v1","source":"/s","id":"e-%d","subject":"v-%02d","time":%q,"recordedtime":%q,"data":%s}`+"\n",
			kind, n, v, at.Format(time.RFC3339), came.Format(time.RFC3339), data)
	}
	reading := func(km int) string { return fmt.Sprintf(`{"meter":"odometer","value":%d,"unit":"km"}`, km) }
	for month := range 6 {
		for v := range vehicles {
			at := time.Date(2031, time.Month(3+month), 1, 8, 0, 0, 0, time.UTC)
			if month == 0 {
				for _, tasks := range []string{`"engine oil","brakes"`, `"no leak before release","pedal firm before release","leak check"`} {
					at = at.Add(time.Minute)
					event("service", v, at, at, fmt.Sprintf(`{"tasks":[%s],"meters":{"odometer":{"value":%d,"unit":"km"}}}`, tasks, 30000-100*v))
				}
			}
			at = at.Add(time.Hour)
			event("reading", v, at, at, reading(30000-100*v+month*2200))
		}
	}
	came := time.Date(2031, 9, 5, 9, 0, 0, 0, time.UTC)
	for d := range 30 {
		for v := range vehicles {
			event("reading", v, came.AddDate(0, 0, d-31), came.Add(time.Duration(d*vehicles+v)*time.Second), reading(41500-100*v+d*(60+2*v)))
		}
	}
	_, subjects := told(t, workshopRegister(vehicles), b.String(), time.Date(2031, 9, 10, 0, 0, 0, 0, time.UTC))
	subjects = slices.DeleteFunc(subjects, func(s string) bool { return s < "09-02" })
	if got, want := strings.Join(subjects, "\n"), `09-06 00:00 keeper mail: Overdue: Vehicle 57, Engine oil, and 1 more on 2 vehicles
09-06 00:00 program file: 3 overdue, 26 due on 29 vehicles
09-06 00:00 workshop mail: Overdue: Vehicle 57, Engine oil, and 28 more`; got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// The owner of a van of some years registers it and types in eight receipts over an hour:
// one mail says what is overdue by them. Told one by one it was five.
func TestEightReceipts(t *testing.T) {
	var b strings.Builder
	for i, r := range []struct {
		done, task string
		km         int
	}{
		{"2028-06-02", "engine oil", 21000}, {"2028-06-02", "brakes", 21000}, {"2028-11-30", "roadworthiness", 27000}, {"2029-05-12", "engine oil", 35000},
		{"2029-12-01", "roadworthiness", 44000}, {"2030-03-03", "engine oil", 49000}, {"2030-12-02", "roadworthiness", 58000}, {"2031-01-15", "brakes", 60000},
	} {
		fmt.Fprintf(&b, `{"specversion":"1.0","type":"telltale.service.v1","source":"/papers","id":"j-%d","subject":"v-01","time":"%sT12:00:00Z","recordedtime":"2032-02-07T10:%02d:00Z","data":{"tasks":[%q],"meters":{"odometer":{"value":%d,"unit":"km"}}}}`+"\n",
			i, r.done, 7*i, r.task, r.km)
	}
	all, subjects := told(t, strings.Replace(workshopRegister(2), "  v-00:", "  # v-00:", 1), b.String(), time.Date(2032, 2, 9, 0, 0, 0, 0, time.UTC))
	subjects = slices.DeleteFunc(subjects, func(s string) bool { return !strings.Contains(s, "workshop") })
	if got, want := strings.Join(subjects, "\n"), `02-08 00:00 workshop mail: Overdue: Vehicle 1, Roadworthiness, and 1 more`; got != want {
		t.Fatalf("got\n%s\nwant\n%s", got, want)
	}
	for _, m := range all {
		if m.Person == "workshop" && (strings.Contains(string(m.Raw), "before release") || !strings.Contains(string(m.Raw), "Engine oil")) {
			t.Errorf("got\n%s", m.Raw)
		}
	}
}
