// Package meter tells what the readings of odometers and hour meters are worth:
// which of them fit together (Judge), which to keep (ThinFunc), how much the
// vehicle is used (Estimate) and so when it reaches a value (Usage.Reach), and
// whether it has gone quiet (Patience).
//
// Values are metres, or seconds of running; moments are Unix seconds. A face
// value is what the instrument shows; a life value goes on counting over
// replaced instruments. Nothing here looks at a clock, and every result is a
// function of the set of readings, however they came in.
package meter

import "math"

// Kind is what an instrument counts.
type Kind uint8

// The kinds.
const (
	Distance Kind = iota // metres
	Hours                // seconds of running
)

// The most that an instrument shows, and that anything has run by it: one that shows ten
// million kilometres is broken. Common practice, no source.
const (
	MostDistance = 10_000_000 * 1000.0 // metres
	MostRunning  = 1_000_000 * 3600.0  // seconds
)

// Reading is the value of one instrument at a moment, in metres or seconds.
type Reading struct {
	At    int64 // Unix seconds
	Value float64
	// Weight is added to the one vote that every reading has; readings that a
	// service or a sample stands on get one more.
	Weight uint8
}

// halfVote is the weight of what only a replacement says.
const halfVote = math.MaxUint8

// votes are those of a reading, in halves.
func (r Reading) votes() int {
	if r.Weight == halfVote {
		return 1
	}
	return 2 * (1 + int(r.Weight))
}

// Replaced says that at a moment an instrument made way for another: Last is
// the face value at which the old one ended, First the one at which the new one
// began; NaN where nobody says.
type Replaced struct {
	At          int64
	Last, First float64
}

// What is plausible is common practice, no source. No road vehicle averages more than
// 130 km/h, and an hour meter cannot run faster than the clock; the slack covers
// clocks that differ and values that were rounded. Nobody keeps 130 km/h up: over months
// even a vehicle that is driven day and night by turns stays below 1,500 km a day, with
// room for some weeks that were worse. None has run six million kilometres.
const (
	topSpeed      = 130_000.0 / 3600 // m/s
	slackDistance = 10_000.0         // m
	slackHours    = 3600.0           // s

	sustained   = 1_500_000.0 / day // m/s
	atOnce      = 30_000_000.0      // m
	farthestRun = 6e9               // m
)

func (k Kind) limits() (speed, slack float64) {
	if k == Hours {
		return 1, slackHours
	}
	return topSpeed, slackDistance
}

// valid reports whether an instrument can show the value.
func (k Kind) valid(v float64) bool {
	return v >= 0 && !math.IsInf(v, 1) && (k != Distance || v <= farthestRun)
}

// Ease is how little a vehicle can have run up to a reading beside one that is driven
// without a rest. The least of a sequence is what Appends asks for.
func Ease(r Reading) float64 { return r.Value - float64(sustained*float64(r.At)) }

// Appends reports whether next follows prev at a plausible speed with no slack
// at all, and is not too far from any reading of a sequence that ends in prev and of which
// ease is the least Ease. A sequence of which this holds from each reading to the next is
// accepted whole by Judge, and so is every part of it; one more such reading need
// not be judged against the others. All values must be of the same instrument,
// or life values.
func Appends(prev, next Reading, ease float64, kind Kind) bool {
	speed, _ := kind.limits()
	rise := next.Value - prev.Value
	return rise >= 0 && next.At >= prev.At && rise <= float64(speed*float64(next.At-prev.At)) &&
		kind.valid(next.Value) && (kind != Distance || Ease(next)-ease <= atOnce)
}
