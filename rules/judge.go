package rules

import (
	"math"
	"slices"
	"strings"
)

// Judge runs the conditions of one book. It keeps what a run needs, so use one a
// worker; it is not safe for concurrent use.
//
// Conditions are functions that were compiled when the book was loaded, in the
// syntax of the expr library: a rule has no loops, so every run ends, and each
// number is checked as it is reckoned, so that NaN and infinity are never
// taken for an answer.
type Judge struct {
	b *Book
	s state

	applied map[string]*Applied // by signature
	key     []byte              // room for the signature asked for
	order   []int               // and for the order of components
	ends    []End               // and for the outcome of a run
}

// NewJudge returns a Judge for the book.
func NewJudge(b *Book) *Judge { return &Judge{b: b, s: state{units: b.Units}} }

// censoredLimit is the most results below their limits that one rule may rest
// on: each doubles the runs.
const censoredLimit = 6

// room makes room for the names that a condition binds.
func (j *Judge) room(c *Condition) {
	if len(j.s.lets) < c.lets {
		j.s.lets = make([]operandValue, c.lets)
	}
}

// begin points the state at facts.
func (j *Judge) begin(f Facts, a *asks) {
	j.s.facts, j.s.vehicle, j.s.comp = f, f.Vehicle(), f.Component()
	j.s.begin(a)
}

// notJudged is the error of a `where` that cannot be answered.
type notJudged []string

func (m notJudged) Error() string { return "missing " + strings.Join(m, ", ") }

// Matches reports whether a `where` holds for the vehicle and component; a nil
// condition does. A condition that reads component does not hold without one.
// The error names what is missing, as of a component whose capacity is unknown;
// the answer is then false.
func (j *Judge) Matches(c *Condition, v *Vehicle, comp *Component) (bool, error) {
	if c == nil {
		return true, nil
	}
	if c.ReadsComponent && comp == nil {
		return false, nil
	}
	s := &j.s
	s.facts, s.vehicle, s.comp = nil, v, comp
	s.begin(c.asks)
	j.room(c)
	ok := c.value.truth(s)
	if missing := s.why(); missing != nil {
		return false, notJudged(missing)
	}
	return ok, nil
}

// why gives what was missing, sorted, each once; nil where nothing was.
func (s *state) why() []string {
	if len(s.missing) == 0 {
		return nil
	}
	out := slices.Clone(s.missing)
	slices.Sort(out)
	return slices.Compact(out)
}

// Number runs an expression that gives a number, such as a task's shorten. What
// is missing is listed, and v is then 0; a censored result on which it rests must
// give the same number at both ends.
func (j *Judge) Number(c *Condition, f Facts) (v float64, missing []string) {
	differs := false
	first := true
	missing = j.eachEnd(f, c.asks, func() {
		j.room(c)
		x := c.value.num(&j.s)
		differs = differs || !first && !Equal(x, v)
		if first {
			v, first = x, false
		}
	})
	if missing == nil && differs {
		missing = []string{"one number for both ends of a result below its limit"}
	}
	if missing != nil {
		return 0, missing
	}
	return v, nil
}

// eachEnd runs once for each choice of ends of the censored results met, the
// lower ends first, and returns what was missing in any run.
func (j *Judge) eachEnd(f Facts, a *asks, run func()) []string {
	for mask := uint32(0); ; mask++ {
		f.Ends(mask)
		j.begin(f, a)
		j.required()
		if len(j.s.missing) == 0 {
			run()
		}
		missing := j.s.why()
		n := f.Censored()
		if n > censoredLimit && missing == nil {
			missing = []string{"results above their limits (too many are below)"}
		}
		if missing != nil || mask+1 >= 1<<n {
			if mask > 0 {
				f.Ends(0)
			}
			return missing
		}
	}
}

// required asks every question that no has() guards, so that what is missing is
// known even where another operand would decide.
func (j *Judge) required() {
	for _, i := range j.s.asks.required {
		if a := &j.s.slots[i]; !a.known {
			j.s.answer(i, a)
		}
	}
}

