// Package sample reads a component's sample as a whole: results beside what they are judged
// as, what stands, what the work before it did, and when the fluid reaches its first
// limit. It asks a [judge.View] and changes nothing.
//
// An earlier sample is read as if it were the latest: by the rules in force now, with the
// samples and the work up to it. What people were told of it then is in the history.
package sample

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/judge"
	"telltale/engine/lab"
	"telltale/engine/latch"
	"telltale/engine/origin"
	"telltale/engine/outlook"
	"telltale/engine/recall"
	"telltale/engine/record"
	"telltale/engine/stood"
	"telltale/engine/usual"
	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// Verdict is what a sample of a component says, by the rules in force.
type Verdict struct {
	Vehicle   string `json:"vehicle"`
	Name      string `json:"name"` // the vehicle's name for people
	Component string `json:"component"`
	Fluid     string `json:"fluid,omitempty"`

	Sample     event.ID `json:"sample"`
	Number     string   `json:"number"` // the laboratory's
	Revision   int      `json:"revision,omitempty"`
	Corrected  bool     `json:"corrected,omitempty"` // it replaces an earlier report
	Laboratory string   `json:"laboratory,omitempty"`
	Method     string   `json:"method,omitempty"`
	Point      string   `json:"point,omitempty"` // where it was drawn
	Drawn      string   `json:"drawn"`           // local date
	// Earlier: there is a later sample. What follows of the latest alone is left out:
	// follow-ups, forecast and offer.
	Earlier  bool           `json:"earlier,omitempty"`
	FluidAge *unit.Quantity `json:"fluidAge,omitempty"` // as stated or, where it is not, mixed
	// MixedAge is the age over partial exchanges, where it is another than FluidAge.
	MixedAge *unit.Quantity `json:"mixedAge,omitempty"`

	// Baseline is what the results are compared with; nil where there is none.
	Baseline *Baseline `json:"baseline,omitempty"`
	// AverageAge is the age of the fluid that the laboratory's own averages are of; nil
	// where the sheet prints none, or no age of them.
	AverageAge *unit.Quantity `json:"averageAge,omitempty"`

	// Stage is normal, or the worst stage that stands of the rules that judge samples.
	Stage   alarm.Stage `json:"stage"`
	Summary string      `json:"summary"`
	// AllClear: nothing stands, a rule that judged looked at every result, and most rules
	// could judge. Only then is the sheet called normal.
	AllClear bool `json:"allClear"`
	// Reasons are the strongest three of what stands; Further counts the others.
	Reasons []Reason `json:"reasons,omitempty"`
	Further int      `json:"further,omitempty"`
	// Judged counts the rules that this sample was judged by; NotJudged are the others.
	Judged    int            `json:"judged"`
	NotJudged []UnjudgedRule `json:"notJudged,omitempty"`
	// Unread are the analytes of results that no rule which judged looked at.
	Unread  []string `json:"unread,omitempty"`
	Results []Result `json:"results"`
	Notes   []string `json:"notes,omitempty"` // what to know to read the sheet rightly
	// Doubt says why the sheet may be of another bottle; it is one of Notes.
	Doubt     string    `json:"doubt,omitempty"`
	FollowUps []string  `json:"followUps,omitempty"`
	Work      *Work     `json:"work,omitempty"` // done since the sample before
	Forecast  *Forecast `json:"forecast,omitempty"`
	// Offer is another point for the work that renews the fluid, as the forecast has it.
	Offer *IntervalOffer `json:"offer,omitempty"`
	// NoOffer is why it offers no longer interval, where the forecast alone would.
	NoOffer string   `json:"noOffer,omitempty"`
	History *History `json:"history,omitempty"`
	// Made are the individuals charts of what the component makes.
	Made []Made `json:"made,omitempty"`
	// Origin is where the metals come from that are really more than usual: evidence, and
	// no finding. nil where none is.
	Origin *origin.Reading `json:"origin,omitempty"`
	Book   string          `json:"book"`
}

