package expression

import (
	"math"
	"slices"
	"strings"

	"telltale/rules/english"
	"telltale/rules/expression/bounds"
	"telltale/rules/word"
)

// Runner runs conditions, and is what one run works on. It keeps what a run needs, so
// use one a worker; it is not safe for concurrent use.
type Runner struct {
	facts    word.Facts
	vehicle  *word.Vehicle
	comp     *word.Component
	measure  float64
	stage    string
	measured *Condition // that gives the measure of which a text speaks; nil for none

	asks  *Asks
	slots []slot // by number of the question
	lets  []operandValue

	missing []string
	open    bounds.Bounds    // what the number could be that lacked something last
	read    []int            // the questions about the sample's results that were answered, over all ends
	turned  []string         // what guards found not to be there
	record  *[]word.Evidence // nil but for the instrumented run
	reader  english.Reader   // for whom texts are written
}

// NewRunner returns a Runner that writes for the reader.
func NewRunner(r english.Reader) Runner { return Runner{reader: r} }

// Reads says for whom texts are written from now on.
func (s *Runner) Reads(r english.Reader) { s.reader = r }

// slot is the answer to one question in one run.
type slot struct {
	value float64
	known bool
	why   string // what is missing for an answer
}

// operandValue is what a let name stands for in one run.
type operandValue struct {
	num     float64
	text    string
	truth   bool
	missing []string
	open    bounds.Bounds // what num could be, where something is missing
}

// begin prepares for conditions that share a, without facts.
func (s *Runner) begin(v *word.Vehicle, comp *word.Component, a *Asks) {
	n := len(a.list)
	if cap(s.slots) < n {
		s.slots = make([]slot, n)
	}
	s.slots = s.slots[:n]
	clear(s.slots)
	s.facts, s.vehicle, s.comp, s.asks, s.missing = nil, v, comp, a, s.missing[:0]
}

// Begin starts a run of conditions that share a on facts.
func (s *Runner) Begin(f word.Facts, a *Asks) {
	s.begin(f.Vehicle(), f.Component(), a)
	s.facts = f
}

// Complete reports whether nothing that the run asked for so far was missing.
func (s *Runner) Complete() bool { return len(s.missing) == 0 }

// censoredLimit is the most results below their limits that one rule may rest
// on: each doubles the runs.
const censoredLimit = 6

