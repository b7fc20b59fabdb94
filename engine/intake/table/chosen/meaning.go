package chosen

import (
	"slices"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules/unit"
)

// Sort is what a table is of.
type Sort string

// The sorts of tables. What laboratories report comes with a column for each analyte
// (Samples) or with a row for each result (Results); Measures are measured by hand.
const (
	Readings Sort = "readings"
	Services Sort = "services"
	Samples  Sort = "samples"
	Results  Sort = "results"
	Measures Sort = "measures"
)

// Sorts are all of them.
var Sorts = []Sort{Readings, Services, Samples, Results, Measures}

var kinds = map[Sort]event.Kind{Readings: event.ReadingEvent, Services: event.ServiceEvent, Samples: event.SampleEvent, Results: event.SampleEvent, Measures: event.SampleEvent}

// imports is the word of a mapping.
var imports = map[event.Kind]string{event.ReadingEvent: "readings", event.ServiceEvent: "services", event.SampleEvent: "samples"}

// Meaning is what a column may mean.
type Meaning struct {
	// Key is its key in the mapping, or one of the meanings below that have a name beside.
	Key string
	// Named: it is one of several, as a meter or an analyte, and needs a name.
	Named bool
	// Number: it is a number and needs a unit, of one of the kinds where there are any.
	Number bool
	Kinds  []unit.Kind
	// Often: it may be said of more than one column.
	Often bool
	// Always: it can be the same in every row, without a column.
	Always bool
}

// The meanings of which there are several in a table, and of those in a row for each result.
const (
	Meter   = "meter"
	Analyte = "analyte"
	Average = "average" // the laboratory's average of an analyte
	Measure = "measure"

	ResultAnalyte = "result: analyte"
	ResultValue   = "result: value"
	ResultUnit    = "result: unit"
	ResultAverage = "result: average"
)

// notMeasured are keys of samples that what is measured by hand has none of.
var notMeasured = []string{"component", "number", "revision", "repeat", "laboratory", "age", "average age", "density"}

// Meanings are what a column of such a table may mean, those that every one needs first.
func (s Sort) Meanings() []Meaning {
	running := []unit.Kind{unit.Distance, unit.Time}
	out := []Meaning{{Key: "vehicle", Always: true}, {Key: "date"}, {Key: "time"}, {Key: "reported"}, {Key: Meter, Named: true, Number: true, Kinds: running, Often: true}}
	for _, f := range intake.Fields(kinds[s]) {
		switch {
		case f.Key == intake.Apart || f.Key == "meters" || f.Key == "results":
		case s == Measures && slices.Contains(notMeasured, f.Key):
		default:
			out = append(out, Meaning{Key: f.Key, Number: f.Units != nil, Kinds: f.Units, Always: f.Units == nil})
		}
	}
	switch s {
	case Samples:
		out = append(out, Meaning{Key: Analyte, Named: true, Number: true, Often: true}, Meaning{Key: Average, Named: true, Often: true})
	case Results:
		out = append(out, Meaning{Key: ResultAnalyte}, Meaning{Key: ResultValue}, Meaning{Key: ResultUnit, Always: true}, Meaning{Key: ResultAverage})
	case Measures:
		out = append(out, Meaning{Key: Measure, Named: true, Number: true, Often: true})
	}
	return out
}

// meaning is the one of that key.
func (s Sort) meaning(key string) (Meaning, bool) {
	all := s.Meanings()
	i := slices.IndexFunc(all, func(m Meaning) bool { return m.Key == key })
	if i < 0 {
		return Meaning{}, false
	}
	return all[i], true
}

// needed are the meanings without which no such table can be read.
func (s Sort) needed() []string {
	return map[Sort][]string{
		Readings: {"vehicle", "date", Meter},
		Services: {"vehicle", "date"},
		Samples:  {"vehicle", "date", "component", "number", Analyte},
		Results:  {"vehicle", "date", "component", "number", ResultAnalyte, ResultValue, ResultUnit},
		Measures: {"vehicle", "date", Measure},
	}[s]
}