// Run judges a rule. The outcome has an End for each different result that the
// ends of censored results give, the lower ends' first; or it lists what was
// missing, and the rule is not judged. The ends are good until the judge runs a rule
// again: it is asked for every rule on every sample.
func (j *Judge) Run(r *Rule, f Facts) Judged {
	if len(r.ToFill) > 0 {
		return Judged{Missing: r.ToFill}
	}
	var out Judged
	out.Missing = j.eachEnd(f, r.compiled.asks, func() {
		e := j.end(r)
		switch {
		case len(j.s.missing) > 0:
		case out.Ends == nil:
			j.ends = append(j.ends[:0], e)
			out.Ends = j.ends
		case !slices.ContainsFunc(out.Ends, func(o End) bool { return sameEnd(o, e) }):
			j.ends = append(j.ends, e)
			out.Ends = j.ends
		}
	})
	if out.Missing != nil {
		out.Ends = nil
	}
	return out
}

// end runs the rule's expressions once.
func (j *Judge) end(r *Rule) End {
	s, c := &j.s, r.compiled
	if c.measure == nil {
		e := End{Limits: [4]float64{nan, nan, nan, nan}}
		e.Raise = j.truth(c.raise)
		e.Clear = !e.Raise
		if c.clear != nil {
			e.Clear = j.truth(c.clear)
		}
		return e
	}
	j.room(c.measure)
	e := End{Measure: s.check(c.measure.value.num(s), c.measure.Text)}
	s.measure = e.Measure
	for i, l := range c.limits {
		e.Limits[i] = nan
		if l != nil {
			j.room(l)
			e.Limits[i] = s.check(l.value.num(s), l.Text)
		}
	}
	if r.Softened {
		s.soften(&e.Limits)
	}
	return e
}

// soften raises the limits of advisory and caution for a fluid older than the
// baseline's, by as many times as it is older, though not over the warning's. A
// warning is never softened: what the metal was made over does not take it out of
// the fluid. Where the age is not known nothing is softened.
func (s *state) soften(limits *[4]float64) {
	older, missing, ok := s.facts.Number(WordTimesTheAge, "")
	if !ok || !(older > 1) {
		older = 1
	}
	if s.record != nil {
		note := s.facts.Note(WordTimesTheAge, "")
		if !ok {
			note = "nothing is softened without " + missing
		}
		s.recordOnce(Evidence{Of: "soften by age", Value: older, Note: note})
	}
	for stage := Advisory; stage <= Caution; stage++ {
		softer := limits[stage] * older
		if softer > limits[Warning] { // false where there is no warning
			softer = max(limits[stage], limits[Warning])
		}
		limits[stage] = softer
	}
}

func (j *Judge) truth(c *Condition) bool {
	j.room(c)
	return c.value.truth(&j.s)
}

// sameEnd compares with NaN, the limit of a stage without one, equal to itself.
func sameEnd(a, b End) bool {
	if a.Measure != b.Measure || a.Raise != b.Raise || a.Clear != b.Clear {
		return false
	}
	for i := range a.Limits {
		if a.Limits[i] != b.Limits[i] && !(math.IsNaN(a.Limits[i]) && math.IsNaN(b.Limits[i])) {
			return false
		}
	}
	return true
}

// Why runs the rule again as it gave the end e and returns the operands with
// their values, in the order in which they were reckoned: each word once, each
// compared expression, a measure that is more than a word, and limits that are
// expressions.
func (j *Judge) Why(r *Rule, f Facts, e End) []Evidence {
	var found, first []Evidence
	c := r.compiled
	done := false
	j.eachEnd(f, c.asks, func() {
		if done {
			return
		}
		var rec []Evidence
		j.s.record = &rec
		got := j.end(r)
		j.s.record = nil
		if first == nil {
			first = rec
		}
		if sameEnd(got, e) {
			found, done = j.reckoned(c, rec, got), true
		}
	})
	if !done {
		return first
	}
	return found
}

// Explain runs the rule once, with each result as it was reported, and returns what it
// gives and the operands behind it, as Why does. ok is false where something is missing.
func (j *Judge) Explain(r *Rule, f Facts) (e End, evidence []Evidence, ok bool) {
	f.Ends(0)
	j.begin(f, r.compiled.asks)
	j.required()
	if len(j.s.missing) == 0 {
		j.s.record = &evidence
		e = j.end(r)
		j.s.record = nil
	}
	return e, j.reckoned(r.compiled, evidence, e), len(j.s.missing) == 0
}

