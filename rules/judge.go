package rules

import (
	"math"
	"slices"

	"telltale/rules/english"
	"telltale/rules/expression"
	"telltale/rules/word"
)

// End is what a rule's expressions gave for one choice of ends.
type End struct {
	Measure float64
	Limits  [4]float64 // by stage number; NaN where the stage has none, or lacks something for it
	Raise   bool
	Clear   bool // !Raise where the rule has no clear condition; false where that lacks something
}

// Judged is the outcome of running a rule: at least one End, or what was missing.
type Judged struct {
	Ends    []End
	Missing []string // sorted; not judged where not empty
	// Lacks is what single limits lacked, by stage number, or at 0 what clear did: these
	// alone were not judged.
	Lacks [4][]string
}

// nan is the limit of a stage that has none.
var nan = math.NaN()

// Judge runs the conditions of one book. It keeps what a run needs, so use one a
// worker; it is not safe for concurrent use.
//
// Conditions are functions that were compiled when the book was loaded, in the
// syntax of the expr library: a rule has no loops, so every run ends, and each
// number is checked as it is reckoned, so that NaN and infinity are never
// taken for an answer.
type Judge struct {
	run   expression.Runner
	ends  []End       // room for the outcome of a run
	lacks [4][]string // of the parts that are judged by themselves
}

// NewJudge returns a Judge for the book.
func NewJudge(b *Book) *Judge {
	return &Judge{run: expression.NewRunner(english.Reader{Units: b.Units})}
}

// Reads says for whom the judge writes from now on; at first in the book's units.
func (j *Judge) Reads(r english.Reader) { j.run.Reads(r) }

// Matches is [expression.Runner.Matches].
func (j *Judge) Matches(c *expression.Condition, v *word.Vehicle, comp *word.Component) (ok bool, missing []string) {
	return j.run.Matches(c, v, comp)
}

// Number is [expression.Runner.Only] for a factor, which is more than zero.
func (j *Judge) Number(c *expression.Condition, f word.Facts) (v float64, missing []string) {
	if v, missing = j.run.Only(c, f); missing == nil && v <= 0 {
		return 0, []string{"a number above 0 (it gives " + english.Number(v) + ")"}
	}
	return v, missing
}

// Run judges a rule. The outcome has an End for each different result that the
// ends of censored results give, the lower ends' first; or it lists what was
// missing, and the rule is not judged. The ends are good until the judge runs a rule
// again: it is asked for every rule on every sample.
func (j *Judge) Run(r *Rule, f word.Facts) Judged {
	if len(r.ToFill) > 0 {
		return Judged{Missing: r.ToFill}
	}
	var out Judged
	j.lacks = [4][]string{}
	out.Missing = j.run.EachEnd(f, r.run.asks, func() {
		e := j.end(r, f)
		switch {
		case !j.run.Complete():
		case out.Ends == nil:
			j.ends = append(j.ends[:0], e)
			out.Ends = j.ends
		case !slices.ContainsFunc(out.Ends, e.same):
			j.ends = append(j.ends, e)
			out.Ends = j.ends
		}
	})
	if out.Missing == nil && !slices.ContainsFunc(out.Ends, func(e End) bool { return e.Raise }) {
		out.Missing = j.run.Turned() // a rule that looked at nothing has nothing to say
	}
	if out.Missing != nil {
		out.Ends = nil
		return out
	}
	out.Lacks = j.lacks
	return out
}

// Read lists the analytes of which the last [Judge.Run] looked at the sample's result,
// sorted.
func (j *Judge) Read() []string { return j.run.Read() }

// end runs the rule's expressions once.
func (j *Judge) end(r *Rule, f word.Facts) End {
	s, c := &j.run, r.run
	e := End{Limits: [4]float64{nan, nan, nan, nan}}
	if c.measure == nil {
		e.Raise = s.Truth(c.raise)
		e.Clear = !e.Raise
		if c.clear != nil {
			if lacks := s.Apart(func() { e.Clear = s.Truth(c.clear) }); lacks != nil {
				e.Clear = false
				if !e.Raise { // else nobody asks
					j.lacks[0] = lacks
				}
			}
		}
		return e
	}
	e.Measure = s.Measure(c.measure)
	for i, l := range c.limits {
		if l == nil {
			continue
		}
		if lacks := s.Apart(func() { e.Limits[i] = s.Number(l) }); lacks != nil {
			e.Limits[i], j.lacks[i] = nan, lacks
		}
	}
	if r.Softened {
		j.soften(f, &e.Limits)
	}
	return e
}

