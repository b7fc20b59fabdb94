package notify

import (
	"regexp"
	"strings"
	"testing"

	"telltale/engine"
	"telltale/engine/cases"
	"telltale/notify/people"
	"telltale/rules/chapters"
)

// program is what only a rule would say, and no mail: calls, operators, names with dots.
var program = regexp.MustCompile(`&&|\|\|| == | != |>=|<=|\$\{| \* |\bmax\(|\bmin\(|\b[a-z]\w*\("|\b(component|vehicle)\.[a-z]|\bcontains "|\? \S+ : |\b(nil|true|false)\b`)

// All that the chapters say in their cases is told without a word of program text, in
// either spelling, and the American has no British word of ours.
func TestChaptersAreToldInWords(t *testing.T) {
	d, err := people.Parse("people.yaml", []byte(`{people: {gb: {mail: gb@example.org}, us: {mail: us@example.org, spelling: en-US, distance: mi}}, tell: {all: {who: [gb, us]}}}`))
	if err != nil {
		t.Fatal(err)
	}
	british := regexp.MustCompile(`(?i)\b(tyres?|aluminium|petrol|colours?|gr[e]y|centres?|litres?|metres?|vapour|sulphur|labelled|oxidised|pressurised|neutralises?)\b`)
	reg := func(id string) people.Vehicle { return people.Vehicle{ID: id, Name: "Bus 7"} }
	told := 0
	for _, c := range chapters.All() {
		book, err := c.Book(c.File())
		if err != nil {
			t.Fatal(err)
		}
		results, _ := cases.Run(book, nil)
		for i := range results {
			for _, tr := range results[i].Got {
				for _, m := range Tell(d, reg, cause("x"), []engine.Output{{Transition: tr}}) {
					told++
					text := m.Subject + "\n" + m.Text
					if strings.Contains(text, "that it is") {
						t.Errorf("%s, %s: a piece of a source is in\n%s", c.Name, results[i].Case.Name, text)
					}
					if found := program.FindString(text); found != "" {
						t.Errorf("%s, %s: %q is in\n%s", c.Name, results[i].Case.Name, found, text)
					}
					if found := british.FindString(text); found != "" && m.Person == "us" {
						t.Errorf("%s, %s: %q is in\n%s", c.Name, results[i].Case.Name, found, text)
					}
				}
			}
		}
	}
	if told < 300 {
		t.Errorf("only %d messages", told)
	}
}
