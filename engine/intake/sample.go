package intake

import (
	"fmt"
	"regexp"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"telltale/engine/event"
	"telltale/rules/analytes"
)

func readSample(ev event.Event, raw jsontext.Value) (any, error) {
	return dataOf(func(ev event.Event, d *event.SampleData) error {
		if err := checkSample(ev, d); err != nil {
			return err
		}
		return readDecimals(raw, d)
	})(ev, raw)
}

func checkSample(ev event.Event, d *event.SampleData) error {
	d.Meters = someOf(d.Meters)
	name := checkName
	if d.ByHand() && d.Number == "" && d.Laboratory == "" && d.FluidAge == nil {
		name = checkOptional // what a workshop measured by hand on the vehicle
	}
	return first(
		name("data.number", d.Number),
		checkRevision("data.revision", d.Revision),
		checkRevision("data.repeat", d.Repeat),
		name("data.component", d.Component),
		checkDrawn(ev.Time, d.Drawn),
		checkTaken(d.Taken),
		checkValues(d.Meters),
		checkOptional("data.laboratory", d.Laboratory),
		checkOptional("data.method", d.Method),
		checkOptional("data.point", d.Point),
		checkResults(d.Results),
	)
}

func checkRevision(at string, n int) error {
	if n < 0 {
		return refuse(at, "%d is negative", n)
	}
	return nil
}

func checkTaken(s string) error {
	if s == "" {
		return nil
	}
	return within("data.taken", oneOf(s, "before", "after"))
}

// checkDrawn asks that the day the sample was drawn is the day of the event's
// time, in whatever zone the vehicle is: the time of a late report is
// recordedtime, and a sample filed under it would be judged on the wrong record.
func checkDrawn(at time.Time, drawn string) error {
	if drawn == "" {
		return nil
	}
	from, err := parseDate(drawn)
	to := from.AddDate(0, 0, 1)
	if err != nil {
		if from, err = parseTime(drawn); err != nil {
			return refuse("data.drawn", "%s is neither a date like 2031-02-10 nor an RFC 3339 time", quote(drawn))
		}
		to = from
	}
	if at.Before(from.Add(-day)) || at.After(to.Add(day)) {
		return refuse("data.drawn", "%s, but the event's time is %s; time is when it was drawn, recordedtime when it was reported",
			drawn, at.Format(time.RFC3339))
	}
	return nil
}

const day = 24 * time.Hour

func checkResults(results []event.ResultData) error {
	if len(results) == 0 {
		return refuse("data.results", "missing; a sample has at least one")
	}
	if err := checkCount("data.results", len(results), maxResults); err != nil {
		return err
	}
	for i := range results {
		if err := checkResult(fmt.Sprintf("data.results[%d]", i), &results[i]); err != nil {
			return err
		}
	}
	return nil
}

// checkResult looks at the form alone and gives the analyte its short name. What a
// result says (an analyte that nobody defines, a unit that does not fit, less than
// nothing) is judged where the sample is: it is kept and shown, and stops no other.
func checkResult(at string, r *event.ResultData) error {
	if err := checkName(at+".analyte", r.Analyte); err != nil {
		return err
	}
	if a, ok := analytes.Find(r.Analyte); ok {
		r.Analyte = a.Name
	}
	says := 0
	for _, set := range []bool{r.Value != nil, r.Above != nil, r.NotDetected, r.Trace, r.Below != nil && !r.NotDetected && !r.Trace} {
		if set {
			says++
		}
	}
	if r.Decimals < 0 || r.Decimals > mostDecimals {
		return refuse(at+".decimals", "%d is not from 0 to %d", r.Decimals, mostDecimals)
	}
	switch {
	case says == 0:
		return refuse(at, "no result; expected value, below, above, notDetected or trace")
	case says > 1:
		return refuse(at, "more than one of value, below, above, notDetected and trace; expected one of them")
	}
	return nil
}

// mostDecimals is more than any laboratory prints.
const mostDecimals = 9

// trailingZero finds a number whose last decimals a float64 would lose.
var trailingZero = regexp.MustCompile(`[0-9]\.[0-9]*0[\s,}]`)

// readDecimals notes how many decimals the numbers were written with, so that they
// are shown as reported.
func readDecimals(raw jsontext.Value, d *event.SampleData) error {
	if !trailingZero.Match(raw) {
		return nil
	}
	var written struct {
		Results []struct {
			Value jsontext.Value `json:"value"`
			Below jsontext.Value `json:"below"`
			Above jsontext.Value `json:"above"`
		} `json:"results"`
	}
	if err := json.Unmarshal(raw, &written); err != nil {
		return within("data", err)
	}
	for i, w := range written.Results {
		for _, number := range []jsontext.Value{w.Value, w.Below, w.Above} {
			_, decimals, _ := strings.Cut(string(number), ".")
			if strings.HasSuffix(decimals, "0") && strings.Trim(decimals, "0123456789") == "" && d.Results[i].Decimals == 0 {
				d.Results[i].Decimals = min(len(decimals), mostDecimals)
			}
		}
	}
	return nil
}