// soften raises the limits of advisory and caution for a fluid older than the
// baseline's, by as many times as it is older, though not over the warning's. A
// warning is never softened: what the metal was made over does not take it out of
// the fluid. Where the age is not known nothing is softened.
func (j *Judge) soften(f word.Facts, limits *[4]float64) {
	older, missing, ok := f.Number(word.TimesTheAge, "")
	if !ok || !(older > 1) {
		older = 1
	}
	if j.run.Recording() {
		note := f.Note(word.TimesTheAge, "")
		if !ok {
			note = "nothing is softened without " + missing
		}
		j.run.Record(word.Evidence{Of: "soften by age", Value: older, Note: note})
	}
	for stage := Advisory; stage <= Caution; stage++ {
		softer := limits[stage] * older
		if softer > limits[Warning] { // false where there is no warning
			softer = max(limits[stage], limits[Warning])
		}
		limits[stage] = softer
	}
}

// same compares with NaN, the limit of a stage without one, equal to itself.
func (e End) same(o End) bool {
	for i, l := range e.Limits {
		if l != o.Limits[i] && !(math.IsNaN(l) && math.IsNaN(o.Limits[i])) {
			return false
		}
	}
	return e.Measure == o.Measure && e.Raise == o.Raise && e.Clear == o.Clear
}

// Why runs the rule again as it gave the end e and returns the operands with
// their values, in the order in which they were reckoned: each word once, each
// compared expression, a measure that is more than a word, and limits that are
// expressions.
func (j *Judge) Why(r *Rule, f word.Facts, e End) []word.Evidence {
	var found, first []word.Evidence
	j.run.EachEnd(f, r.run.asks, func() {
		if found != nil {
			return
		}
		same := false
		recorded := j.run.Recorded(func() {
			got := j.end(r, f)
			if same = got.same(e); same {
				j.reckoned(r.run, got)
			}
		})
		if first == nil {
			first = recorded
		}
		if same {
			found = recorded
		}
	})
	if found == nil {
		return first
	}
	return found
}

// Explain runs the rule once, with each result as it was reported, and returns what it
// gives and the operands behind it, as Why does. ok is false where something is missing.
func (j *Judge) Explain(r *Rule, f word.Facts) (e End, evidence []word.Evidence, ok bool) {
	f.Ends(0)
	j.run.Begin(f, r.run.asks)
	evidence = j.run.Recorded(func() {
		e = j.end(r, f)
		j.reckoned(r.run, e)
	})
	return e, evidence, j.run.Complete()
}

// reckoned adds the measure and the limits that were reckoned to the words.
func (j *Judge) reckoned(c *program, e End) {
	j.run.RecordReckoned(c.measure, e.Measure)
	for i, l := range c.limits {
		if !math.IsNaN(e.Limits[i]) {
			j.run.RecordReckoned(l, e.Limits[i])
		}
	}
}

// Say renders the rule's message for a stage; without `say` it is the rule's title.
func (j *Judge) Say(r *Rule, stage int, f word.Facts, measure float64) string {
	if r.compiled.say == nil {
		return r.Title
	}
	return j.run.Fill(r.compiled.say, f, StageNames[stage], measure, r.compiled.measure)
}

// Advise renders the rule's advice for a stage; "" where it has none.
func (j *Judge) Advise(r *Rule, stage int, f word.Facts, measure float64) string {
	if stage < 0 || stage >= len(r.compiled.advise) || r.compiled.advise[stage] == nil {
		return ""
	}
	return j.run.Fill(r.compiled.advise[stage], f, StageNames[stage], measure, r.compiled.measure)
}
