package told_test

import (
	"fmt"
	"strings"
	"testing"

	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/told"
	"telltale/rules/unit"
)

const book = `book: 1
units: {distance: km, volume: L}
measures:
  tread: {unit: mm}
baselines:
  gearbox: {where: component.kind == "automatic transmission", fluid age: 45000 km, source: invented, mean: {Cu: 40}}
  gearboxes of the fleet: {from: fleet, where: component.kind == "automatic transmission", over: gearbox, group by: [component.fluid]}
tasks:
  gearbox fluid:
    title: Change the gearbox fluid
    where: component.kind == "automatic transmission"
    every: {distance: 60000 km, time: 36 months}
    early: {distance: 2000 km, time: 30 days}
    tolerance: 10%
    unknown history: from first reading
    needs: [{fluid: ATF, volume: 4 L}, {part: plug washer, count: 2}, {part: filter}]
    cautions: [hot fluid]
    follow up:
      leak check: {title: Look for leaks, after: {distance: 500 km}, lapses: {distance: 2000 km}}
    source: {every: invented, otherwise: nobody}
  annual test:
    every: {year: 1 November}
    statutory: yes
    cautions: none
  new tyres:
    every: {until: {tread: 3 mm}}
    cautions: [raised vehicle]
  reported defects:
    every: when reported
    cautions: none
rules:
  copper:
    on: sample
    where: component.kind == "automatic transmission"
    measure: times("Cu")
    above: {advisory: 2, caution: 3, warning: 'value("Fe") > 5 ? 5 : 6'}
    deadband: 10%
    confirm: {caution: 2}
    points to: [bushings, cooler]
    follow up: {resample: {title: Sample again, within: {distance: 5000 km, time: 90 days}, settled by: sample}}
    pull in: {gearbox fluid: {within: {distance: 1000 km}}}
    cautions: {warning: [hot fluid]}
    source: common practice, no source
  far past it:
    on: [reading, clock]
    raise: since("gearbox fluid") > 90000
    stage: caution
    masked: no
    cautions: none
  hot:
    on: sample
    where: component.kind == "automatic transmission"
    measure: value("flash")
    below: {caution: 180}
    deadband: 5 degC
    masked: {distance: 1500 km, hours: 50 h}
    cautions: none
  overrun:
    on: reading
    measure: since("gearbox fluid")
    above: {advisory: 80000}
    deadband: 500 km
    cautions: none
`

func load(t *testing.T) *rules.Book {
	t.Helper()
	b, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte(book)}})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// show is all that is told of a part, a line each.
func show(all []told.Line) string {
	var b strings.Builder
	for _, l := range all {
		fmt.Fprintf(&b, "%s: %s", l.Label, l.Text)
		if l.Source != "" {
			fmt.Fprintf(&b, " [%s]", l.Source)
		}
		b.WriteString("\n")
	}
	return b.String()
}

func TestTasks(t *testing.T) {
	b := load(t)
	metric := told.Teller{Book: b}
	for name, want := range map[string]string{
		"gearbox fluid": `Due: Every 60,000 km or 36 months, whichever comes first. [invented]
For: component.kind == "automatic transmission"
Soon: 2,000 km or 30 days before. [nobody]
Overdue: 10 % of the interval past the due point. [nobody]
Without a record: Counted from the first reading.
Have ready: ATF 4 L, 2 × plug washer and filter. [nobody]
Then to do: Look for leaks, after 500 km; dropped 2,000 km past that. [nobody]
`,
		"annual test": `Due: Each year on 1 November.
For: Every vehicle.
Overdue: As soon as it is past the due point.
Without a record: Due at once.
Law: Required by law, so it cannot be postponed.
`,
		"new tyres": `Due: When tread comes to 3 mm.
For: Every vehicle.
Overdue: As soon as it is past the due point.
Without a record: Due at once.
`,
		"reported defects": `Due: When somebody reports a defect.
For: Every vehicle.
Overdue: Never.
Without a record: Due at once.
`,
	} {
		if got := show(metric.Task(b.Task(name))); got != want {
			t.Errorf("%s: got\n%s\nwant\n%s", name, got, want)
		}
	}
	miles := told.Teller{Book: b, Reader: english.Reader{Units: unit.System{Distance: "mi", Volume: "qt"}}}
	if got := miles.Task(b.Task("gearbox fluid"))[0].Text; got != "Every 37,000 mi or 36 months, whichever comes first." {
		t.Errorf("in miles: %s", got)
	}
}

