package record

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/lab"
	"telltale/engine/meter"
	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// Sheet is what a sample's sheet of results says: those that can be judged, in
// base units, and why each of the others cannot. These are kept as reported and
// shown.
type Sheet struct {
	Results []lab.Result
	notes   []string
	Whys    map[int]string // by index in the sheet
	// analyses counts those of an analyte where there was more than one.
	Analyses map[string]int
	averages map[string]average
}

// Sheet reads the sample's sheet, once.
func (s *Sample) Sheet() *Sheet {
	if s.parsed == nil {
		s.parsed = readSheets([]*event.SampleData{s.SampleData})
	}
	return s.parsed
}

// Sheet reads the sheet of the step's sample and those of its repeated analyses.
func (s *Step) Sheet() *Sheet {
	if len(s.again) == 0 {
		return s.Sample.Sheet()
	}
	return readSheets(s.Sheets())
}

// Sheets are the step's sample and its repeated analyses.
func (s *Step) Sheets() []*event.SampleData {
	out := []*event.SampleData{s.Sample.SampleData}
	for _, o := range s.again {
		out = append(out, o.SampleData)
	}
	return out
}

// analysis is one result that can be judged, with its index on the sample's sheets
// and the number of its sheet.
type analysis struct {
	lab.Result
	at, sheet int
}

// readSheets reads the sheets of one sample: what stands on them more than once was
// analysed repeatedly. One bad result does not stop the others.
func readSheets(sheets []*event.SampleData) *Sheet {
	r := &Sheet{}
	n := 0
	list := make([]analysis, 0, len(sheets[0].Results))
	for k, d := range sheets {
		density := density(d)
		for i := range d.Results {
			if res, err := readResult(&d.Results[i], density); err != nil {
				r.refuse(n, d.Results[i].Analyte, err)
			} else {
				list = append(list, analysis{res, n, k})
			}
			n++
		}
		r.readAverages(d, density, n-len(d.Results))
	}
	r.together(list)
	whole := 0.0
	for _, res := range r.Results {
		whole += share(res)
	}
	if whole > 1_000_000*(1+1e-9) {
		r.notes = append(r.notes, fmt.Sprintf("the results add up to %.6g %%, more than the whole", whole/10_000))
	}
	return r
}

// together makes one result of those of one analyte.
func (r *Sheet) together(list []analysis) {
	r.Results = make([]lab.Result, 0, len(list))
	for i, a := range list {
		of := func(o analysis) bool { return o.Analyte == a.Analyte }
		if slices.ContainsFunc(list[:i], of) {
			continue // read with the first of them
		}
		if !slices.ContainsFunc(list[i+1:], of) {
			r.Results = append(r.Results, a.Result)
			continue
		}
		var same []analysis
		for _, o := range list[i:] {
			if of(o) {
				same = append(same, o)
			}
		}
		r.repeated(same)
	}
}

// repeated reads the analyses of one analyte together. Where two do not go together
// and the second stands on a sheet of its own, the first counts until a third settles
// it: what cannot be judged changes nothing.
func (r *Sheet) repeated(same []analysis) {
	results := make([]lab.Result, len(same))
	for i, a := range same {
		results[i] = a.Result
	}
	one, apart, err := lab.Repeated(results)
	switch {
	case err == nil:
		r.Results = append(r.Results, one)
		if r.Analyses == nil {
			r.Analyses = map[string]int{}
		}
		r.Analyses[one.Analyte] = len(same)
		if apart != "" {
			r.notes = append(r.notes, one.Analyte+": "+apart)
		}
		return
	case same[0].sheet != same[1].sheet:
		r.Results = append(r.Results, same[0].Result)
		same = same[1:]
	}
	for _, a := range same {
		r.refuse(a.at, a.Analyte, err)
	}
}

func (r *Sheet) refuse(i int, analyte string, err error) {
	if r.Whys == nil {
		r.Whys = map[int]string{}
	}
	r.Whys[i] = err.Error()
	r.note("%s not judged: %v", analyte, err)
}

