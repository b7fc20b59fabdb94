package wear

import (
	"math"
	"slices"
	"time"

	"telltale/engine/trend"
	"telltale/rules/english"
)

// Axis is what a part wears with.
type Axis uint8

// The axes.
const (
	ByDistance Axis = iota // metres of life distance
	ByHours                // seconds of running
	ByTime                 // Unix seconds
)

// Forecast is where a measure reaches a limit.
type Forecast struct {
	By Axis
	// At is where it likely does, Low where at the earliest, High where at the latest, all
	// on the axis; High is infinite where it may as well not wear at all. Of a limit that is
	// reached all are where it was first measured so.
	At, Low, High float64
	Reached       bool
	// From is where the part was first measured, Last where it was last, Value as what.
	From, Last, Value float64
	Measurements      int
	Sure              float64 // how often the pace lies within its range (trend.Sure)
	// Missing says what is missing for a forecast; "" where there is one.
	Missing string
}

// needed is how many measurements a forecast takes: two make a line, and nothing that
// says how far to trust it.
const needed = 3

// Until forecasts when the measure reaches the limit: likely at the slope of Theil and Sen
// from the last value; at the earliest and at the latest at the ends of the slope's interval,
// from the worse and the better of the last value and the line through the middle of all, each
// value taken to be as exact as its last digit.
func (t Track) Until(limit float64) Forecast {
	f := Forecast{By: t.Axis()}
	f.Measurements = len(t.Points)
	if f.Measurements == 0 {
		f.Missing = "no measurement of the " + t.Measure.Name + " yet"
		if len(t.renewed) > 0 {
			f.Missing = "no measurement of the " + t.Measure.Name + " since it was renewed"
		}
		return f
	}
	last := len(t.Points) - 1
	f.From, f.Last, f.Value = t.Place(0, f.By), t.Place(last, f.By), t.Value(last)
	if t.reached(last, limit) {
		i := last
		for i > 0 && t.reached(i-1, limit) {
			i--
		}
		at := t.Place(i, f.By)
		f.Reached, f.At, f.Low, f.High = true, at, at, at
		return f
	}
	x, y := t.exact(f.By)
	line, ok := trend.Of(x, y)
	switch {
	case len(x) < needed:
		f.Missing = english.Plural(len(x), "measurement") + " of the " + t.Measure.Name + " so far, three are needed"
	case !ok || line.Slope <= 0:
		f.Missing = "the " + t.Measure.Name + " does not wear, by " + english.Plural(len(x), "measurement")
	default:
		f.along(line, x, y, t.signed(limit))
	}
	return f
}

// along forecasts where a rising line reaches the limit.
func (f *Forecast) along(line trend.Trend, x, y []float64, limit float64) {
	last := len(x) - 1
	left, digit := limit-y[last], lastDigit(y)
	half := float64(digit / 2)                        // by itself, so that no machine adds it in one
	off := standsAt(x, y, line.Slope) - y[last]       // how much worse the line is than the last value
	unsure := digit / (slices.Max(x) - slices.Min(x)) // of the pace, half a digit at either end
	f.At, f.High, f.Sure = x[last]+left/line.Slope, math.Inf(1), line.Sure
	f.Low = x[last] + math.Max(0, left-math.Max(0, off)-half)/(line.High+unsure)
	if slowest := line.Low - unsure; slowest > 0 {
		f.High = x[last] + (left-math.Min(0, off)+half)/slowest
	}
}

// lastDigit is the place value of the last digit that any of the values has: 0.1 of 6.5 and
// 7. That a value is as exact as it is written is common practice, no source.
func lastDigit(values []float64) float64 {
	digit := 1.0
	for _, v := range values {
		for range 4 {
			if r := v / digit; math.Abs(r-math.Round(r)) < 1e-6 {
				break
			}
			digit /= 10
		}
	}
	return digit
}

// standsAt is where a line of that slope stands at the last place: through the median of
// what the values are without it (Conover, Practical Nonparametric Statistics, from memory).
func standsAt(x, y []float64, slope float64) float64 {
	at := make([]float64, len(x))
	for i := range x {
		at[i] = y[i] + float64(slope*(x[len(x)-1]-x[i]))
	}
	slices.Sort(at)
	return trend.AtRank(at, float64(len(at)+1)/2)
}

// exact are the places and values of what is known exactly; of a gauge that ends at 8 mm
// nothing above that is.
func (t Track) exact(by Axis) (x, y []float64) {
	for i := range t.Lab {
		r := t.Lab[i].Results[0]
		if at := t.Place(i, by); !r.Censored && !r.Above && !math.IsNaN(at) {
			x, y = append(x, at), append(y, t.signed(r.Value))
		}
	}
	return x, y
}

// signed turns a value so that wear rises.
func (t Track) signed(v float64) float64 {
	if t.Measure.Rises {
		return v
	}
	return -v
}

// reached reports whether the i-th value has reached the limit; equal is reached. One that
// is open towards the good side has not, one that is open towards the bad has if its end has.
func (t Track) reached(i int, limit float64) bool {
	r := t.Lab[i].Results[0]
	if t.Measure.Rises && r.Censored || !t.Measure.Rises && r.Above {
		return false
	}
	v, l := t.signed(r.Value), t.signed(limit)
	return v >= l || math.Abs(v-l) <= 1e-9*math.Max(math.Abs(v), math.Abs(l))
}

// Axis is what the part wears with: what the vehicle runs, as far as a meter tells at the
// last measurement, unless it goes by time.
func (t Track) Axis() Axis {
	n := len(t.Lab)
	switch {
	case t.Measure.ByTime || n == 0:
		return ByTime
	case !math.IsNaN(t.Lab[n-1].Distance):
		return ByDistance
	case !math.IsNaN(t.Lab[n-1].Hours):
		return ByHours
	}
	return ByTime
}

// Place is where the i-th value stands on an axis; NaN where no meter tells.
func (t Track) Place(i int, by Axis) float64 {
	switch by {
	case ByDistance:
		return t.Lab[i].Distance
	case ByHours:
		return t.Lab[i].Hours
	}
	return float64(t.Points[i].At / int64(time.Second))
}
