package expression

import (
	"slices"

	"telltale/rules/expression/quantity"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// Rules of a large book mostly ask alike: the same measure of another kind of vehicle, the
// same limits. An expression that was compiled before, after the same questions, gives the
// functions that it gave then. The memory that judging walks through then grows with what
// is said, not with how often.

// written is what two expressions must have in common to share their functions.
type written struct {
	text                  string
	want                  Kind
	words, measure, stage bool
	rules                 bool
	units                 unit.System
	of                    quantity.Quantity // the measure
	after                 *question         // the last of the questions before it; nil where it asks first
}

// Shared is an expression that was compiled. What shares one gives the same.
type Shared struct {
	condition Condition
	asks      []question // those before it and its own
	fluid     *ofFluid
	unsaid    []unsaid
}

// ofFluid is the first word of an expression that asks about a component's fluid.
type ofFluid struct {
	word     *word.Info
	from, to int // of its text
}

func (l *Language) written(text string, sc Scope, a *Asks) written {
	w := written{text: text, want: sc.Want, words: sc.Words, measure: sc.Measure, stage: sc.Stage, rules: sc.Rules, units: sc.Units}
	if sc.Of != nil {
		w.of = sc.Of.value.is
	}
	if n := len(a.list); n > 0 {
		w.after = &a.list[n-1]
	}
	return w
}

// keep remembers what an expression was compiled to. Lists of questions are never
// appended to in place, so that one of them stands for all before it.
func (l *Language) keep(w written, c *compiler, out *Condition) {
	c.asks.list = slices.Clip(c.asks.list)
	out.shared = &Shared{asks: c.asks.list, fluid: c.fluid, unsaid: c.unsaid}
	out.shared.condition = *out
	l.shared[w] = out.shared
}

// again is an expression that was compiled before, as it stands here.
func (l *Language) again(p *Shared, src excerpt, sc Scope, a *Asks) *Condition {
	a.list = p.asks
	l.askUnits(src, p.unsaid)
	if p.fluid != nil {
		a.ofFluid(src, sc, *p.fluid)
	}
	out := p.condition
	out.At, out.asks, out.Named = src.d.Place(src.n), a, p.condition.Named.placed(src)
	return &out
}

// ofFluid notes the first question about a component's fluid.
func (a *Asks) ofFluid(src excerpt, sc Scope, first ofFluid) {
	if a.Sample == nil {
		f := src.makeFault(first.from, first.to, "add `on: sample`, or a `where` that reads component", sc.What+" asks "+first.word.Name+" of no component")
		a.Sample = &f
	}
}

// Shared is what the condition has in common with all that are written alike, after the
// same questions; nil where it stands alone.
func (c *Condition) Shared() *Shared { return c.shared }
