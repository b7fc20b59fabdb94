package record

import (
	"fmt"
	"slices"

	"telltale/engine/event"
	"telltale/engine/lab"
	"telltale/engine/meter"
	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// average is what a laboratory prints beside a result as usual, in the analyte's base
// unit, with the age of the fluid that it is of, in metres or seconds; unit.None and 0
// where the sheet says none that can be.
type average struct {
	value, age float64
	kind       unit.Kind
}

// Average is the laboratory's own average of the analyte, in its base unit and above 0;
// ok is false where the sheet prints none that can be used.
func (r *Sheet) Average(analyte string) (value float64, ok bool) {
	a, ok := r.averages[analyte]
	return a.value, ok
}

// AverageAge is the age of the fluid that the laboratory's average of the analyte is of,
// in metres (unit.Distance) or seconds (unit.Time); ok is false where the sheet prints no
// such average, or no age with it.
func (r *Sheet) AverageAge(analyte string) (age float64, kind unit.Kind, ok bool) {
	a := r.averages[analyte]
	return a.age, a.kind, a.kind != unit.None
}

// readAverages reads the averages of one sheet, of which the first result has the index
// from. Of an analyte that has several the first counts. What is wrong with result and
// average alike, as their unit, is told of the result.
func (r *Sheet) readAverages(d *event.SampleData, density float64, from int) {
	age, kind, without := averageAge(d.AverageAge)
	used := false
	for i := range d.Results {
		res := &d.Results[i]
		if res.Average == nil || !analytes.Known(res.Analyte) {
			continue
		}
		v, err := readAverage(res, density)
		first, twice := r.averages[res.Analyte]
		switch {
		case err != nil && err.Error() == r.Whys[from+i]:
		case err != nil:
			r.note("the laboratory's average of %s is not used: %v", res.Analyte, err)
		case !twice:
			if r.averages == nil {
				r.averages = map[string]average{}
			}
			r.averages[res.Analyte] = average{v, age, kind}
			used = true
		case first.value != v:
			r.note("the laboratory's averages of %s differ; the first counts", res.Analyte)
		}
	}
	if used && without != "" {
		r.note("%s", without)
	}
}

// readAverage turns an average into the analyte's base unit, or says why there is nothing
// to compare a result with.
func readAverage(d *event.ResultData, density float64) (float64, error) {
	v, err := lab.Normalise(d.Analyte, *d.Average, d.Unit, density)
	if err == nil && v <= 0 {
		return 0, fmt.Errorf("%s is not an amount to compare with", unit.Quantity{Value: *d.Average, Unit: d.Unit})
	}
	return v, err
}

// averageAge is the age that a sheet gives its averages, in base units; why says what is
// wrong with it, or that it is missing, and kind is then unit.None.
func averageAge(q *unit.Quantity) (age float64, kind unit.Kind, why string) {
	const asTheyAre = "the laboratory's averages are compared as they are, not for age"
	if q == nil {
		return 0, unit.None, "without the age of their fluid, " + asTheyAre
	}
	age, kind, err := q.Base()
	switch {
	case err != nil || kind != unit.Distance && kind != unit.Time || !(age > 0):
		why = "neither a distance nor a running time above 0"
	case kind == unit.Distance && age > meter.MostDistance || kind == unit.Time && age > meter.MostRunning:
		why = "more than any fluid runs"
	default:
		return age, kind, ""
	}
	return 0, unit.None, fmt.Sprintf("the averages' fluid age of %s is not used, it is %s: %s", q, why, asTheyAre)
}

// note adds what is to be known of the sheet, once.
func (r *Sheet) note(format string, args ...any) {
	if note := fmt.Sprintf(format, args...); !slices.Contains(r.notes, note) {
		r.notes = append(r.notes, note)
	}
}
