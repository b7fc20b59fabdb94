package record

import (
	"math"
	"slices"
	"time"

	"telltale/engine/meter"
)

// Moments are when the meter was heard of, Unix seconds.
func (c *Chain) Moments() []int64 {
	out := make([]int64, len(c.Points))
	for i, p := range c.Points {
		out[i] = Seconds(p.At)
	}
	return out
}

// ReckonUsage is the chain's usage up to a moment, from the thinned accepted
// readings, so that it is a function of the set of facts.
func (c *Chain) ReckonUsage(at int64) *meter.Usage {
	whole := len(c.Points) == 0 || at >= c.Points[len(c.Points)-1].At
	if whole && c.usage != nil {
		return c.usage
	}
	var room [64]meter.Reading
	in := room[:0]
	for _, p := range c.Kept() {
		if p.At <= at {
			in = append(in, meter.Reading{At: Seconds(p.At), Value: p.Life})
		}
	}
	u := meter.Estimate(in)
	if whole {
		c.usage = &u
	}
	return &u
}

// Kept are the accepted points that thinning keeps, so that what is made of
// them is a function of the set of facts.
func (c *Chain) Kept() []Point {
	if c.thinned == nil && len(c.Points) > 0 {
		c.thinned = meter.ThinFunc(c.Points, func(p *Point) int64 { return Seconds(p.At) }, func(p *Point) bool { return p.Own })
		if slices.ContainsFunc(c.thinned, func(p Point) bool { return !p.Accepted }) {
			accepted := make([]Point, 0, len(c.thinned))
			for i := range c.thinned {
				if c.thinned[i].Accepted {
					accepted = append(accepted, c.thinned[i])
				}
			}
			c.thinned = accepted
		}
	}
	return c.thinned
}

// Steepest is the greatest slope between two points at least so many seconds apart.
func (c *Chain) Steepest(apart int64) float64 {
	most := 0.0
	for i, a := range c.Points {
		for j := len(c.Points) - 1; j > i; j-- {
			t := Seconds(c.Points[j].At) - Seconds(a.At)
			if t < apart {
				break
			}
			most = max(most, (c.Points[j].Life-a.Life)/float64(t))
		}
	}
	return most
}

// LimitAt is the life value up to which later points make no slope over pace with
// any that there are, nor with one another, where they are apart.
func (c *Chain) LimitAt(pace float64, apart int64) float64 {
	limit, last := math.Inf(1), Seconds(c.Points[len(c.Points)-1].At)
	for _, p := range c.Points {
		limit = min(limit, p.Life+float64(pace*float64(max(apart, last-Seconds(p.At)))))
	}
	return limit
}

// LastFact is the last moment of what is not a plain reading.
func (r *Record) LastFact(zone *time.Location) int64 {
	last := int64(math.MinInt64)
	for i := range r.Services {
		last = max(last, r.Services[i].At)
	}
	for i := range r.Samples {
		last = max(last, r.Samples[i].At, r.Samples[i].Place(zone).At)
	}
	for i := range r.Postponed {
		last = max(last, r.Postponed[i].At)
	}
	for i := range r.Meters {
		for j := range r.Meters[i].Replaced {
			last = max(last, r.Meters[i].Replaced[j].At)
		}
	}
	return last
}