// reckoned adds the measure and the limits that were reckoned to the words.
func (j *Judge) reckoned(c *compiledRule, rec []Evidence, e End) []Evidence {
	add := func(of *Condition, v float64) {
		if of != nil && !of.value.constant && !of.value.word {
			j.s.record = &rec
			j.s.recordOnce(Evidence{Of: strings.TrimSpace(of.Text), Value: v})
			j.s.record = nil
		}
	}
	add(c.measure, e.Measure)
	for i, l := range c.limits {
		add(l, e.Limits[i])
	}
	return rec
}

// Say renders the rule's message for a stage; without `say` it is the rule's title.
func (j *Judge) Say(r *Rule, stage int, f Facts, measure float64) string {
	if r.compiled.say == nil {
		return r.Title
	}
	return j.tell(r, r.compiled.say, stage, f, measure)
}

// Advise renders the rule's advice for a stage; "" where it has none.
func (j *Judge) Advise(r *Rule, stage int, f Facts, measure float64) string {
	if stage < 0 || stage >= len(r.compiled.advise) || r.compiled.advise[stage] == nil {
		return ""
	}
	return j.tell(r, r.compiled.advise[stage], stage, f, measure)
}

func (j *Judge) tell(r *Rule, t *template, stage int, f Facts, measure float64) string {
	f.Ends(0)
	j.begin(f, t.asks)
	j.s.stage, j.s.measure = stage, measure
	return j.render(t)
}

// BaselineFor returns the baseline that counts for the component: the first of
// Baselines whose `where` holds; nil where none does.
func (b *Book) BaselineFor(j *Judge, v *Vehicle, c *Component) *Baseline {
	for _, bl := range b.Baselines {
		if ok, _ := j.Matches(bl.Where, v, c); ok {
			return bl
		}
	}
	return nil
}

// Applied are the parts of a book that apply to one vehicle.
type Applied struct {
	Tasks     []AppliedTask
	Rules     []AppliedRule
	Baselines []*Baseline // by component; nil where none applies
	// Instead is, by component, the next that matches and holds figures of its own:
	// it counts where one made from the fleet does not say. nil where there is none.
	Instead []*Baseline
}

// AppliedTask is a task of a component, by its index, or of the vehicle (-1).
type AppliedTask struct {
	Task      *Task
	Component int
}

// AppliedRule is a rule on a component, by its index, or on the vehicle (-1).
type AppliedRule struct {
	Rule      *Rule
	Component int
}

// resolve runs every `where` for a vehicle of which the components are in that
// order by name.
func (b *Book) resolve(j *Judge, v *Vehicle, comps []Component, order []int) *Applied {
	each := func(perComponent bool, where *Condition, add func(int)) {
		if !perComponent {
			if ok, _ := j.Matches(where, v, nil); ok {
				add(-1)
			}
			return
		}
		for _, i := range order {
			if ok, _ := j.Matches(where, v, &comps[i]); ok {
				add(i)
			}
		}
	}
	out := &Applied{Baselines: make([]*Baseline, len(comps))}
	for _, t := range b.Tasks {
		if len(t.ToFill) > 0 {
			continue
		}
		each(t.PerComponent, t.Where, func(i int) { out.Tasks = append(out.Tasks, AppliedTask{t, i}) })
	}
	for _, r := range b.Rules {
		each(r.PerComponent, r.Where, func(i int) { out.Rules = append(out.Rules, AppliedRule{r, i}) })
	}
	out.yield()
	for i := range comps {
		out.Baselines[i] = b.BaselineFor(j, v, &comps[i])
	}
	b.instead(j, v, comps, out)
	return out
}

// yield takes out what another that applies in the same place goes over.
func (a *Applied) yield() {
	type place struct {
		name      string
		component int
	}
	taken := map[place]bool{}
	for _, t := range a.Tasks {
		for _, name := range t.Task.Over {
			taken[place{name, t.Component}] = true
		}
	}
	for _, r := range a.Rules {
		for _, name := range r.Rule.Over {
			taken[place{name, r.Component}] = true
		}
	}
	if len(taken) == 0 {
		return
	}
	a.Tasks = slices.DeleteFunc(a.Tasks, func(t AppliedTask) bool { return taken[place{t.Task.Name, t.Component}] })
	a.Rules = slices.DeleteFunc(a.Rules, func(r AppliedRule) bool { return taken[place{r.Rule.Name, r.Component}] })
}