// Reason is one rule that stands.
type Reason struct {
	Rule     string      `json:"rule"`
	Title    string      `json:"title,omitempty"` // the rule's
	Stage    alarm.Stage `json:"stage"`
	Message  string      `json:"message"`
	PointsTo []string    `json:"pointsTo,omitempty"`
	Source   string      `json:"source,omitempty"` // of the limit that was reached
	Advise   string      `json:"advise,omitempty"`
	Cautions []string    `json:"cautions,omitempty"`
	// OwnCautions are the book's words for those of Cautions that it words itself.
	OwnCautions map[string]string `json:"ownCautions,omitempty"`
	// Earlier says that an earlier sample raised it and this one does not show it:
	// it was not judged on this one, or an exchange hides the evidence.
	Earlier string `json:"earlier,omitempty"`

	stage    int
	strength float64 // how far past its limit, as a ratio
}

// UnjudgedRule is a rule that the sample could not be judged by.
type UnjudgedRule struct {
	Rule    string   `json:"rule"`
	Missing []string `json:"missing"`
}

// Result is one result as the laboratory reported it, beside what it is
// judged as.
type Result struct {
	Analyte  string `json:"analyte"`
	Title    string `json:"title,omitempty"` // as people read it
	Reported string `json:"reported"`
	// ReportedIn is the unit in which the laboratory gave it.
	ReportedIn string `json:"reportedIn,omitempty"`
	// Low and High are equal where the value is known; both absent, with Why, where
	// the result is not judged. In Unit.
	Low  *float64 `json:"low,omitempty"`
	High *float64 `json:"high,omitempty"`
	Unit string   `json:"unit,omitempty"`
	Why  string   `json:"why,omitempty"`
	// Analyses counts those of the analyte in this sample where there are more than
	// one; Low and High are then of all of them together.
	Analyses int `json:"analyses,omitempty"`
	// Times is the value over the baseline's mean.
	Times *float64 `json:"times,omitempty"`
	// Starting says that the mean is a starting figure, nobody's own, and Printed that it is
	// the laboratory's average.
	Starting bool `json:"starting,omitempty"`
	Printed  bool `json:"printed,omitempty"`
	// Excess is what the sample holds beyond what is usual for the fluid's age, where that
	// is more than method and spread account for.
	Excess *float64 `json:"excess,omitempty"`
	// Past are the results of the component's earlier samples, in Unit; nil where there are
	// none.
	Past *Past `json:"past,omitempty"`
	// Average is what the laboratory prints beside the result as usual, in Unit.
	Average *float64 `json:"average,omitempty"`
	// Kept is the value over that of the fresh fluid, where the baseline has no mean of it.
	Kept *float64 `json:"kept,omitempty"`
	// Index is the viscosity index, beside the viscosity at 100 degC.
	Index *float64 `json:"index,omitempty"`
	// Grade is where a viscosity lies beside the grade that the fluid's name has.
	Grade *Grade `json:"grade,omitempty"`
	// Limits are those of rules that read this analyte alone, as times the baseline,
	// by stage.
	Limits map[alarm.Stage]float64 `json:"limits,omitempty"`
	// Drains is how many more drains like the last would bring it under its first limit.
	Drains *Drains `json:"drains,omitempty"`
	// Change is from the sample before; Real says that it is more than the method
	// alone accounts for.
	Change *float64 `json:"change,omitempty"`
	Real   bool     `json:"real,omitempty"`
	// Usual is how fast a metal is made beside the component's own earlier samples.
	Usual *Usual `json:"usual,omitempty"`
}

// Past is what earlier samples had of an analyte: of one below or above a limit that limit.
type Past struct {
	Least   float64 `json:"least"`
	Most    float64 `json:"most"`
	Samples int     `json:"samples"`
}

