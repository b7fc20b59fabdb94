package meter

import (
	"math"
	"slices"

	"telltale/engine/trend"
)

// What usage is reckoned from. Common practice, no source.
const (
	window     = 120 * day // of use before the last reading; see TestForecastBuses for what it was chosen on
	leastSpan  = 14 * day
	leastCount = 3
	step       = 7 * day // whole weeks, so that weekends do not count as change
	idleShare  = 0.1     // of the mean pace: below it a vehicle stands idle
	laidUp     = 28 * day
)

// Usage is how much a vehicle is used, from its accepted readings up to the last.
// It trails the last reading, not the clock, so that a forecast stays where it
// is while nothing new is known.
type Usage struct {
	OK bool // false: fewer than three readings, or less than 14 days between them
	// PerSecond is the life value gained in a second of calendar time: metres, or
	// seconds of running. Low and High bound it with 80 % confidence.
	PerSecond, Low, High float64
	// Scatter is how far the meter strays from that line in a second: the 80 % bound
	// of the gain over t seconds is Scatter·√t off the mean.
	Scatter float64
	// LaidUp: the vehicle has stood nearly still for four weeks or more up to the
	// last reading. PerSecond and Low are the pace of that time, High is the upper
	// bound of the pace when in use.
	LaidUp bool
	N      int     // readings that it rests on
	Days   float64 // from the first to the last of them
}

// Estimate reckons usage from accepted readings in order of time, whose values
// are life values: the Theil–Sen slope over the last 120 days in use, with
// Conover's interval. Readings less than a week apart count as one, the later.
//
// Stretches of four weeks or more at less than a tenth of the vehicle's mean pace
// (a gritter's summer, a coach's winter) are left out of the time in use, so
// that a vehicle that goes back to work is forecast at its working pace at once.
// While it stands, it is forecast to go on standing.
func Estimate(readings []Reading) Usage {
	if len(readings) < leastCount || readings[len(readings)-1].At-readings[0].At < leastSpan {
		return Usage{N: len(readings)}
	}
	var pointRoom [usual]Reading
	var gapRoom [usual]gap
	points := weekly(readings, pointRoom[:0])
	gaps := gapRoom[:0]
	for i, b := range points[1:] {
		gaps = append(gaps, gap{span: float64(b.At - points[i].At), rise: b.Value - points[i].Value})
	}
	standing := markIdle(gaps)
	u := working(gaps)
	u.OK = true
	if standing > 0 {
		u.LaidUp = true
		tail := sum(gaps[len(gaps)-standing:])
		u.PerSecond = tail.rise / tail.span
		u.Low, u.Scatter = u.PerSecond, 0
		u.High = max(u.High, u.PerSecond)
	}
	return u
}

// usual is how many readings there are mostly, for which room need not be allocated.
const usual = 32

// weekly keeps the last reading and, going back from it, each that is a week or
// more before the one kept; less where the whole span is under two months, so
// that enough are left.
func weekly(readings, kept []Reading) []Reading {
	last := readings[len(readings)-1]
	apart := min(int64(step), (last.At-readings[0].At)/8)
	for i := len(readings) - 1; i >= 0; i-- {
		if n := len(kept); n == 0 || kept[n-1].At-readings[i].At >= apart {
			kept = append(kept, readings[i])
		}
	}
	if first := readings[0]; kept[len(kept)-1] != first {
		kept[len(kept)-1] = first // the whole span counts
	}
	slices.Reverse(kept)
	return kept
}

// gap is what happened from one point to the next.
type gap struct {
	span, rise float64
	idle       bool
}

func sum(gaps []gap) (total gap) {
	for _, g := range gaps {
		total.span += g.span
		total.rise += g.rise
	}
	return total
}

// markIdle marks the gaps in which the vehicle was laid up, and returns how many
// of the last ones it has been so until now.
func markIdle(gaps []gap) (standing int) {
	all := sum(gaps)
	pace := idleShare * (all.rise / all.span)
	for i := 0; i < len(gaps); {
		j, span := i, 0.0
		for j < len(gaps) && gaps[j].rise <= pace*gaps[j].span {
			span += gaps[j].span
			j++
		}
		if span >= laidUp {
			for k := i; k < j; k++ {
				gaps[k].idle = true
			}
			if j == len(gaps) {
				standing = j - i
			}
		}
		i = max(j, i+1)
	}
	return standing
}

// working is the usage over the latest time in use.
func working(gaps []gap) Usage {
	var xRoom, yRoom [usual]float64
	var usedRoom [usual]gap
	x, y, used := xRoom[:1], yRoom[:1], usedRoom[:0]
	first := len(gaps)
	for i := len(gaps) - 1; i >= 0; i-- {
		g := gaps[i]
		if g.idle {
			continue
		}
		at := x[len(x)-1] - g.span
		if at < -window && len(x) >= leastCount {
			break
		}
		x, y = append(x, at), append(y, y[len(y)-1]-g.rise)
		used = append(used, g)
		first = i
	}
	u := Usage{N: len(x), Days: sum(gaps[first:]).span / day}
	slope, low, high, ok := trend.Slope(x, y, z80)
	if !ok {
		return u // it never moved
	}
	u.PerSecond, u.Low, u.High = max(0, slope), max(0, low), max(0, high)
	u.Scatter = scatter(used, u.PerSecond)
	return u
}

