package chosen

import (
	"encoding/csv"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode"

	"pgregory.net/rapid"

	"telltale/engine/event"
	"telltale/engine/intake/table"
	"telltale/engine/intake/typed"
	"telltale/rules/analytes"
	"telltale/testdata/hostile"
)

// mileage are choices for a table of Reg, Day and Km.
func mileage() *Choices {
	return &Choices{Sort: Readings, Writing: table.Writing{Encoding: "utf-8", Delimiter: "comma", Heading: 1}, Source: "/sheet/mileage", Zone: "Europe/London",
		Columns: []Column{
			{Heading: "Reg", Means: "vehicle", Names: []Translation{{"B7", "bus-07"}}, LeaveOut: []string{"POOL"}},
			{Heading: "Day", Means: "date"}, {Heading: "Remarks"},
			{Heading: "Km", Means: Meter, Name: "odometer", Unit: "km"},
		}}
}

func TestText(t *testing.T) {
	lab := &Choices{Sort: Samples, Writing: table.Writing{Encoding: "windows-1252", Delimiter: "semicolon", Heading: 3}, Source: "/laboratory/valley", Zone: "UTC",
		DecimalMark: "comma", DateOrder: "day first", Century: "2000", Below: []string{"<"}, NotDetected: []string{"n.d."}, NotMeasured: []string{"-"},
		Columns: []Column{
			{Heading: "Fleet no.", Means: "vehicle"}, {Heading: "Report", Means: "number", TellsApart: true}, {Heading: "Sampled", Means: "date"},
			{Heading: "Oil km", Means: "age", Unit: "km"}, {Heading: "Copper", Means: Analyte, Name: "Cu", Unit: "mg/kg", Limit: "1"},
			{Heading: "", Means: Average, Name: "Cu"},
		}, Always: []Always{{"component", "transmission"}, {"laboratory", " "}}}
	results := &Choices{Sort: Results, Writing: table.Writing{Encoding: "utf-8", Delimiter: "comma", Heading: 1}, Source: "/laboratory/harbour", Zone: "UTC",
		Columns: []Column{{Heading: "A", Means: "vehicle"}, {Heading: "B", Means: "number"}, {Heading: "C", Means: "date"},
			{Heading: "Test", Means: ResultAnalyte, Names: []Translation{{"Visc 100C", "KV100"}}}, {Heading: "Result", Means: ResultValue}, {Heading: "Result", Means: ResultAverage}},
		Always: []Always{{"component", "engine"}, {ResultUnit, "mg/kg"}}}
	work := &Choices{Sort: Services, Writing: table.Writing{Encoding: "utf-8", Delimiter: "comma", Heading: 1}, Source: "/workshop", Zone: "UTC",
		Columns: []Column{{Heading: "A", Means: "vehicle"}, {Heading: "yes", Means: "date"}, {Heading: "Work", Means: "tasks", Between: ","}, {Heading: "x: {", Means: "note"}}}
	for _, c := range []struct {
		choices *Choices
		want    string
	}{
		{mileage(), `import: readings
source: /sheet/mileage
zone: Europe/London
vehicle: {column: Reg, names: {B7: bus-07}, leave out: [POOL]}
date: {column: Day}
meters:
  odometer: {column: Km, unit: km}
`},
		{lab, `import: samples
source: /laboratory/valley
zone: UTC
encoding: windows-1252
delimiter: semicolon
heading: 3
decimal mark: comma
date order: day first
century: 2000
below: [<]
not detected: [n.d.]
not measured: ['-']
vehicle: {column: Fleet no.}
date: {column: Sampled}
component: {always: transmission}
number: {column: Report}
age: {column: Oil km, unit: km}
results:
  Cu: {column: Copper, unit: mg/kg, limit: 1, average: {column number: 6}}
id: [Report]
`},
		{results, `import: samples
source: /laboratory/harbour
zone: UTC
vehicle: {column: A}
date: {column: C}
component: {always: engine}
number: {column: B}
result: {analyte: {column: Test, names: {Visc 100C: KV100}}, value: {column number: 5}, unit: {always: mg/kg}, average: {column number: 6}}
`},
		{work, `import: services
source: /workshop
zone: UTC
vehicle: {column: A}
date: {column: yes}
tasks: {column: Work, between: ','}
note: {column: 'x: {'}
`},
	} {
		_, text, faults := c.choices.Mapping("valley.yaml")
		if string(text) != c.want || faults != nil {
			t.Errorf("%v\n%s\nwant\n%s", faults, text, c.want)
		}
	}
}