// Usual is a control chart of a component's own rates: the band that the
// earlier ones lie in, and the latest, in the analyte's unit for each Per.
type Usual struct {
	Latest float64 `json:"latest"`
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
	Per    string  `json:"per"`   // as "1,000 km"
	Rates  int     `json:"rates"` // how many earlier ones there are
	// Outside is 1 where the latest lies over the band by more than the method alone
	// accounts for, -1 where it lies under it.
	Outside int `json:"outside,omitempty"`
}

// Verdicts read the latest sample of each component, or of the one named.
func Verdicts(v *judge.View, component string) []Verdict {
	var out []Verdict
	for i, c := range v.Applied().Reg.Components {
		if t := v.Timeline(i); (component == "" || component == c.Name) && t.LastSample() >= 0 {
			out = append(out, readSample(v, i, t.LastSample()))
		}
	}
	slices.SortFunc(out, func(a, b Verdict) int { return strings.Compare(a.Component, b.Component) })
	return out
}

// Numbered reads the samples of that number, of each component or of the one named, the
// latest of a component first: laboratories may use a number each.
func Numbered(v *judge.View, component, number string) []Verdict {
	var out []Verdict
	for i, c := range v.Applied().Reg.Components {
		if component != "" && component != c.Name {
			continue
		}
		steps := v.Timeline(i).Steps
		for k := len(steps) - 1; k >= 0; k-- {
			if s := steps[k].Sample; s != nil && s.Number == number {
				out = append(out, readSample(v, i, k))
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Verdict) int { return strings.Compare(a.Component, b.Component) })
	return out
}

// sampleVerdict collects the verdict on a component's sample.
type sampleVerdict struct {
	Verdict
	view *judge.View
	comp int
	t    record.Timeline // ends with the sample
	at   judge.Judgement
	x    *judge.Facts // as the record stood at the sample
}

// readSample reads the sample at a step of the component's timeline.
func readSample(v *judge.View, comp, step int) Verdict {
	t := v.Timeline(comp)
	last := t.LastSample()
	t = t.UpTo(step)
	a, s := v.Applied(), t.Steps[step].Sample
	told := &sampleVerdict{view: v, comp: comp, t: t, at: judge.SampleAt(&t.Steps[step])}
	told.x = v.FactsAt(comp, told.at)
	told.x.Reported = true
	told.Verdict = Verdict{Vehicle: v.Rec.Shown(), Name: a.Reg.Name, Component: s.Component, Fluid: a.Comps[comp].Fluid,
		Sample: s.ID, Number: s.Number, Revision: s.Revision, Corrected: corrected(v.Rec, s), Laboratory: s.Laboratory, Method: s.Method, Point: s.Point,
		Drawn: s.DrawnOn(a.Zone), Earlier: step < last, Book: v.BookHash()}
	told.age()
	told.Baseline = told.comparedWith()
	told.judge()
	told.results()
	told.Origin = told.origin()
	told.Doubt = told.doubted()
	told.Notes = append(record.NotesOn(a.Reg, t, step, v.Said()), told.notes()...)
	told.Work = told.work()
	if !told.Earlier {
		told.ahead()
	}
	told.History = told.history()
	told.Made = told.made()
	told.Summary = told.summary()
	return told.Verdict
}

// corrected reports whether the sample replaces an earlier report of itself.
func corrected(r *record.Record, s *record.Sample) bool {
	return slices.ContainsFunc(r.Samples, func(o record.Sample) bool {
		return o.Component == s.Component && o.Number == s.Number && o.ID.Source == s.ID.Source && o.Repeat == s.Repeat && o.Revision < s.Revision
	})
}

// ahead is what follows of the latest sample.
func (v *sampleVerdict) ahead() {
	v.FollowUps = v.followUps()
	if v.Stage == alarm.Warning {
		return // which comes before any date
	}
	out := outlook.Of(v.view, v.comp)
	v.Forecast = v.forecast(&out)
	offered, none := out.Offer()
	v.Offer, v.NoOffer = intervalOffer(offered, &out), none
}

// latch is how a rule stood once the sample was judged, and where it last could be: of the
// latest sample as the record has it.
func (v *sampleVerdict) latch(r *rules.Rule) (latch.Latch, judge.Judgement) {
	if v.Earlier {
		return stood.After(v.view, r, v.comp, v.at)
	}
	l, _ := v.view.Rec.LatchOf(v.view.Key(r.Name, v.comp))
	return l, judge.Judgement{}
}

func (v *sampleVerdict) age() {
	age, kind, _, ok := v.x.Sheet.Age()
	if !ok {
		return
	}
	value, u := v.view.Shown(age, kind == unit.Time)
	v.FluidAge = &unit.Quantity{Value: value, Unit: u}
	if mixed, _, ok := v.x.Sheet.MixedAge(kind); ok && math.Abs(mixed-age) > 0.01*age {
		value, u := v.view.Shown(mixed, kind == unit.Time)
		v.MixedAge = &unit.Quantity{Value: value, Unit: u}
	}
}

// judge collects what stands of the rules that judge samples, the worst first.
func (v *sampleVerdict) judge() {
	worst := 0
	read := map[string]bool{}
	for _, ar := range v.view.Applied().Rules.Rules {
		if ar.Rule.On&rules.OnSample == 0 || ar.Component != v.comp {
			continue
		}
		l, last := v.latch(ar.Rule)
		if len(l.Missing) > 0 {
			v.NotJudged = append(v.NotJudged, UnjudgedRule{ar.Rule.Name, l.Missing})
		}
		if !v.unjudged(&l) {
			v.Judged++
			v.view.Judge.Run(ar.Rule, v.x)
			for _, a := range v.view.Judge.Read() {
				read[a] = true
			}
		}
		if l.Stage > 0 {
			v.Reasons = append(v.Reasons, v.reason(ar.Rule, l, last))
			worst = max(worst, l.Stage)
		}
	}
	slices.SortStableFunc(v.Reasons, func(a, b Reason) int {
		return cmp.Or(cmp.Compare(b.stage, a.stage), cmp.Compare(b.strength, a.strength), strings.Compare(a.Rule, b.Rule))
	})
	const strongest = 3
	v.Stage = alarm.RuleStages[worst]
	v.Unread = v.unread(read)
	v.AllClear = worst == 0 && v.Judged > 0 && len(v.Unread) == 0 && len(v.NotJudged) <= v.Judged
	v.Further = max(0, len(v.Reasons)-strongest)
	v.Reasons = v.Reasons[:len(v.Reasons)-v.Further]
}

// unjudged reports whether the rule was not judged on this sample. Where single limits
// lacked something, the others were.
func (v *sampleVerdict) unjudged(l *latch.Latch) bool {
	return len(l.Missing) > 0 && l.Judged != v.Sample
}

// unread are the results, in the order of the sheet, that nobody looked at. One that could
// not be read is told of with itself.
func (v *sampleVerdict) unread(read map[string]bool) (out []string) {
	s := &v.t.Steps[len(v.t.Steps)-1]
	whys, n := s.Sheet().Whys, 0
	for _, sheet := range s.Sheets() {
		for i := range sheet.Results {
			if a := sheet.Results[i].Analyte; whys[n] == "" && !read[a] && !slices.Contains(out, a) {
				out = append(out, a)
			}
			n++
		}
	}
	return out
}

// reason is why a rule stands, by this sample or, where it was not judged on this
// one, by the last that it was judged on.
func (v *sampleVerdict) reason(r *rules.Rule, l latch.Latch, last judge.Judgement) Reason {
	out := Reason{Rule: r.Name, Title: r.Title, Stage: alarm.RuleStages[l.Stage], PointsTo: r.PointsTo, Source: r.SourceOf(l.Stage), Cautions: judge.Cautions(r, l.Stage), stage: l.Stage, strength: 1}
	out.OwnCautions = v.view.Book.Own(out.Cautions)
	got := v.view.Judge.Run(r, v.x)
	if v.unjudged(&l) || len(got.Ends) == 0 {
		out.Message, out.Advise = v.saidBefore(r, l, last)
		out.Earlier = earlierUnjudged
		return out
	}
	end := got.Ends[0]
	out.Message = v.view.Say(r, l.Stage, v.x, end.Measure)
	out.Advise = v.view.Advice(r, l.Stage, v.x, end.Measure)
	if l.Masked {
		out.Earlier = recall.Masked(v.view, r, v.comp, l)
	}
	if limit := end.Limits[l.Stage]; r.Measured && limit > 0 && end.Measure > 0 {
		out.strength = end.Measure / limit
		if r.Below {
			out.strength = limit / end.Measure
		}
	}
	return out
}

// saidBefore is what the rule said when it could be judged last.
func (v *sampleVerdict) saidBefore(r *rules.Rule, l latch.Latch, last judge.Judgement) (message, advise string) {
	if v.Earlier {
		x := v.view.FactsAt(v.comp, last)
		x.Reported = true
		if got := v.view.Judge.Run(r, x); len(got.Ends) > 0 {
			m := got.Ends[0].Measure
			return v.view.Say(r, l.Stage, x, m), v.view.Advice(r, l.Stage, x, m)
		}
	} else if a := v.view.Rec.Alarm(l.Key); a != nil {
		told := v.view.Told(&a.Last)
		return told.Message, told.Advise
	}
	return r.Name, ""
}

// Baseline is what is usual for the component and its fluid.
type Baseline struct {
	Name     string         `json:"name"`
	Source   string         `json:"source"`
	FluidAge *unit.Quantity `json:"fluidAge,omitempty"` // at which it is usual
}

// Grade is a viscosity beside the grade that its fluid should have.
type Grade struct {
	Name string `json:"name"` // "SAE 15W-40"
	In   bool   `json:"in"`
	// Out is by how much it lies outside, mm2/s: negative when too thin; 0 at an end that
	// does not belong to the grade.
	Out float64 `json:"out"`
	// Of are the grades whose band it lies in, where it lies outside its own.
	Of []string `json:"of,omitempty"`
}

// grade finds a grade in the fluid's name, such as "15W-40" or "hydraulic VG 46".
func (v *sampleVerdict) grade(r *Result) *Grade {
	g, ok := lab.GradeIn(v.Fluid)
	if !ok || g.Analyte != r.Analyte || *r.Low != *r.High {
		return nil
	}
	out := &Grade{Name: g.Name}
	if out.Out, out.In = g.Out(*r.Low); !out.In {
		for _, of := range lab.GradesOf(r.Analyte, *r.Low) {
			out.Of = append(out.Of, of.Name)
		}
	}
	return out
}

func (v *sampleVerdict) comparedWith() *Baseline {
	b := v.x.Baseline
	if b == nil || b.Mean == nil {
		return nil
	}
	out := &Baseline{Name: b.Name, Source: b.Source}
	if age, kind := usual.Age(b); age > 0 {
		value, u := v.view.Shown(age, kind == unit.Time)
		out.FluidAge = &unit.Quantity{Value: value, Unit: u}
	}
	return out
}

// results puts each result as reported beside what it is judged as.
func (v *sampleVerdict) results() {
	s := &v.t.Steps[len(v.t.Steps)-1]
	read := s.Sheet()
	n := 0
	for _, sheet := range s.Sheets() {
		for i := range sheet.Results {
			v.result(&sheet.Results[i], read, n)
			n++
		}
	}
}

// result puts the n-th result of the sample's sheets.
func (v *sampleVerdict) result(d *event.ResultData, read *record.Sheet, n int) {
	a, _ := analytes.Find(d.Analyte)
	out := Result{Analyte: d.Analyte, Title: a.Title, Reported: d.String(), ReportedIn: d.Unit, Past: v.past(d.Analyte), Why: read.Whys[n], Analyses: read.Analyses[d.Analyte]}
	if out.Why == "" {
		r, _ := v.x.Sheet.Result(d.Analyte)
		span := r.Span()
		out.Low, out.High, out.Unit = &span.Low, &span.High, analytes.UnitOf(d.Analyte)
		v.compare(&out)
		v.average(&out, read)
	}
	out.readIn(v.view, d)
	v.Results = append(v.Results, out)
}

// past is what the earlier samples had of an analyte.
func (v *sampleVerdict) past(analyte string) *Past {
	var out *Past
	for _, step := range v.t.Lab[:len(v.t.Lab)-1] {
		for _, r := range step.Results {
			switch {
			case r.Analyte != analyte:
			case out == nil:
				out = &Past{r.Value, r.Value, 1}
			default:
				out.Least, out.Most, out.Samples = math.Min(out.Least, r.Value), math.Max(out.Most, r.Value), out.Samples+1
			}
		}
	}
	return out
}

// average puts the laboratory's own average beside a result.
func (v *sampleVerdict) average(out *Result, read *record.Sheet) {
	average, ok := read.Average(out.Analyte)
	if !ok {
		return
	}
	out.Average = &average
	if age, kind, ok := read.AverageAge(out.Analyte); ok && v.AverageAge == nil {
		value, u := v.view.Shown(age, kind == unit.Time)
		v.AverageAge = &unit.Quantity{Value: value, Unit: u}
	}
}

func (v *sampleVerdict) compare(out *Result) {
	if mean, ok := v.x.Mean(out.Analyte); ok {
		out.Times, out.Starting, out.Printed = answered(v.x.Sheet.Times(out.Analyte, mean.Value)), mean.Starting, mean.Printed
		out.Limits = v.limits(out.Analyte, mean.Value)
		out.Drains = v.drains(out, mean.Value)
	} else if v.x.Sheet.Fresh[out.Analyte] > 0 {
		out.Kept = answered(v.x.Sheet.Kept(out.Analyte))
	}
	if e, _, ok := v.x.Excess(out.Analyte); ok && e.Real() && *out.Low == *out.High {
		out.Excess = &e.Excess
	}
	if out.Analyte == "KV100" {
		out.Index = answered(v.x.Sheet.ViscosityIndex())
	}
	out.Grade = v.grade(out)
	if c, _, ok := v.x.Sheet.Change(out.Analyte); ok && v.exact(out.Analyte) {
		out.Change = &c
		out.Real, _, _ = v.x.Sheet.ChangeIsReal(out.Analyte)
		out.Usual = v.usual(out.Analyte)
	}
}

// usual compares a wear metal's rate with the component's own; nil where there are too
// few earlier ones.
func (v *sampleVerdict) usual(analyte string) *Usual {
	u, _, ok := v.x.Sheet.Usual(analyte)
	if a, _ := analytes.Find(analyte); !ok || !a.Wear {
		return nil
	}
	per, base := v.view.PerWords(u.Per)
	return &Usual{Latest: u.Latest * base, Low: math.Max(u.Lower, 0) * base, High: u.Upper * base, Per: per, Rates: u.Rates, Outside: u.Outside}
}

// exact reports whether this sample and the one before give the analyte as a number.
func (v *sampleVerdict) exact(analyte string) bool {
	n := 0
	for i := len(v.t.Steps) - 1; i >= 0 && n < 2; i-- {
		if v.t.Steps[i].Sample == nil {
			continue
		}
		r, _ := lab.Sheet{History: v.t.Lab[:i+1]}.Result(analyte)
		if r.Censored || r.Above {
			return false
		}
		n++
	}
	return true
}

// followUps are those that stand for this component because a rule asked.
func (v *sampleVerdict) followUps() []string {
	asked := map[string]bool{}
	for _, ar := range v.view.Applied().Rules.Rules {
		for i := range ar.Rule.FollowUps {
			asked[ar.Rule.FollowUps[i].Name] = true
		}
	}
	var out []string
	for i := range v.view.Rec.Alarms {
		if a := &v.view.Rec.Alarms[i]; a.Task && a.Stage > 0 && a.Component == v.Component && asked[a.Rule] {
			out = append(out, v.view.Told(&a.Last).Message)
		}
	}
	return out
}
