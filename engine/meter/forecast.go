package meter

import "math"

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
