package expression

import (
	"slices"

	"github.com/expr-lang/expr/ast"

	"telltale/rules/analytes"
	"telltale/rules/word"
)

// People are told what a result stands for that the laboratory gave as below its limit:
// twice "below 10" is "below 20", and 100 less that is "above 90".

// reported gives what an expression comes to by the results as they were reported. of says
// that it is "below " or "above " that, as where a result is known as below its limit; ok
// is false where something is missing, or where no more can be said than that it lies
// between two numbers.
func (s *Runner) reported(c *Condition) (v float64, of string, ok bool) {
	all, ok := overEnds(s, c, func() float64 { return s.check(c.value.num(s), c.Text) })
	if !ok {
		return 0, "", false
	}
	v = all[0]
	least, most := slices.Min(all), slices.Max(all)
	switch {
	case len(all) > 1 && slices.ContainsFunc(c.bends, s.openResult):
		return 0, "", false
	case Equal(least, most):
		return v, "", true
	case c.jumps:
		return 0, "", false
	case Equal(v, most):
		return v, "below ", true
	case Equal(v, least):
		return v, "above ", true
	}
	return 0, "", false
}

// openResult reports whether a result of the sample is below its limit.
func (s *Runner) openResult(analyte string) bool {
	if _, known := analytes.Of(analyte); !known {
		return false
	}
	below, _, ok := s.facts.Truth(word.Below, analyte)
	return ok && below
}

// plainly gives a text or a truth, which is to be the same at all ends.
func plainly[T comparable](s *Runner, c *Condition, f func(*Runner) T) (v T, ok bool) {
	all, ok := overEnds(s, c, func() T { return f(s) })
	if !ok {
		return v, false
	}
	return all[0], !slices.ContainsFunc(all, func(o T) bool { return o != all[0] })
}

// overEnds runs an expression by the results as they were reported and then, where some of
// those met so far are open, for each choice of their ends; ok is false where something is
// missing in any of the runs.
func overEnds[T any](s *Runner, c *Condition, run func() T) (all []T, ok bool) {
	f, measure := s.facts, s.measure
	defer func() {
		f.Ends(0)
		s.Begin(f, c.asks)
		s.measure = measure
	}()
	one := func(mask uint32) bool {
		f.Ends(mask)
		if c.measures && s.measured != nil && f.Censored() > 0 {
			s.Begin(f, s.measured.asks)
			s.Measure(s.measured)
		}
		s.Begin(f, c.asks)
		s.room(c)
		all = append(all, run())
		return s.Complete()
	}
	ok = one(word.AsReported)
	n := f.Censored()
	for mask := uint32(0); n > 0 && ok && mask < 1<<min(n, censoredLimit); mask++ {
		ok = one(mask | word.Chosen)
	}
	return all, ok && n <= censoredLimit
}

// shape finds where an expression may go up and down again while a result goes up, or jump
// from one number to another.
type shape struct {
	bends []string // of these: without its sign, or multiplied by what hangs on it too
	jumps bool     // it chooses by what a word answers
}

func shapeOf(n ast.Node) shape {
	s := shape{}
	ast.Walk(&n, &s)
	return s
}

// Visit implements ast.Visitor.
func (s *shape) Visit(n *ast.Node) {
	switch t := (*n).(type) {
	case *ast.CallNode:
		if name, ok := t.Callee.(*ast.IdentifierNode); ok && name.Value == "abs" {
			s.bends = append(s.bends, askedIn(t)...)
		}
	case *ast.ConditionalNode:
		s.jumps = s.jumps || len(askedIn(t.Cond)) > 0
	case *ast.BinaryNode:
		if t.Operator == "*" || t.Operator == "/" {
			left := askedIn(t.Left)
			s.bends = append(s.bends, slices.DeleteFunc(askedIn(t.Right), func(a string) bool { return !slices.Contains(left, a) })...)
		}
	}
}

// questions are what the words are asked of that answer by a result: all but guards.
type questions []string

func askedIn(n ast.Node) []string {
	var q questions
	ast.Walk(&n, &q)
	return q
}

// Visit implements ast.Visitor.
func (q *questions) Visit(n *ast.Node) {
	call, ok := (*n).(*ast.CallNode)
	if !ok {
		return
	}
	name, ok := call.Callee.(*ast.IdentifierNode)
	if !ok || word.Called(name.Value) == nil || word.Called(name.Value).Guard {
		return
	}
	of := ""
	if len(call.Arguments) > 0 {
		if s, ok := call.Arguments[0].(*ast.StringNode); ok {
			of = s.Value
		}
	}
	*q = append(*q, of)
}