func TestRules(t *testing.T) {
	b := load(t)
	metric := told.Teller{Book: b}
	miles := told.Teller{Book: b, Reader: english.Reader{Units: unit.System{Distance: "mi", Temperature: "degF"}}}
	for name, want := range map[string]string{
		"copper": `measures copper, times the baseline (code: false)
1 at 2, off 1.8, takes 1 [common practice, no source]
2 at 3, off 2.7, takes 2 [common practice, no source]
3 at value("Fe") > 5 ? 5 : 6, off , takes 1 [common practice, no source]
Looked at: Each sample.
For: component.kind == "automatic transmission"
Reads: copper (Cu) and iron (Fe)
Ends: When the value is back past the limit by 10 % of it. [common practice, no source]
After a fluid change: It does not ease before the new fluid has run half as far as the old one, since the change took away the evidence.
Points to: bushings or cooler
Then to do: Sample again, within 5,000 km or 90 days; a sample settles it. [common practice, no source]
Brings forward: gearbox fluid, within 1,000 km [common practice, no source]
`,
		"far past it": `measures since("gearbox fluid") > 90000 (code: true)
Looked at: Each reading and each day.
For: Every vehicle.
Stage: Caution.
Reads: gearbox fluid
Ends: When it is not so any more.
`,
		"hot": `measures flash point (code: false)
2 at 180 °C, off 185 °C, takes 1 []
Looked at: Each sample.
For: component.kind == "automatic transmission"
Reads: flash point (flash)
Ends: When the value is back past the limit by 5 °C.
After a fluid change: It does not ease before the new fluid has run 1,500 km or 50 h, since the change took away the evidence.
`,
	} {
		r := b.Rules[0]
		for _, one := range b.Rules {
			if one.Name == name {
				r = one
			}
		}
		what, code := told.Measure(r)
		got := fmt.Sprintf("measures %s (code: %t)\n", what, code)
		for _, l := range metric.Limits(r) {
			got += fmt.Sprintf("%d at %s, off %s, takes %d [%s]\n", l.Stage, l.At, l.Off, l.Takes, l.Source)
		}
		if got += show(metric.Rule(r)); got != want {
			t.Errorf("%s: got\n%s\nwant\n%s", name, got, want)
		}
		if name == "hot" {
			if got := fmt.Sprintf("%+v", miles.Limits(r)); got != "[{Stage:2 At:356 °F Off:365 °F Code:false Takes:1 Source:}]" {
				t.Errorf("in degrees Fahrenheit: %s", got)
			}
		}
	}
	if got := strings.Join(metric.Cautions(told.AllCautions(b.Rules[0])), " "); !strings.HasPrefix(got, "Hot fluid scalds") {
		t.Errorf("the cautions of copper are %q", got)
	}
}

func TestBaselines(t *testing.T) {
	b := load(t)
	metric := told.Teller{Book: b}
	got := ""
	for _, bl := range b.Baselines {
		got += bl.Name + "\n" + show(metric.Baseline(bl))
	}
	want := `gearboxes of the fleet
For: component.kind == "automatic transmission"
In place of: gearbox
Made from: This fleet's own samples, in groups that share component.fluid.
Used from: 15 results of 3 vehicles.
gearbox
For: component.kind == "automatic transmission"
For fluid of: 45,000 km. [invented]
`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}
