package sample

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/engine/lab"
	"telltale/engine/record"
	"telltale/engine/stood"
	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Work is what was done to the component between the sample before and
// this one, and what became of the leading analytes.
type Work struct {
	Done []string `json:"done"`
	// Cleared are the rules that stood at the sample before and stand no more,
	// Standing those that still do.
	Cleared  []string       `json:"cleared,omitempty"`
	Standing []string       `json:"standing,omitempty"`
	Before   []BeforeAndNow `json:"before"`
	Run      *unit.Quantity `json:"run,omitempty"`   // since the last of it
	Early    bool           `json:"early,omitempty"` // too early to tell whether it worked
	Per      string         `json:"per,omitempty"`   // of the rates: "1,000 km", or "100 h" where no distance is known
	Says     string         `json:"says"`
}

// BeforeAndNow is one analyte over the work, in its own unit; rates are for each Per of
// the work. What is absent is not known.
type BeforeAndNow struct {
	Analyte    string   `json:"analyte"`
	Title      string   `json:"title"`
	Before     float64  `json:"before"`
	Left       *float64 `json:"left,omitempty"` // behind by the exchange, reckoned
	Now        float64  `json:"now"`
	Expected   *float64 `json:"expected,omitempty"` // now, had it worn on as before
	Made       *float64 `json:"made,omitempty"`     // since the exchange
	RateBefore *float64 `json:"rateBefore,omitempty"`
	Rate       *float64 `json:"rate,omitempty"`
	// MadeWithin and RateWithin are what the method alone may account for of Made, and
	// of Rate less RateBefore.
	MadeWithin *float64 `json:"madeWithin,omitempty"`
	RateWithin *float64 `json:"rateWithin,omitempty"`
}

// followed bounds the analytes that are told of over work.
const followed = 4

func (v *sampleVerdict) work() *Work {
	last := len(v.t.Steps) - 1
	before := last - 1
	var done []string
	for ; before >= 0 && v.t.Steps[before].Sample == nil; before-- {
		if !v.t.Steps[before].Exchanged() {
			continue
		}
		done = append([]string{v.workLine(v.t.Steps[before].Service)}, done...)
	}
	if before < 0 || len(done) == 0 {
		return nil
	}
	w := &Work{Done: done}
	kind := v.runSince(w, v.t.LastExchange(last))
	earlier := v.x.Sheet
	earlier.History = v.t.Lab[:before+1]
	for _, a := range v.leading(earlier) {
		w.Before = append(w.Before, v.over(a, earlier, kind))
	}
	v.stood(w, &v.t.Steps[before])
	w.Says = w.words()
	return w
}

// runSince is how far the component ran since the exchange at step e, and by which meter:
// hours where the distance is not known.
func (v *sampleVerdict) runSince(w *Work, e int) unit.Kind {
	last := len(v.t.Lab) - 1
	run, age, kind := v.t.Lab[last].Distance-v.t.Lab[e].Distance, v.t.Lab.Ages(e-1).Distance, unit.Distance
	if math.IsNaN(run) {
		run, age, kind = v.t.Lab[last].Hours-v.t.Lab[e].Hours, v.t.Lab.Ages(e-1).Hours, unit.Time
	}
	if run >= 0 {
		value, u := v.view.Shown(run, kind == unit.Time)
		w.Run = &unit.Quantity{Value: value, Unit: u}
		w.Early = math.IsNaN(age) || run < age/2
		w.Per, _ = v.view.PerWords(kind)
	}
	return kind
}

// stood finds what stood at the sample before, by walking up to it.
func (v *sampleVerdict) stood(w *Work, before *record.Step) {
	for _, ar := range v.view.Applied().Rules.Rules {
		if ar.Rule.On&rules.OnSample == 0 || ar.Component != v.comp {
			continue
		}
		then, _ := stood.After(v.view, ar.Rule, v.comp, judge.SampleAt(before))
		switch now, _ := v.latch(ar.Rule); {
		case then.Stage == 0:
		case now.Stage == 0:
			w.Cleared = append(w.Cleared, ar.Rule.Name)
		default:
			w.Standing = append(w.Standing, ar.Rule.Name)
		}
	}
}

// leading are the analytes furthest over the baseline in either sample.
func (v *sampleVerdict) leading(earlier lab.Sheet) []string {
	over := map[string]float64{}
	for _, r := range v.t.Lab[len(v.t.Lab)-1].Results {
		a := r.Analyte
		usual, ok := v.x.Mean(a)
		if !ok {
			continue
		}
		mean := usual.Value
		now, _, ok := v.x.Sheet.Times(a, mean)
		then, _, ok2 := earlier.Times(a, mean)
		if ok && ok2 {
			over[a] = math.Max(now, then)
		}
	}
	names := slices.Sorted(maps.Keys(over))
	slices.SortStableFunc(names, func(a, b string) int { return cmp.Compare(over[b], over[a]) })
	return names[:min(len(names), followed)]
}

