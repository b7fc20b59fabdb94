package expression

import (
	"math"
	"slices"

	"telltale/rules/analytes"
	"telltale/rules/expression/bounds"
	"telltale/rules/word"
)

// What is missing stands for all that it could be: a number for all numbers within some
// bounds, from which those of what is reckoned with it follow. A comparison that comes out
// the same all over them is answered, though something is missing.

// leastOf is the least that the answer to a word could be: no concentration and no ratio
// of two is under zero, but temperatures and differences of absorbance may be.
func leastOf(w word.Word, analyte string) float64 {
	if (w == word.Value || w == word.Times) && slices.Contains(fromZero, analytes.UnitOf(analyte)) {
		return 0
	}
	return math.Inf(-1)
}

var fromZero = []string{"mg/kg", "%", "1/mL", "mm2/s", "mgKOH/g"}

// spanOf is what v could be, which a run gave since so much was missing.
func (s *Runner) spanOf(before int, v float64) bounds.Bounds {
	if len(s.missing) == before {
		return bounds.At(v)
	}
	return s.open
}

// opened says what the number could be of which something is missing, and gives 0 for it.
func (s *Runner) opened(of bounds.Bounds) float64 {
	s.open = of
	return 0
}

// reaches give the bounds of what is reckoned within bounds.
var reaches = map[string]func(a, b bounds.Bounds) bounds.Bounds{
	"+": func(a, b bounds.Bounds) bounds.Bounds { return bounds.Through(reckonings["+"], a, b) },
	"-": func(a, b bounds.Bounds) bounds.Bounds { return bounds.Through(reckonings["-"], a, b) },
	"*": func(a, b bounds.Bounds) bounds.Bounds { return bounds.Through(bounds.Product, a, b) },
	"/": func(a, b bounds.Bounds) bounds.Bounds { return bounds.Quotient(reckonings["/"], a, b) },
}

// applied gives f of x, and of an open x what of says that f can give.
func applied(x func(*Runner) float64, f func(float64) float64, of func(func(float64) float64, bounds.Bounds) bounds.Bounds) func(*Runner) float64 {
	return func(s *Runner) float64 {
		before := len(s.missing)
		v := x(s)
		if len(s.missing) > before {
			return s.opened(of(f, s.open))
		}
		return f(v)
	}
}

// whichever gives what both sides of a choice give, or else lacks what chooses: s.missing
// had before entries before that was asked, and lacks after.
func whichever[T any](s *Runner, before, lacks int, a, b func(*Runner) T, same func(x, y T) bool) T {
	x := a(s)
	now, ofX := len(s.missing), s.open
	y := b(s)
	if len(s.missing) == lacks && same(x, y) {
		s.missing = s.missing[:before]
		return x
	}
	if v, ok := any(x).(float64); ok {
		if now == lacks {
			ofX = bounds.At(v)
		}
		ofY := s.spanOf(now, any(y).(float64))
		s.open = bounds.Bounds{Low: min(ofX.Low, ofY.Low), High: max(ofX.High, ofY.High)}
	}
	s.missing = s.missing[:lacks]
	return x
}

// relation is how two numbers compare. An ordered one that holds at the ends of two spans
// holds between; for equality the spans must lie apart.
type relation struct {
	holds   func(a, b float64) bool
	ordered bool
}

var relations = map[string]relation{
	"<":  {less, true},
	"<=": {func(a, b float64) bool { return a <= b || Equal(a, b) }, true},
	">":  {func(a, b float64) bool { return less(b, a) }, true},
	">=": {func(a, b float64) bool { return a >= b || Equal(a, b) }, true},
	"==": {Equal, false},
	"!=": {func(a, b float64) bool { return !Equal(a, b) }, false},
}

func less(a, b float64) bool { return a < b && !Equal(a, b) }

// compared answers how x and y compare.
func (r relation) compared(x, y func(*Runner) float64) func(*Runner) bool {
	holds := r.holds
	return func(s *Runner) bool {
		before := len(s.missing)
		a := x(s)
		if now := len(s.missing); now > before {
			of := s.open
			return r.settle(s, before, of, s.spanOf(now, y(s)))
		}
		b := y(s)
		if len(s.missing) > before {
			return r.settle(s, before, bounds.At(a), s.open)
		}
		return holds(a, b)
	}
}

// settle answers for all of two spans, of which one is open, and forgets what was missing
// where there is one answer.
func (r relation) settle(s *Runner, before int, a, b bounds.Bounds) bool {
	v := r.holds(a.Low, b.Low)
	same := r.ordered && v == r.holds(a.Low, b.High) && v == r.holds(a.High, b.Low) && v == r.holds(a.High, b.High)
	if same || !r.ordered && (less(a.High, b.Low) || less(b.High, a.Low)) {
		s.missing = s.missing[:before]
	}
	return v
}