// share is the least that the result is of the whole, in mg/kg.
func share(r lab.Result) float64 {
	switch a, _ := analytes.Find(r.Analyte); a.Kind {
	case unit.Concentration:
		return r.Span().Low
	case unit.Percent:
		return r.Span().Low * 10_000
	}
	return 0
}

// read turns the result into base units, or says why it cannot be judged.
func readResult(d *event.ResultData, density float64) (r lab.Result, err error) {
	r.Analyte = d.Analyte
	if !analytes.Known(d.Analyte) {
		return r, fmt.Errorf("no rule knows an analyte with that name")
	}
	v := d.Value
	switch {
	case d.Below != nil:
		v, r.Censored = d.Below, true
	case d.Above != nil:
		v, r.Above = d.Above, true
	case d.NotDetected:
		return r, fmt.Errorf("not detected, and the limit of detection is not given")
	case d.Trace:
		return r, fmt.Errorf("a trace, and the limit that it is below is not given")
	case v == nil:
		return r, fmt.Errorf("it has no value")
	}
	if r.Value, err = lab.Normalise(d.Analyte, *v, d.Unit, density); err != nil {
		return r, err
	}
	if r.Censored && r.Value <= 0 {
		return r, fmt.Errorf("below %s says nothing", d.Written(*v))
	}
	return r, nil
}

// density is in g/mL, 0 where it is not known or cannot be.
func density(d *event.SampleData) float64 {
	if d.Density == nil {
		return 0
	}
	v, err := d.Density.As(unit.Density)
	if err != nil || !(v > 0) {
		return 0
	}
	return v
}

// NotesOn says of a component's step i, a sample, what in it cannot be used or
// does not fit the record, to who reads so.
func NotesOn(v *event.VehicleData, t Timeline, i int, reads unit.System) []string {
	s := t.Steps[i].Sample
	notes := slices.Clone(t.Steps[i].Sheet().notes)
	if s.Density != nil && density(s.SampleData) == 0 {
		notes = append(notes, fmt.Sprintf("a density of %s is impossible", s.Density))
	}
	if in, err := interval.ParseDate(v.InService); err == nil && interval.DateOf(time.Unix(0, t.Steps[i].At), v.Location()) < in {
		notes = append(notes, "it was drawn before the vehicle went into service on "+v.InService)
	}
	if why := doubtedAge(t, i, reads); why != "" {
		notes = append(notes, why)
	}
	return notes
}

// doubtedAge says why the fluid's age on the label of the sample at step i cannot
// be: it is none, or more than the life of what the fluid is in, or than the run since all
// of it was renewed. What is read off by eye may be out by 1 %, a run by 10 %.
func doubtedAge(t Timeline, i int, reads unit.System) string {
	q := t.Steps[i].Sample.FluidAge
	if q == nil {
		return ""
	}
	age, kind, err := q.Base()
	said := q.In(reads)
	switch {
	case err != nil || kind != unit.Distance && kind != unit.Time || age < 0:
		return fmt.Sprintf("the fluid's age of %s is not used: it is neither a distance nor a running time", said)
	case kind == unit.Distance && age > meter.MostDistance || kind == unit.Time && age > meter.MostRunning:
		return fmt.Sprintf("the fluid's age of %s is not used: no fluid runs that long", said)
	}
	run := func(s lab.Step) float64 {
		if kind == unit.Time {
			return s.Hours
		}
		return s.Distance
	}
	life := run(t.Lab[i])
	if age > life*1.01 {
		return fmt.Sprintf("the fluid's age of %s is not used: the vehicle has run %s", said, roundedIn(life, said.Unit))
	}
	e := t.LastExchange(i)
	if e < 0 || t.Lab[e].Share != 1 {
		return ""
	}
	if since := life - run(t.Lab[e]); age > float64(since*1.1)+float64(0.01*life) {
		return fmt.Sprintf("the fluid's age of %s is not used: all of it was renewed %s before; was the sample drawn before the fluid went in?",
			said, roundedIn(since, said.Unit))
	}
	return ""
}

func roundedIn(base float64, unitName string) string {
	return strconv.FormatFloat(math.Round(unit.From(base, unitName)), 'f', -1, 64) + " " + unitName
}
