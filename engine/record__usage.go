package engine

import (
	"math"
	"slices"
	"telltale/engine/meter"
	"time"
)

// moments are when the meter was heard of, Unix seconds.
func (c *chain) moments() []int64 {
	out := make([]int64, len(c.points))
	for i, p := range c.points {
		out[i] = seconds(p.at)
	}
	return out
}

// reckonUsage is the chain's usage up to a moment, from the thinned accepted
// readings, so that it is a function of the set of facts.
func (c *chain) reckonUsage(at int64) *meter.Usage {
	whole := len(c.points) == 0 || at >= c.points[len(c.points)-1].at
	if whole && c.usage != nil {
		return c.usage
	}
	var room [64]meter.Reading
	in := room[:0]
	for _, p := range c.kept() {
		if p.at <= at {
			in = append(in, meter.Reading{At: seconds(p.at), Value: p.life})
		}
	}
	u := meter.Estimate(in)
	if whole {
		c.usage = &u
	}
	return &u
}

// kept are the accepted points that thinning keeps, so that what is made of
// them is a function of the set of facts.
func (c *chain) kept() []chainPoint {
	if c.thinned == nil && len(c.points) > 0 {
		c.thinned = meter.ThinFunc(c.points, func(p *chainPoint) int64 { return seconds(p.at) }, func(p *chainPoint) bool { return p.own })
		if slices.ContainsFunc(c.thinned, func(p chainPoint) bool { return !p.accepted }) {
			accepted := make([]chainPoint, 0, len(c.thinned))
			for i := range c.thinned {
				if c.thinned[i].accepted {
					accepted = append(accepted, c.thinned[i])
				}
			}
			c.thinned = accepted
		}
	}
	return c.thinned
}

// steepest is the greatest slope between two points at least so many seconds apart.
func (c *chain) steepest(apart int64) float64 {
	most := 0.0
	for i, a := range c.points {
		for j := len(c.points) - 1; j > i; j-- {
			t := seconds(c.points[j].at) - seconds(a.at)
			if t < apart {
				break
			}
			most = max(most, (c.points[j].life-a.life)/float64(t))
		}
	}
	return most
}

// limitAt is the life value up to which later points make no slope over pace with
// any that there are, nor with one another, where they are apart.
func (c *chain) limitAt(pace float64, apart int64) float64 {
	limit, last := math.Inf(1), seconds(c.points[len(c.points)-1].at)
	for _, p := range c.points {
		limit = min(limit, p.life+float64(pace*float64(max(apart, last-seconds(p.at)))))
	}
	return limit
}

// lastFact is the last moment of what is not a plain reading.
func (r *Record) lastFact(zone *time.Location) int64 {
	last := int64(math.MinInt64)
	for i := range r.Services {
		last = max(last, r.Services[i].At)
	}
	for i := range r.Samples {
		last = max(last, r.Samples[i].At, r.Samples[i].place(zone).at)
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