// Each fault comes back to its choice.
func TestFaults(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*Choices)
		want   []Fault
	}{
		"no vehicle":    {func(c *Choices) { c.Columns[0].Means = "" }, []Fault{{0, "vehicle", "choose the column of the vehicle", ""}}},
		"no unit":       {func(c *Choices) { c.Columns[3].Unit = "" }, []Fault{{4, "unit", "a number has a unit: choose it", ""}}},
		"two vehicles":  {func(c *Choices) { c.Columns[2].Means = "vehicle" }, []Fault{{3, "means", "another column is the vehicle already", ""}}},
		"nameless":      {func(c *Choices) { c.Columns[3].Name = " " }, []Fault{{4, "name", "choose which meter it is", ""}}},
		"wrong unit":    {func(c *Choices) { c.Columns[3].Unit = "L" }, []Fault{{4, "unit", `"L" measures a volume`, "write one of km, mi, m, h, min, s"}}},
		"of another":    {func(c *Choices) { c.Columns[2].Means = "tasks" }, []Fault{{3, "means", "a table of readings has no tasks", ""}}},
		"no source":     {func(c *Choices) { c.Source = "" }, []Fault{{0, "", "the mapping names no source", "write source: /laboratory/NAME; with the row's id it identifies each entry, so that the same file can be imported again"}}},
		"no such zone":  {func(c *Choices) { c.Zone = "London" }, []Fault{{0, "zone", `zone "London" is not known`, "it is a name like Europe/London"}}},
		"no such time":  {func(c *Choices) { c.TimeOfDay = "noon" }, []Fault{{0, "time of day", "time of day is what a date without a time counts as", `write time of day: "18:00"`}}},
		"half a name":   {func(c *Choices) { c.Columns[0].Names = []Translation{{"B7", ""}} }, []Fault{{1, "names", `"B7 = " says nothing or means nothing`, "write on each line what the cell says, = and what is meant: B7 = bus-07"}}},
		"no identity":   {func(c *Choices) { c.Columns[2] = Column{TellsApart: true} }, []Fault{{3, "id", "a column that tells rows apart needs a heading of its own", "give the columns of the file headings that differ"}}},
		"in two places": {func(c *Choices) { c.Always = []Always{{"vehicle", "bus-07"}} }, []Fault{{0, "always", "the vehicle is in a column, or said twice", ""}}},
	} {
		choices := mileage()
		c.change(choices)
		m, _, got := choices.Mapping("m.yaml")
		if m != nil || !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: %+v, want %+v", name, got, c.want)
		}
	}
}

// heading draws what may stand above a column: nothing, the same as elsewhere, what YAML
// reads as something else.
func heading(t *rapid.T) string {
	hostiles := slices.DeleteFunc(slices.Clone(hostile.Text), func(s string) bool { return !readable(s) || len(s) > 200 })
	odd := []string{"", " ", "Km", "yes", "~", "12", "1e3", "0x1F", "a: b", "- a", "#a", "'", `"`, "{a}", "[", "a\nb", "a  b", "&a", "*a", "!a", "%a", "@a", "|", ">", "2031-02-10", "Öl 100°C", "=1+1", "null", "\u00a0x", "?", "a, b", "<<"}
	return rapid.OneOf(rapid.SampledFrom(odd), rapid.SampledFrom(hostiles), rapid.StringMatching(`[A-Za-z :.#-]{1,12}`)).Draw(t, "heading")
}

func readable(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool {
		return r == unicode.ReplacementChar || r < ' ' && r != '\n' && r != '\t' || r == 0x7f
	})
}

