package engine

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// Verdict is what the latest sample of a component says, by the rules in force.
type Verdict struct {
	Vehicle   string `json:"vehicle"`
	Name      string `json:"name"` // the vehicle's name for people
	Component string `json:"component"`
	Fluid     string `json:"fluid,omitempty"`

	Sample     ID             `json:"sample"`
	Number     string         `json:"number"` // the laboratory's
	Revision   int            `json:"revision,omitempty"`
	Corrected  bool           `json:"corrected,omitempty"` // it replaces an earlier report
	Laboratory string         `json:"laboratory,omitempty"`
	Method     string         `json:"method,omitempty"`
	Point      string         `json:"point,omitempty"`    // where it was drawn
	Drawn      string         `json:"drawn"`              // local date
	FluidAge   *unit.Quantity `json:"fluidAge,omitempty"` // as stated or, where it is not, mixed
	// MixedAge is the age over partial exchanges, where it is another than FluidAge.
	MixedAge *unit.Quantity `json:"mixedAge,omitempty"`

	// Baseline is what the results are compared with; nil where there is none.
	Baseline *VerdictBaseline `json:"baseline,omitempty"`

	// Stage is normal, or the worst stage that stands of the rules that judge samples.
	Stage   string `json:"stage"`
	Summary string `json:"summary"`
	// Reasons are the strongest three of what stands; Further counts the others.
	Reasons []Reason `json:"reasons,omitempty"`
	Further int      `json:"further,omitempty"`
	// Judged counts the rules that this sample was judged by; NotJudged are the others.
	Judged    int              `json:"judged"`
	NotJudged []UnjudgedRule   `json:"notJudged,omitempty"`
	Results   []VerdictResult  `json:"results"`
	Notes     []string         `json:"notes,omitempty"` // what to know to read the sheet rightly
	FollowUps []string         `json:"followUps,omitempty"`
	Work      *VerdictWork     `json:"work,omitempty"` // done since the sample before
	Forecast  *VerdictForecast `json:"forecast,omitempty"`
	// Offer is another point for the work that renews the fluid, as the forecast has it.
	Offer *IntervalOffer `json:"offer,omitempty"`
	// NoOffer is why it offers no longer interval, where the forecast alone would.
	NoOffer string          `json:"noOffer,omitempty"`
	History *VerdictHistory `json:"history,omitempty"`
	// Made are the individuals charts of what the component makes.
	Made []VerdictMade `json:"made,omitempty"`
	Book string        `json:"book"`
}