// scatter is the 80 % bound of the strays of the gaps from the line, each scaled
// by the root of its time: the meter is taken to wander like a sum of independent
// days, whose variance grows with time. The bound is Student's for as many gaps
// as there are less one, since few strays tell little of how far the next may go.
func scatter(gaps []gap, slope float64) float64 {
	free := len(gaps) - 1
	if free < 1 {
		return 0
	}
	total := 0.0
	for _, g := range gaps {
		stray := g.rise - float64(slope*g.span)
		total += stray * stray / g.span
	}
	return math.Sqrt(total/float64(free)) * student80(free)
}

// z80 is the 90 % quantile of the normal distribution: four in five cases lie
// within it. t80 are those of Student's for 1 to 30 degrees of freedom. They stand
// here as numbers, since computing them is slow and may differ in the last
// digit from one processor to another; a test holds them against gonum.
const z80 = 1.2815515655446004

var t80 = [...]float64{
	3.078, 1.886, 1.638, 1.533, 1.476, 1.440, 1.415, 1.397, 1.383, 1.372,
	1.363, 1.356, 1.350, 1.345, 1.341, 1.337, 1.333, 1.330, 1.328, 1.325,
	1.323, 1.321, 1.319, 1.318, 1.316, 1.315, 1.314, 1.313, 1.311, 1.310,
}

func student80(free int) float64 {
	if free > len(t80) {
		return z80
	}
	return t80[free-1]
}

// farthest is how far a forecast reaches: ten years.
const farthest = 3653 * day

// Now is where the meter is likely to stand at a moment after the last reading,
// with its 80 % range. Before the last reading it is the last value. It is an
// estimate and must never be shown as if it were read.
func (u Usage) Now(lastAt int64, lastLife float64, at int64) (est, low, high float64) {
	t := max(0, float64(at-lastAt))
	down, up := u.range80(t)
	mean := float64(u.PerSecond * t)
	return lastLife + mean, lastLife + max(0, mean-down), lastLife + mean + up
}

// The pace of a vehicle changes as routes and drivers do. In a year it strays by up
// to this share in four cases of five, and the less or more in proportion to the
// root of the time; after some years it strays no further. The share is fitted to
// the real odometers of TestForecastBuses; no other source.
const (
	drift     = 0.4
	year      = 365.25 * day
	driftEnds = 3 * year
)

// range80 is how far below and above the mean the gain over t seconds may be: the
// uncertain slope, the scatter around it and the drift of the pace, which are taken
// as independent and added in squares.
func (u Usage) range80(t float64) (down, up float64) {
	pace := float64(drift * u.PerSecond * t)
	wander := float64(u.Scatter*u.Scatter*t) + float64(pace*pace)*min(t, driftEnds)/(3*year)
	d, p := float64((u.PerSecond-u.Low)*t), float64((u.High-u.PerSecond)*t)
	return math.Sqrt(float64(d*d) + wander), math.Sqrt(float64(p*p) + wander)
}

// Reach says when the meter reaches a threshold: likely at the pace of usage, and
// between early and late in four of five cases. All are Unix seconds. Reached
// already: all are the last reading's moment. ok is false where the usage is
// unknown, the vehicle stands still, or likely is more than ten years on; late is
// at most that far.
func (u Usage) Reach(lastAt int64, lastLife, threshold float64) (early, likely, late int64, ok bool) {
	likely, ok = u.Likely(lastAt, lastLife, threshold)
	rise := threshold - lastLife
	if !ok || rise <= 0 {
		return likely, likely, likely, ok
	}
	t := rise / u.PerSecond
	early = lastAt + int64(math.Ceil(u.first(rise, t, true)))
	late = lastAt + int64(math.Ceil(u.first(rise, t, false)))
	return early, likely, late, true
}

// Likely is Reach without the range, which takes much longer to find.
func (u Usage) Likely(lastAt int64, lastLife, threshold float64) (likely int64, ok bool) {
	rise := threshold - lastLife
	if !u.OK || math.IsNaN(rise) {
		return 0, false
	}
	if rise <= 0 {
		return lastAt, true
	}
	t := rise / u.PerSecond
	if !(u.PerSecond > 0) || t > farthest {
		return 0, false
	}
	return lastAt + int64(math.Ceil(t)), true
}

// first finds by halving when the upper (or lower) bound of the gain has reached
// the rise, which the mean reaches at t.
func (u Usage) first(rise, t float64, upper bool) float64 {
	lo, hi := 0.0, t
	if !upper {
		lo, hi = t, farthest
	}
	reached := func(t float64) bool {
		down, up := u.range80(t)
		mean := float64(u.PerSecond * t)
		if upper {
			return mean+up >= rise
		}
		return mean-down >= rise
	}
	if !reached(hi) {
		return hi
	}
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; reached(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi
}