// written writes a number of tenths by marks.
func written(tenths int, decimal, thousands string) string {
	digits := strconv.Itoa(tenths / 10)
	for i := len(digits) - 3; i > 0 && thousands != ""; i -= 3 {
		digits = digits[:i] + thousands + digits[i:]
	}
	if decimal == "" || tenths%10 == 0 {
		return digits
	}
	return digits + decimal + strconv.Itoa(tenths%10)
}

// A table that was written down from readings is read as those readings by whatever was
// chosen for how it is written.
func TestReadsAlike(t *testing.T) {
	marks := map[string]string{"comma": ",", "point": ".", "blank": " ", "apostrophe": "'", "": ""}
	delimiters := map[string]rune{"comma": ',', "semicolon": ';', "tab": '\t', "bar": '|'}
	orders := map[string]string{"day first": "02.01.2006", "month first": "1/2/2006", "year first": "2006/1/2", "": "2006-01-02"}
	rapid.Check(t, func(t *rapid.T) {
		c := &Choices{Sort: Readings, Source: "/sheet/1", Zone: "UTC", DateOrder: rapid.SampledFrom([]string{"", "day first", "month first", "year first"}).Draw(t, "order")}
		c.Writing = table.Writing{Encoding: "utf-8", Delimiter: rapid.SampledFrom(table.Delimiters()).Draw(t, "delimiter"), Heading: 1}
		pair := rapid.SampledFrom([][2]string{{"point", ""}, {"comma", ""}, {"point", "comma"}, {"comma", "point"}, {"comma", "blank"}, {"point", "apostrophe"}}).Draw(t, "marks")
		if c.DecimalMark, c.ThousandsMark = pair[0], pair[1]; marks[c.DecimalMark] == string(delimiters[c.Delimiter]) {
			c.Delimiter = "tab"
		}
		columns := []Column{{Means: "vehicle"}, {Means: "date"}, {Means: Meter, Name: "odometer", Unit: "km"}, {Means: Meter, Name: "engine hours", Unit: "h"}, {}, {}}
		for i := range columns {
			columns[i].Heading = heading(t)
		}
		order := rapid.Permutation([]int{0, 1, 2, 3, 4, 5}).Draw(t, "columns")
		for _, i := range order {
			c.Columns = append(c.Columns, columns[i])
		}
		if blank := !slices.ContainsFunc(c.Columns, func(c Column) bool { return strings.TrimFunc(c.Heading, typed.IsBlank) != "" }); blank {
			c.Columns[0].Heading = "Reg" // a row of blanks has no headings
		}
		var want []event.Event
		var text strings.Builder
		out := csv.NewWriter(&text)
		out.Comma = delimiters[c.Delimiter]
		put := func(cells []string) {
			if err := out.Write(cells); err != nil {
				t.Fatal(err)
			}
		}
		var heads []string
		for _, col := range c.Columns {
			heads = append(heads, col.Heading)
		}
		put(heads)
		for n := range rapid.IntRange(0, 4).Draw(t, "rows") {
			day := time.Date(2031, 1, 1+rapid.IntRange(0, 300).Draw(t, "day")+n*400, 0, 0, 0, 0, time.UTC)
			km, hours := rapid.IntRange(0, 1e8).Draw(t, "km"), rapid.IntRange(0, 1e6).Draw(t, "hours")
			cells := []string{"bus-07", day.Format(orders[c.DateOrder]), written(km, marks[c.DecimalMark], marks[c.ThousandsMark]), written(hours, marks[c.DecimalMark], marks[c.ThousandsMark]), "x", ""}
			row := make([]string, len(order))
			for at, i := range order {
				row[at] = cells[i]
			}
			put(row)
			for _, r := range []event.ReadingData{{Meter: "odometer", Value: tenths(km), Unit: "km"}, {Meter: "engine hours", Value: tenths(hours), Unit: "h"}} {
				want = append(want, event.Event{Vehicle: "bus-07", Time: day, Data: &r})
			}
		}
		out.Flush()
		m, yaml, faults := c.Mapping("m.yaml")
		if faults != nil {
			t.Fatalf("%+v\n%s", faults, yaml)
		}
		got, err := m.Read("t.csv", strings.NewReader(text.String()), nil)
		if err != nil {
			t.Fatalf("%v\n%s\n%s", err, yaml, text.String())
		}
		if a, b := says(got.Events), says(want); !slices.Equal(a, b) {
			t.Fatalf("got %q, want %q\n%s\n%s", a, b, yaml, text.String())
		}
		looked, err := table.Look("t.csv", strings.NewReader(text.String()), c.Writing, 3)
		if err != nil || len(looked.Headings) != len(c.Columns) || looked.Rows != len(want)/2 {
			t.Fatalf("looked at: %+v (%v)", looked, err)
		}
		for i, col := range c.Columns {
			if looked.Headings[i] != typed.OneBlank(col.Heading) {
				t.Fatalf("heading %d is %q, want %q", i, looked.Headings[i], col.Heading)
			}
		}
	})
}

