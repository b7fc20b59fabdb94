package notify

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/notify/people"
)

// bigPart has 500 vehicles with something on each, of every stage.
func bigPart() engine.TurnPart {
	part := engine.TurnPart{Digest: "p", Date: "2031-02-03", Now: at("2031-02-03T06:00:00Z"), Vehicles: 500}
	stages := []alarm.Stage{"soon", "due", "overdue"}
	for i := range 500 {
		id := fmt.Sprintf("van-%03d", i)
		part.Items = append(part.Items, due.Item{Vehicle: id, Name: "Van " + id, Task: "engine oil", Title: "Sample, then change engine oil and filter", Component: "engine",
			Stage: stages[i%3], Limit: "time", DueDate: "2031-01-22", LastDone: "2030-01-22", Cautions: []string{"hot fluid"}})
		if i%10 == 0 {
			c := copperRaised()
			c.Vehicle = id
			if i%100 == 0 {
				c.To = "warning"
			}
			part.Alarms = append(part.Alarms, alarm.Listed{Name: "Van " + id, Since: at("2031-02-01T06:00:00Z"), Transition: c})
		}
	}
	return part
}

// The list of a large fleet is short enough for web mailers, with links to answer as
// well; what it leaves out is the least severe, and it says how much that is.
func TestListOfManyVehicles(t *testing.T) {
	shown := regexp.MustCompile(`(?m)^(\[ \]|-) `)
	for form, rest := range map[string]string{"workshop": "And %d more: telltale due", "owner": "And %d more: telltale due", "operator": ""} {
		d, err := people.Parse("people.yaml", []byte(`{people: {p: {mail: p@example.org, digest: "0 7 * * *", list: `+form+`}}, tell: {all: {who: [p], when: digest}}}`))
		if err != nil {
			t.Fatal(err)
		}
		reg := func(id string) people.Vehicle { return people.Vehicle{ID: id, Name: "Van " + id} }
		link := func(string, *alarm.Transition) string {
			return "https://fleet.example.org/a/" + strings.Repeat("x", 180)
		}
		m, _, ok := Digest(d, reg, d.Person("p"), Listing{Parts: []engine.TurnPart{bigPart()}, Of: 1, Answer: link})
		if !ok || len(m.HTML) > 90_000 || rest != "" && len(m.HTML) < 85_000 {
			t.Fatalf("%s: %t, %d bytes", form, ok, len(m.HTML))
		}
		for _, want := range []string{"Van van-000", "Van van-400"} { // all that says stop
			if !strings.Contains(m.Text, want) {
				t.Errorf("%s: %q is not in it", form, want)
			}
		}
		if rest == "" {
			continue
		}
		// 500 tasks and 50 alarms, of which the list shows some.
		n := len(shown.FindAllString(m.Text, -1))
		if want := strings.Replace(rest, "%d", strconv.Itoa(550-n), 1); !strings.Contains(m.Text, want) || !strings.Contains(m.HTML, want) {
			t.Errorf("%s: it shows %d, and does not say %q:\n%s", form, n, want, m.Text[max(0, len(m.Text)-1500):])
		}
		if form == "workshop" && strings.Contains(m.Text, "\nSoon\n") {
			t.Errorf("what is due soon is shown, and what is overdue is not:\n%s", m.Text)
		}
	}
}