// Reason is one rule that stands.
type Reason struct {
	Rule     string   `json:"rule"`
	Stage    string   `json:"stage"`
	Message  string   `json:"message"`
	PointsTo []string `json:"pointsTo,omitempty"`
	Source   string   `json:"source,omitempty"` // of the limit that was reached
	Advise   string   `json:"advise,omitempty"`
	Cautions []string `json:"cautions,omitempty"`
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

// VerdictResult is one result as the laboratory reported it, beside what it is
// judged as.
type VerdictResult struct {
	Analyte  string `json:"analyte"`
	Title    string `json:"title,omitempty"` // as people read it
	Reported string `json:"reported"`
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
	// Kept is the value over that of the fresh fluid, where the baseline has no mean of it.
	Kept *float64 `json:"kept,omitempty"`
	// Index is the viscosity index, beside the viscosity at 100 degC.
	Index *float64 `json:"index,omitempty"`
	// Grade is where a viscosity lies beside the grade that the fluid's name has.
	Grade *VerdictGrade `json:"grade,omitempty"`
	// Limits are those of rules that read this analyte alone, as times the baseline,
	// by stage.
	Limits map[string]float64 `json:"limits,omitempty"`
	// Drains is how many more drains like the last would bring it under its first limit.
	Drains *VerdictDrains `json:"drains,omitempty"`
	// Change is from the sample before; Real says that it is more than the method
	// alone accounts for.
	Change *float64 `json:"change,omitempty"`
	Real   bool     `json:"real,omitempty"`
	// Usual is how fast a metal is made beside the component's own earlier samples.
	Usual *VerdictUsual `json:"usual,omitempty"`
}

// VerdictUsual is an individuals chart of a component's own rates: the band that the
// earlier ones lie in, and the latest, in the analyte's unit for each Per.
type VerdictUsual struct {
	Latest float64 `json:"latest"`
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
	Per    string  `json:"per"`   // as "1,000 km"
	Rates  int     `json:"rates"` // how many earlier ones there are
	// Outside is 1 where the latest lies over the band by more than the method alone
	// accounts for, -1 where it lies under it.
	Outside int `json:"outside,omitempty"`
}

// verdicts read the latest sample of each component, or of the one named.
func verdicts(f *view, component string) []Verdict {
	var out []Verdict
	for i, c := range f.applied().reg.Components {
		if component == "" || component == c.Name {
			if v, ok := readSample(f, i); ok {
				out = append(out, v)
			}
		}
	}
	slices.SortFunc(out, func(a, b Verdict) int { return strings.Compare(a.Component, b.Component) })
	return out
}

// sampleVerdict collects the verdict on a component's latest sample.
type sampleVerdict struct {
	Verdict
	f    *view
	comp int
	t    timeline // ends with the sample
	x    *facts   // as the record stood at the sample
}

func readSample(f *view, comp int) (Verdict, bool) {
	t := f.timeline(comp)
	last := t.lastSample()
	if last < 0 {
		return Verdict{}, false
	}
	t = t.upTo(last)
	a, s := f.applied(), t.steps[last].sample
	v := &sampleVerdict{f: f, comp: comp, t: t, x: f.factsAt(comp, t.steps[last].place, max(t.steps[last].at, s.At))}
	v.x.reported = true
	v.Verdict = Verdict{Vehicle: f.rec.Vehicle, Name: a.reg.Name, Component: s.Component, Fluid: a.comps[comp].Fluid,
		Sample: s.ID, Number: s.Number, Revision: s.Revision, Laboratory: s.Laboratory, Method: s.Method, Point: s.Point,
		Drawn: s.drawn(a.zone), Book: f.bookHash()}
	v.Corrected = slices.ContainsFunc(f.rec.Samples, func(o Sample) bool {
		return o.Component == s.Component && o.Number == s.Number && o.ID.Source == s.ID.Source && o.Repeat == s.Repeat && o.Revision < s.Revision
	})
	v.age()
	v.Baseline = v.comparedWith()
	v.judge()
	v.results()
	v.Notes = append(sampleNotes(a.reg, t, last), v.notes()...)
	v.FollowUps = v.followUps()
	v.Work = v.work()
	out := f.outlook(comp)
	v.Forecast = v.forecast(&out)
	offered, none := f.offer(comp, &out)
	v.Offer, v.NoOffer = intervalOffer(offered, &out), none
	v.History = v.history()
	v.Made = v.made()
	v.Summary = v.summary()
	return v.Verdict, true
}

func (v *sampleVerdict) age() {
	age, kind, _, ok := v.x.sheet.Age()
	if !ok {
		return
	}
	value, u := v.f.shown(age, kind == unit.Time)
	v.FluidAge = &unit.Quantity{Value: value, Unit: u}
	if mixed, _, ok := v.x.sheet.MixedAge(kind); ok && math.Abs(mixed-age) > 0.01*age {
		value, u := v.f.shown(mixed, kind == unit.Time)
		v.MixedAge = &unit.Quantity{Value: value, Unit: u}
	}
}

// judge collects what stands of the rules that judge samples, the worst first.
func (v *sampleVerdict) judge() {
	worst := 0
	for _, ar := range v.f.applied().rules.Rules {
		if ar.Rule.On&rules.OnSample == 0 || ar.Component != v.comp {
			continue
		}
		l, _ := v.f.rec.latch(AlarmKey{ar.Rule.Name, v.Component})
		if len(l.Missing) > 0 {
			v.NotJudged = append(v.NotJudged, UnjudgedRule{ar.Rule.Name, l.Missing})
		} else {
			v.Judged++
		}
		if l.Stage > 0 {
			v.Reasons = append(v.Reasons, v.reason(ar.Rule, l))
			worst = max(worst, l.Stage)
		}
	}
	slices.SortStableFunc(v.Reasons, func(a, b Reason) int {
		return cmp.Or(cmp.Compare(b.stage, a.stage), cmp.Compare(b.strength, a.strength), strings.Compare(a.Rule, b.Rule))
	})
	const strongest = 3
	v.Stage = ruleStages[worst]
	v.Further = max(0, len(v.Reasons)-strongest)
	v.Reasons = v.Reasons[:len(v.Reasons)-v.Further]
}

// reason is why a rule stands, by this sample or, where it was not judged on this
// one, by the last that it was judged on.
func (v *sampleVerdict) reason(r *rules.Rule, l Latch) Reason {
	out := Reason{Rule: r.Name, Stage: ruleStages[l.Stage], PointsTo: r.PointsTo, Source: r.SourceOf(l.Stage), Cautions: cautions(r, l.Stage), stage: l.Stage, strength: 1}
	got := v.f.Judge.Run(r, v.x)
	if len(l.Missing) > 0 || len(got.Ends) == 0 {
		if a := v.f.rec.alarm(l.AlarmKey); a != nil {
			out.Message, out.Advise = a.Last.Message, a.Last.Advise
		}
		out.Earlier = earlierUnjudged
		return out
	}
	end := got.Ends[0]
	out.Message = v.f.Judge.Say(r, l.Stage, v.x, end.Measure)
	out.Advise = v.f.advice(r, l.Stage, v.x, end.Measure)
	if l.Masked {
		out.Earlier = v.f.whyMasked(v.comp, l)
	}
	if limit := end.Limits[l.Stage]; r.Measured && limit > 0 && end.Measure > 0 {
		out.strength = end.Measure / limit
		if r.Below {
			out.strength = limit / end.Measure
		}
	}
	return out
}

// VerdictBaseline is what is usual for the component and its fluid.
type VerdictBaseline struct {
	Name     string         `json:"name"`
	Source   string         `json:"source"`
	FluidAge *unit.Quantity `json:"fluidAge,omitempty"` // at which it is usual
}

// VerdictGrade is a viscosity beside the grade that its fluid should have.
type VerdictGrade struct {
	Name string `json:"name"` // "SAE 15W-40"
	In   bool   `json:"in"`
	// Out is by how much it lies outside, mm2/s: negative when too thin; 0 at an end that
	// does not belong to the grade.
	Out float64 `json:"out"`
	// Of are the grades whose band it lies in, where it lies outside its own.
	Of []string `json:"of,omitempty"`
}

// grade finds a grade in the fluid's name, such as "15W-40" or "hydraulic VG 46".
func (v *sampleVerdict) grade(r *VerdictResult) *VerdictGrade {
	words := strings.Fields(v.Fluid)
	for i := range words {
		g, ok := lab.GradeNamed(strings.Join(words[i:], " "))
		if !ok || g.Analyte != r.Analyte || *r.Low != *r.High {
			continue
		}
		out := &VerdictGrade{Name: g.Name}
		if out.Out, out.In = g.Out(*r.Low); !out.In {
			for _, of := range lab.GradesOf(r.Analyte, *r.Low) {
				out.Of = append(out.Of, of.Name)
			}
		}
		return out
	}
	return nil
}

func (v *sampleVerdict) comparedWith() *VerdictBaseline {
	b := v.x.baseline
	if b == nil || b.Mean == nil {
		return nil
	}
	out := &VerdictBaseline{Name: b.Name, Source: b.Source}
	if age, kind := baselineAge(b); age > 0 {
		value, u := v.f.shown(age, kind == unit.Time)
		out.FluidAge = &unit.Quantity{Value: value, Unit: u}
	}
	return out
}

// results puts each result as reported beside what it is judged as.
func (v *sampleVerdict) results() {
	s := &v.t.steps[len(v.t.steps)-1]
	read := s.sheet()
	n := 0
	for _, sheet := range s.sheets() {
		for i := range sheet.Results {
			v.result(&sheet.Results[i], read, n)
			n++
		}
	}
}

// result puts the n-th result of the sample's sheets.
func (v *sampleVerdict) result(d *ResultData, read *sheetRead, n int) {
	a, _ := analytes.Find(d.Analyte)
	out := VerdictResult{Analyte: d.Analyte, Title: a.Title, Reported: d.String(), Why: read.whys[n], Analyses: read.analyses[d.Analyte]}
	if out.Why == "" {
		r, _ := v.x.sheet.Result(d.Analyte)
		span := r.Span()
		out.Low, out.High, out.Unit = &span.Low, &span.High, analytes.UnitOf(d.Analyte)
		v.compare(&out)
	}
	v.Results = append(v.Results, out)
}

func (v *sampleVerdict) compare(out *VerdictResult) {
	if b := v.x.baseline; b != nil && b.Mean[out.Analyte] > 0 {
		if n, _, ok := v.x.sheet.Times(out.Analyte, b.Mean[out.Analyte]); ok {
			out.Times = &n
		}
		out.Limits = v.limits(out.Analyte, b.Mean[out.Analyte])
		out.Drains = v.drains(out, b.Mean[out.Analyte])
	} else if v.x.sheet.Fresh[out.Analyte] > 0 {
		out.Kept = answered(v.x.sheet.Kept(out.Analyte))
	}
	if out.Analyte == "KV100" {
		out.Index = answered(v.x.sheet.ViscosityIndex())
	}
	out.Grade = v.grade(out)
	if c, _, ok := v.x.sheet.Change(out.Analyte); ok && v.exact(out.Analyte) {
		out.Change = &c
		out.Real, _, _ = v.x.sheet.ChangeIsReal(out.Analyte)
		out.Usual = v.usual(out.Analyte)
	}
}

// usual compares a wear metal's rate with the component's own; nil where there are too
// few earlier ones.
func (v *sampleVerdict) usual(analyte string) *VerdictUsual {
	u, _, ok := v.x.sheet.Usual(analyte)
	if a, _ := analytes.Find(analyte); !ok || !a.Wear {
		return nil
	}
	per, base := v.f.perWords(u.Per)
	return &VerdictUsual{Latest: u.Latest * base, Low: math.Max(u.Lower, 0) * base, High: u.Upper * base, Per: per, Rates: u.Rates, Outside: u.Outside}
}

// exact reports whether this sample and the one before give the analyte as a number.
func (v *sampleVerdict) exact(analyte string) bool {
	n := 0
	for i := len(v.t.steps) - 1; i >= 0 && n < 2; i-- {
		if v.t.steps[i].sample == nil {
			continue
		}
		r, _ := lab.Sheet{History: v.t.lab[:i+1]}.Result(analyte)
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
	for _, ar := range v.f.applied().rules.Rules {
		for i := range ar.Rule.FollowUps {
			asked[ar.Rule.FollowUps[i].Name] = true
		}
	}
	var out []string
	for i := range v.f.rec.Alarms {
		if a := &v.f.rec.Alarms[i]; a.Task && a.Stage > 0 && a.Component == v.Component && asked[a.Rule] {
			out = append(out, a.Last.Message)
		}
	}
	return out
}