// EachEnd runs once for each choice of ends of the censored results met, the
// lower ends first, and returns what was missing in any run, sorted.
func (s *Runner) EachEnd(f word.Facts, a *Asks, run func()) []string {
	s.read, s.turned = s.read[:0], s.turned[:0]
	for mask := uint32(0); ; mask++ {
		f.Ends(mask)
		s.Begin(f, a)
		run()
		missing := s.why()
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

// why gives what was missing, sorted, each once; nil where nothing was.
func (s *Runner) why() []string {
	if s.Complete() {
		return nil
	}
	out := slices.Clone(s.missing)
	slices.Sort(out)
	return slices.Compact(out)
}

// Matches reports whether a `where` holds for the vehicle and component; a nil
// condition does. A condition that reads component does not hold without one.
// missing names what it cannot be answered without, as of a component whose capacity is
// unknown; the answer is then false.
func (s *Runner) Matches(c *Condition, v *word.Vehicle, comp *word.Component) (ok bool, missing []string) {
	if c == nil {
		return true, nil
	}
	if c.ReadsComponent && comp == nil {
		return false, nil
	}
	s.begin(v, comp, c.asks)
	ok = s.Truth(c)
	missing = s.why()
	return ok && missing == nil, missing
}

// Only runs an expression that gives a number, such as a task's shorten. What
// is missing is listed, and v is then 0; a censored result on which it rests must
// give the same number at both ends.
func (s *Runner) Only(c *Condition, f word.Facts) (v float64, missing []string) {
	differs, first := false, true
	missing = s.EachEnd(f, c.asks, func() {
		s.room(c)
		x := c.value.num(s)
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

// room makes room for the names that a condition binds.
func (s *Runner) room(c *Condition) {
	if len(s.lets) < c.lets {
		s.lets = make([]operandValue, c.lets)
	}
}

// Truth runs a condition, after Begin.
func (s *Runner) Truth(c *Condition) bool {
	s.room(c)
	return c.value.truth(s)
}

// Number runs an expression that gives a number, after Begin. One that is not finite is
// missing, and 0.
func (s *Runner) Number(c *Condition) float64 {
	s.room(c)
	return s.check(c.value.num(s), c.Text)
}

// Measure is Number, and what `measure` stands for in the expressions that follow.
func (s *Runner) Measure(c *Condition) float64 {
	s.measure = s.Number(c)
	return s.measure
}

// ask gives the answer to question i in the units of the file. Each question is put
// to the facts once a run.
func (s *Runner) ask(i int) float64 {
	a := &s.slots[i]
	if !a.known {
		s.answer(i, a)
	} else if a.why != "" {
		s.miss(a.why)
	}
	if a.why != "" {
		return s.opened(bounds.Bounds{Low: s.asks.list[i].least, High: math.Inf(1)})
	}
	if s.record != nil {
		s.recordWord(i)
	}
	return a.value
}

func (s *Runner) answer(i int, a *slot) {
	a.known = true
	q := &s.asks.list[i]
	if q.info.Truth {
		v, why, ok := s.facts.Truth(q.info.Word, q.arg)
		switch {
		case !ok:
			a.why = why
			s.miss(why)
		case v:
			a.value = 1
		}
		if q.info.Guard && ok && !v {
			s.turned = append(s.turned, why)
		}
		s.looked(i, ok)
		return
	}
	v, why, ok := s.facts.Number(q.info.Word, q.arg)
	if !ok {
		a.why = why
		s.miss(why)
		return
	}
	s.looked(i, true)
	if a.value = v*q.times/q.over + q.plus; !finite(a.value) {
		a.why = notFinite + q.of
		s.miss(a.why)
	}
}

// looked notes a question for whose answer the sample's result was looked at.
func (s *Runner) looked(i int, ok bool) {
	if ok && len(s.asks.list[i].reads) > 0 && !slices.Contains(s.read, i) {
		s.read = append(s.read, i)
	}
}

// Read lists the analytes of which the last [Runner.EachEnd] looked at the sample's
// result, sorted.
func (s *Runner) Read() []string {
	var out []string
	for _, i := range s.read {
		out = append(out, s.asks.list[i].reads...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Turned says, where the last [Runner.EachEnd] looked at no result, what guards found not
// to be there, sorted; nil where it looked at any.
func (s *Runner) Turned() []string {
	if len(s.read) > 0 || len(s.turned) == 0 {
		return nil
	}
	slices.Sort(s.turned)
	return slices.Clone(slices.Compact(s.turned))
}

// named is what a let name stands for.
func (s *Runner) named(slot int) *operandValue {
	v := &s.lets[slot]
	s.missing, s.open = append(s.missing, v.missing...), v.open
	return v
}

// Apart runs a part of a rule that may lack something without the rest; what it lacked
// is given, and is not missing for the rest.
func (s *Runner) Apart(run func()) (lacks []string) {
	before := len(s.missing)
	run()
	if len(s.missing) > before {
		lacks = slices.Clone(s.missing[before:])
	}
	s.missing = s.missing[:before]
	return lacks
}

func (s *Runner) miss(why string) { s.missing, s.open = append(s.missing, why), bounds.Anywhere }

const notFinite = "a number that is not finite: "

// check passes a finite number on and reports any other.
func (s *Runner) check(v float64, of string) float64 {
	if !finite(v) {
		s.miss(notFinite + of)
		return 0
	}
	return v
}

// Recorded gives the operands of a run with their values, in the order in which they
// are reckoned, each once.
func (s *Runner) Recorded(run func()) []word.Evidence {
	var list []word.Evidence
	s.record = &list
	run()
	s.record = nil
	return list
}

// Recording reports whether the run is one that Recorded watches.
func (s *Runner) Recording() bool { return s.record != nil }

// Record adds an operand to those of the run, where it is recorded and is not there.
func (s *Runner) Record(e word.Evidence) {
	if s.record != nil && !slices.ContainsFunc(*s.record, func(old word.Evidence) bool { return old.Of == e.Of }) {
		*s.record = append(*s.record, e)
	}
}

// RecordReckoned adds what an expression gave, where that is more than a word or a
// number that is written out; c may be nil. A choice is told by what decided it.
func (s *Runner) RecordReckoned(c *Condition, v float64) {
	if c != nil && !c.value.constant && !c.value.word && !choice(c.Text) {
		s.Record(word.Evidence{Of: strings.TrimSpace(c.Text), Value: v, Unit: c.value.is.ShownIn()})
	}
}

// choice reports whether an expression chooses between others, or names some first: as
// evidence it would be a program, and the words that it asks stand there already.
func choice(text string) bool { return strings.ContainsAny(text, "?;") }

// recordWord adds the answer to the evidence.
func (s *Runner) recordWord(i int) {
	q, a := &s.asks.list[i], s.slots[i]
	if q.info.Word == word.Has {
		return
	}
	e := word.Evidence{Of: q.of, Value: a.value, Unit: q.info.In(*q.units, q.own()), Note: s.facts.Note(q.info.Word, q.arg)}
	if e.Note == "" && q.info.Truth {
		e.Note = map[bool]string{true: "yes", false: "no"}[a.value != 0]
	}
	s.Record(e)
}

// nearness is the relative distance within which two values are equal.
const nearness = 1e-9

// Slack is the relative distance that keeps a bound clear of values that [Equal] may
// take for it.
const Slack = 4 * nearness

// Equal reports whether a and b are within 1e-9 of each other, relatively.
// Limits are compared with it, so that a value that reckoning left a hair
// under a limit has reached it. NaN equals nothing.
func Equal(a, b float64) bool {
	if a == b {
		return true
	}
	return math.Abs(a-b) <= nearness*math.Max(math.Abs(a), math.Abs(b)) && !math.IsInf(a-b, 0)
}

// finite is false for NaN and both infinities. Subtracting v from itself would say so
// too, but not where v is a product and the machine fuses the two.
func finite(v float64) bool { return math.Abs(v) <= math.MaxFloat64 }

// round gives v rounded half away from zero to n decimals (-9..9).
func round(v float64, n int) float64 {
	p := math.Pow(10, math.Abs(float64(n)))
	if n < 0 {
		return math.Round(v/p) * p
	}
	if scaled := v * p; finite(scaled) {
		return math.Round(scaled) / p
	}
	return v
}
