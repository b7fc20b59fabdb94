// Package bounds reckons with numbers of which it is only known between which two they lie.
package bounds

import "math"

// Bounds are what a number could be, both ends included.
type Bounds struct{ Low, High float64 }

// At are those of a number that is known.
func At(v float64) Bounds { return Bounds{v, v} }

// Anywhere are those of a number of which nothing is known.
var Anywhere = Bounds{math.Inf(-1), math.Inf(1)}

// Through gives the bounds of what f gives, which falls or rises all the way in each operand;
// all of it where an end is no number, as infinity less infinity is not.
func Through(f func(a, b float64) float64, a, b Bounds) Bounds {
	out := Bounds{math.Inf(1), math.Inf(-1)}
	for _, v := range [...]float64{f(a.Low, b.Low), f(a.Low, b.High), f(a.High, b.Low), f(a.High, b.High)} {
		if math.IsNaN(v) {
			return Anywhere
		}
		out = Bounds{math.Min(out.Low, v), math.Max(out.High, v)}
	}
	return out
}

// Product is a times b, of which one may be without end: none of that is none.
func Product(a, b float64) float64 {
	if a == 0 || b == 0 {
		return 0
	}
	return a * b
}

// Quotient gives the bounds of a over b, by what divides two numbers: anything at all where
// b could be zero.
func Quotient(over func(a, b float64) float64, a, b Bounds) Bounds {
	if b.Low <= 0 && b.High >= 0 {
		return Anywhere
	}
	return Through(over, a, b)
}

// Rising gives the bounds of what a function gives that never falls.
func Rising(f func(float64) float64, x Bounds) Bounds { return Bounds{f(x.Low), f(x.High)} }

// Sizes gives the bounds of the numbers without their signs.
func Sizes(size func(float64) float64, x Bounds) Bounds {
	if x.Low <= 0 && x.High >= 0 {
		return Bounds{0, max(-x.Low, x.High)}
	}
	return Bounds{min(size(x.Low), size(x.High)), max(size(x.Low), size(x.High))}
}
