package expression

import (
	"math"
	"slices"

	"telltale/rules/analytes"
	"telltale/rules/word"
)

// What is missing stands for all that it could be: a number for all numbers within some
// bounds, from which those of what is reckoned with it follow. A comparison that comes out
// the same all over them is answered, though something is missing.

// bounds are what a number could be, both ends included.
type bounds struct{ low, high float64 }

var anywhere = bounds{math.Inf(-1), math.Inf(1)}

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
func (s *Runner) spanOf(before int, v float64) bounds {
	if len(s.missing) == before {
		return bounds{v, v}
	}
	return s.open
}

// opened says what the number could be of which something is missing, and gives 0 for it.
func (s *Runner) opened(of bounds) float64 {
	s.open = of
	return 0
}

// through gives the bounds of what f gives, which falls or rises all the way in each operand;
// all of it where an end is no number, as infinity less infinity is not.
func through(f func(a, b float64) float64, a, b bounds) bounds {
	out := bounds{math.Inf(1), math.Inf(-1)}
	for _, v := range [...]float64{f(a.low, b.low), f(a.low, b.high), f(a.high, b.low), f(a.high, b.high)} {
		if math.IsNaN(v) {
			return anywhere
		}
		out = bounds{math.Min(out.low, v), math.Max(out.high, v)}
	}
	return out
}

// reaches give the bounds of what is reckoned within bounds.
var reaches = map[string]func(a, b bounds) bounds{
	"+": func(a, b bounds) bounds { return through(reckonings["+"], a, b) },
	"-": func(a, b bounds) bounds { return through(reckonings["-"], a, b) },
	"*": func(a, b bounds) bounds { return through(product, a, b) },
	"/": quotient,
}

// product is a times b, of which one may be without end: none of that is none.
func product(a, b float64) float64 {
	if a == 0 || b == 0 {
		return 0
	}
	return a * b
}

// quotient gives the bounds of a over b: anything at all where b could be zero.
func quotient(a, b bounds) bounds {
	if b.low <= 0 && b.high >= 0 {
		return anywhere
	}
	return through(reckonings["/"], a, b)
}

// applied gives f of x, and of an open x what of says that f can give.
func applied(x func(*Runner) float64, f func(float64) float64, of func(func(float64) float64, bounds) bounds) func(*Runner) float64 {
	return func(s *Runner) float64 {
		before := len(s.missing)
		v := x(s)
		if len(s.missing) > before {
			return s.opened(of(f, s.open))
		}
		return f(v)
	}
}

// rising gives the bounds of what a function gives that never falls.
func rising(f func(float64) float64, x bounds) bounds { return bounds{f(x.low), f(x.high)} }

// sizes gives the bounds of the numbers without their signs.
func sizes(size func(float64) float64, x bounds) bounds {
	if x.low <= 0 && x.high >= 0 {
		return bounds{0, max(-x.low, x.high)}
	}
	return bounds{min(size(x.low), size(x.high)), max(size(x.low), size(x.high))}
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
			ofX = bounds{v, v}
		}
		ofY := s.spanOf(now, any(y).(float64))
		s.open = bounds{min(ofX.low, ofY.low), max(ofX.high, ofY.high)}
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
			return r.settle(s, before, bounds{a, a}, s.open)
		}
		return holds(a, b)
	}
}

// settle answers for all of two spans, of which one is open, and forgets what was missing
// where there is one answer.
func (r relation) settle(s *Runner, before int, a, b bounds) bool {
	v := r.holds(a.low, b.low)
	same := r.ordered && v == r.holds(a.low, b.high) && v == r.holds(a.high, b.low) && v == r.holds(a.high, b.high)
	if same || !r.ordered && (less(a.high, b.low) || less(b.high, a.low)) {
		s.missing = s.missing[:before]
	}
	return v
}
