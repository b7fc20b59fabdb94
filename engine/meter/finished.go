package meter

import (
	"math"
	"slices"
)

// Scale is by how much the two sides of a forecast's range are stretched: the time from
// early to likely, and that from likely to late.
type Scale struct {
	Early float64 `json:"early"`
	Late  float64 `json:"late"`
}

// Unproven stretches a range while nobody knows how well those of the fleet keep their
// word: half as wide again on either side. What readings alone say is too narrow, since
// they cannot tell how a pace will drift; and a quantile of less than some fifty forecasts
// may itself be off by as much. Common practice, no source.
var Unproven = Scale{Early: 1.5, Late: 1.5}

// Holds reports whether the stretched range held the date of a finished forecast.
func (s Scale) Holds(score float64) bool { return -s.Early <= score && score <= s.Late }

// Range is Reach with its range stretched as asked for so many seconds ahead. It begins with the last reading at the
// earliest and ends ten years after it at the latest.
func (u Usage) Range(lastAt int64, lastLife, threshold float64, scale func(ahead int64) Scale) (early, likely, late int64, ok bool) {
	early, likely, late, ok = u.Reach(lastAt, lastLife, threshold)
	if !ok || likely == lastAt {
		return early, likely, late, ok
	}
	s := scale(likely - lastAt)
	early = max(lastAt, likely-int64(s.Early*float64(likely-early)))
	late = min(lastAt+farthest, likely+int64(s.Late*float64(late-likely)))
	return early, likely, late, true
}

// Forecast is when a meter was said to come to a value, at its last reading.
type Forecast struct {
	From   int64   `json:"from"` // Unix seconds, as the dates are
	Early  int64   `json:"early"`
	Likely int64   `json:"likely"`
	Late   int64   `json:"late"`
	Target float64 `json:"target"` // the life value
}

// Ahead forecasts, at the last reading, the value that is likely after so many seconds.
func (u Usage) Ahead(last Reading, span int64) (f Forecast, ok bool) {
	f = Forecast{From: last.At, Target: last.Value + float64(u.PerSecond*float64(span))}
	f.Early, f.Likely, f.Late, ok = u.Reach(last.At, last.Value, f.Target)
	return f, ok && f.Likely > f.From
}

// Over is when a forecast is judged: after twice the time that was likely. Those that came
// early wait until then like those that come late, or the early ones would be counted first.
func (f Forecast) Over() int64 { return f.Likely + (f.Likely - f.From) }

// Score is how far off the date was, as a share of the range's own side: 0 where it was
// the likely one, -1 where it was the early one, 1 where it was the late one. Of a meter
// that had not come to the value when the forecast was over it is the least that it can
// be. The readings are accepted ones in order of time with life values, and reach at least
// as far as that. ok is false where those around the date lie so far apart that nobody
// knows when it was.
func (f Forecast) Score(readings []Reading) (score float64, ok bool) {
	at := f.Over()
	j := slices.IndexFunc(readings, func(r Reading) bool { return r.At > f.From && r.Value >= f.Target })
	if j > 0 && readings[j-1].At < at {
		a, b := readings[j-1], readings[j]
		if span := f.Likely - f.From; b.At-a.At > span+span/2 {
			return 0, false
		}
		if rise := b.Value - a.Value; rise > 0 {
			at = min(at, a.At+int64((f.Target-a.Value)/rise*float64(b.At-a.At)))
		}
	}
	return scoreOf(at, f.Early, f.Likely, f.Late), true
}

// scoreOf is how far a date lies off the likely one. A range of less than a day is
// taken as one, since nobody reads by the hour.
func scoreOf(at, early, likely, late int64) float64 {
	side := likely - early
	if at > likely {
		side = late - likely
	}
	return float64(at-likely) / float64(max(side, day))
}

// tenths are the ranks (from 1) of the two scores of n in order between which four of
// five further ones lie: split conformal prediction, one tenth on either side (Vovk,
// Gammerman and Shafer 2005; Lei et al. 2018; from memory).
func tenths(n int) (low, high int) {
	return max(1, int(math.Floor(float64(n+1)*0.1))), min(n, int(math.Ceil(float64(n+1)*0.9)))
}

// leastScale keeps a range from vanishing where all of few dates were off to one side.
const leastScale = 0.1

// ScaleOf is the stretch with which four of five of the scores, which are in order and
// not none, had been held, and one in ten missed on either side.
func ScaleOf(sorted []float64) Scale {
	low, high := tenths(len(sorted))
	return Scale{Early: max(leastScale, -sorted[low-1]), Late: max(leastScale, sorted[high-1])}
}
