package table

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/engine/intake/job"
	"telltale/engine/intake/typed"
	"telltale/rules/analytes"
	"telltale/rules/unit"
)

func (r *reader) sample(ev event.Event, when moment) []event.Event {
	d := &event.SampleData{Meters: r.meterValues(ev.Vehicle)}
	ev.Data = d
	r.fill(&ev)
	if when.dateOnly {
		d.Drawn = when.date
	}
	d.Results = r.resultsOf(ev.Vehicle)
	if r.out || len(d.Results) == 0 {
		return nil
	}
	if r.byHand {
		ev.ID = r.identity([]string{r.first(ev.Vehicle), ev.Time.UTC().Format(time.RFC3339)})
		return []event.Event{ev}
	}
	id := []string{d.Number, d.Component, strconv.Itoa(d.Revision)}
	if d.Repeat > 0 {
		id = append(id, strconv.Itoa(d.Repeat))
	}
	ev.ID = r.identity(id)
	return []event.Event{ev}
}

// resultsOf reads the results of the row.
func (r *reader) resultsOf(vehicle string) []event.ResultData {
	var out []event.ResultData
	add := func(analyte string, v *value, u string) {
		res := event.ResultData{Analyte: analyte, Unit: u}
		if r.result(&res, v) {
			r.average(&res, v.average)
			r.paths[fmt.Sprintf("data.results[%d]", len(out))] = r.col(v)
			out = append(out, res)
		}
	}
	if r.byHand {
		for _, n := range r.results {
			if name, ok := r.measure(vehicle, n); ok {
				add(name, n.value, n.unit)
			}
		}
		return out
	}
	for _, n := range r.results {
		a, _ := analytes.Find(n.name)
		add(a.Name, n.value, n.unit)
	}
	if r.long == nil {
		return out
	}
	analyte, ok := r.named(r.long.analyte, oneBlank(r.cell(r.long.analyte)))
	if !ok {
		r.out = true
		return nil
	}
	a, known := analytes.Find(analyte)
	if !known {
		v := r.long.analyte
		r.fault(v, r.renamed(v, analyteNear(analyte))+", or under leave out", "no rule knows an analyte %q%s", analyte, r.under(v))
		return nil
	}
	u, _ := r.named(r.long.unit, oneBlank(r.cell(r.long.unit)))
	if _, ok := unit.Of(u); !ok {
		v := r.long.unit
		r.fault(v, r.renamed(v, "mg/kg"), "unknown unit %q%s", u, r.under(v))
		return nil
	}
	add(a.Name, r.long.result, u)
	return out
}

// measure is the measure of the rules that a column is of, by its own name where nobody
// knows them.
func (r *reader) measure(vehicle string, n named) (name string, ok bool) {
	if r.fleet == nil || r.fleet.Measures == nil || vehicle == "" || r.cell(n.value) == "" {
		return n.name, true
	}
	known, err := r.fleet.Measures(vehicle)
	if err != nil {
		r.err = err
		return "", false
	}
	name, err = known.Meant(n.name)
	kind, _ := unit.Of(known[name])
	have, _ := unit.Of(n.unit)
	switch {
	case err != nil:
		near := "NAME IN THE RULES"
		if e, is := errors.AsType[*job.Error](err); is && e.Near != "" {
			near = e.Near
		}
		r.fault(n.value, r.cure(byHandKey+": {"+near+": …}"), "the rules name no measure %q", n.name)
	case have != kind:
		r.fault(n.value, r.cure(byHandKey+": {"+n.name+": {unit: "+known[name]+"}}"), "%s is %s, and %s measures %s", n.name, kind, n.unit, have)
	default:
		return name, true
	}
	return "", false
}

// result reads one result into res; it reports false where there is none.
func (r *reader) result(res *event.ResultData, v *value) bool {
	s := ofCode(res.Analyte, oneBlank(r.cell(v)))
	switch {
	case s == "" || r.means(s, r.notMeasured):
		return false
	case r.means(s, r.notDetected):
		res.NotDetected, res.Below = true, v.limit
		return true
	case r.means(s, r.trace):
		res.Trace, res.Below = true, v.limit
		return true
	}
	rest, into := s, &res.Value
	if cut, ok := cutMark(s, r.below); ok {
		rest, into = cut, &res.Below
	} else if cut, ok := cutMark(s, r.above); ok {
		rest, into = cut, &res.Above
	}
	x, w := r.number(v, rest, res.Unit)
	if w.any() {
		r.wrong(v, r.unsaid(s, w))
		return false
	}
	*into = &x
	return true
}

// average reads the laboratory's average beside a result. One that is below or above a
// limit, or was not found, is no number to compare with, and none.
func (r *reader) average(res *event.ResultData, v *value) {
	s := oneBlank(r.cell(v))
	for _, words := range [][]string{r.notMeasured, r.notDetected, r.trace} {
		if r.means(s, words) {
			return
		}
	}
	for _, marks := range [][]string{r.below, r.above} {
		if _, ok := cutMark(s, marks); ok {
			return
		}
	}
	if s == "" {
		return
	}
	x, w := r.number(v, s, res.Unit)
	if w.any() {
		r.wrong(v, r.unsaid(s, w))
		return
	}
	res.Average = &x
}

func cutMark(s string, marks []string) (rest string, ok bool) {
	for _, m := range marks {
		if len(s) > len(m) && strings.EqualFold(s[:len(m)], m) {
			return strings.TrimFunc(s[len(m):], typed.IsBlank), true
		}
	}
	return s, false
}

// unsaid gives what is no number the line that would say what it is.
func (r *reader) unsaid(s string, w wrong) wrong {
	switch first := string([]rune(s)[0]); {
	case notText(s).any():
	case strings.Contains("<≤", first):
		return bad(fmt.Sprintf("below: [%q]", first), "%q is below a limit, and the mapping does not say so", short(s))
	case strings.Contains(">≥", first):
		return bad(fmt.Sprintf("above: [%q]", first), "%q is above a limit, and the mapping does not say so", short(s))
	case !strings.ContainsAny(s, digits):
		w.cure = fmt.Sprintf("not detected: [%q], trace: [%[1]q] or not measured: [%[1]q], whichever it means", short(s))
	}
	return w
}