func (v *sampleVerdict) over(analyte string, earlier lab.Sheet, kind unit.Kind) BeforeAndNow {
	a, _ := analytes.Find(analyte)
	now := v.x.Sheet
	out := BeforeAndNow{Analyte: analyte, Title: a.Title}
	out.Before, _, _ = earlier.Value(analyte)
	out.Now, _, _ = now.Value(analyte)
	out.Left, out.Expected, out.Made = answered(now.Carried(analyte)), answered(now.Expected(analyte)), answered(now.Made(analyte))
	out.RateBefore, out.Rate = v.rate(earlier, analyte, kind), v.rate(now, analyte, kind)
	if !v.exact(analyte) {
		return out // of a limit the method's error is not known
	}
	out.MadeWithin = answered(now.MadeError(analyte))
	then, _, ok := earlier.RateError(analyte, kind)
	since, why, ok2 := now.RateError(analyte, kind)
	if within := answered(math.Hypot(then, since), why, ok && ok2); within != nil {
		_, base := v.view.PerWords(kind)
		*within *= base
		out.RateWithin = within
	}
	return out
}

// answered is what a sheet answered, or nil.
func answered(v float64, _ string, ok bool) *float64 {
	if !ok {
		return nil
	}
	return &v
}

func (v *sampleVerdict) rate(s lab.Sheet, analyte string, kind unit.Kind) *float64 {
	r := answered(s.RateBy(analyte, kind))
	if r != nil {
		_, base := v.view.PerWords(kind)
		*r *= base
	}
	return r
}

// workLine is the work in a line: when and what.
func (v *sampleVerdict) workLine(s *record.Service) string {
	done := event.ReadIn(v.view.Said(), s.ServiceData).(*event.ServiceData)
	return interval.DateOf(time.Unix(0, s.At), v.view.Applied().Zone).String() + ": " + done.What()
}

func (w *Work) words() string {
	var parts []string
	say := func(what string, names []string) {
		if len(names) > 0 {
			parts = append(parts, what+": "+strings.Join(names, ", "))
		}
	}
	say("cleared", w.Cleared)
	say("still active", w.Standing)
	if w.Early {
		parts = append(parts, "too early to say more: the fluid has run less than half as much as before")
	} else {
		pace := map[int][]string{}
		for i := range w.Before {
			if b := &w.Before[i]; b.Rate != nil && b.RateBefore != nil {
				pace[b.pace()] = append(pace[b.pace()], b.Title)
			}
		}
		say("made more slowly since", pace[-1])
		say("made faster since", pace[1])
		say("made as fast as before, as far as the method can tell", pace[0])
	}
	if parts == nil {
		return "Cannot tell whether the work helped: there was no alarm before, and no wear rate is known."
	}
	return english.Capital(strings.Join(parts, "; ")) + "."
}

// madeWords say what was made since the work, and how sure that is.
func (b *BeforeAndNow) madeWords() string {
	exact := english.Short(*b.Made) + " ± " + english.Short(*b.MadeWithin) + " by the method alone"
	if math.Abs(*b.Made) <= *b.MadeWithin {
		return "made since: within the method's error (" + exact + ")"
	}
	return "made since: " + exact
}

// pace is 1 where the analyte is made faster than before the work, -1 where it is made
// more slowly, 0 where the method alone may account for the difference.
func (b *BeforeAndNow) pace() int {
	d := *b.Rate - *b.RateBefore
	switch {
	case b.RateWithin != nil && math.Abs(d) <= *b.RateWithin:
		return 0
	case d < 0:
		return -1
	}
	return 1
}

// part says what was done, and what became of the analytes that lead.
func (w *Work) part() Part {
	p := Part{Label: "work since the previous sample", Text: strings.Join(w.Done, "; ")}
	for i := range w.Before {
		p.Under = add(p.Under, "", w.Before[i].words(w))
	}
	p.Under = add(p.Under, "", w.Says)
	return p
}

// words tell of the analyte before the work, behind it and now.
func (b *BeforeAndNow) words(w *Work) string {
	s := fmt.Sprintf("%s: %s before", b.Title, english.Short(b.Before))
	if b.Left != nil {
		s += ", " + english.Short(*b.Left) + " left behind by the drain"
	}
	s += ", " + english.Short(b.Now) + " now"
	if b.Expected != nil {
		s += ", " + english.Short(*b.Expected) + " expected"
	}
	if b.Made != nil && b.MadeWithin != nil {
		s += "; " + b.madeWords()
	}
	if b.RateBefore != nil && b.Rate != nil && w.Run != nil {
		s += fmt.Sprintf("; made in %s: %s before, %s since", w.Per, english.Short(*b.RateBefore), english.Short(*b.Rate))
	}
	return s
}