func tenths(n int) float64 {
	v, _ := strconv.ParseFloat(fmt.Sprintf("%d.%d", n/10, n%10), 64)
	return v
}

// says are the events in order, each in words.
func says(events []event.Event) (out []string) {
	for _, ev := range events {
		d := ev.Data.(*event.ReadingData)
		out = append(out, fmt.Sprint(ev.Vehicle, ev.Time.UTC(), d.Meter, d.Value, d.Unit))
	}
	slices.Sort(out)
	return out
}

// Whatever is chosen gives a mapping that can be read, or says of which choice it does not.
func TestReadable(t *testing.T) {
	word := rapid.OneOf(rapid.SampledFrom([]string{"", "km", "h", "L", "mg/kg", "1", "x", "comma", "point", "Europe/London", "day first", "2000", "18:00", "yes", "odometer", "bus-07"}), rapid.SampledFrom(hostile.Text))
	words := rapid.SliceOfN(word, 0, 3)
	rapid.Check(t, func(t *rapid.T) {
		c := &Choices{Sort: rapid.SampledFrom(Sorts).Draw(t, "sort")}
		c.Writing = table.Writing{Encoding: rapid.SampledFrom(table.Encodings()).Draw(t, "encoding"), Delimiter: rapid.SampledFrom(table.Delimiters()).Draw(t, "delimiter"), Heading: rapid.IntRange(1, 9).Draw(t, "heading")}
		for _, into := range []*string{&c.Source, &c.Zone, &c.DecimalMark, &c.ThousandsMark, &c.DateOrder, &c.Century, &c.TimeOfDay} {
			*into = word.Draw(t, "word")
		}
		c.Below, c.NotDetected, c.Trace, c.NotMeasured = words.Draw(t, "below"), words.Draw(t, "n.d."), words.Draw(t, "trace"), words.Draw(t, "none")
		var keys []string
		for _, m := range c.Sort.Meanings() {
			keys = append(keys, m.Key)
		}
		names := append(analytes.Names()[:5], "", "odometer", "lining")
		for range rapid.IntRange(0, 8).Draw(t, "columns") {
			c.Columns = append(c.Columns, Column{Heading: word.Draw(t, "heading"), Means: rapid.SampledFrom(append(keys, "", "strange")).Draw(t, "means"),
				Name: rapid.SampledFrom(names).Draw(t, "name"), Unit: word.Draw(t, "unit"), Limit: word.Draw(t, "limit"), Between: word.Draw(t, "between"),
				TellsApart: rapid.Bool().Draw(t, "id"), Names: []Translation{{word.Draw(t, "cell"), word.Draw(t, "is")}}, LeaveOut: words.Draw(t, "out")})
		}
		c.Always = []Always{{rapid.SampledFrom(keys).Draw(t, "always"), word.Draw(t, "text")}}
		m, text, faults := c.Mapping("m.yaml")
		if (m == nil) != (len(faults) > 0) {
			t.Fatalf("a mapping %v with %+v\n%s", m != nil, faults, text)
		}
		for _, f := range faults {
			if f.Text == "" || f.Column < 0 || f.Column > len(c.Columns) {
				t.Fatalf("%+v", f)
			}
		}
		if _, err := table.ReadMapping("m.yaml", text); m != nil && err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
	})
}
