package record

import (
	"slices"

	"telltale/rules/unit"
)

// LifeAt is the life value that a service or sample stands on: its own accepted
// reading, else the last accepted one before it, which is then an estimate. A
// reading of its own that is too old to be kept in the chain is taken where it
// fits between those that are.
func (c *Chain) LifeAt(s *Stamp, own map[string]unit.Quantity) (life float64, estimated, ok bool) {
	if p, found := c.of(s); found && p.Accepted {
		return p.Life, false, true
	} else if !found {
		if v, has := meterValue(own, c.Name, c.Hours); has {
			if life, ok := c.fits(s.At, v); ok {
				return life, false, true
			}
		}
	}
	p, ok := c.Last(s.At)
	return p.Life, true, ok
}

// fits gives the life value of a face value between the accepted readings around
// a moment, and whether it lies between theirs.
func (c *Chain) fits(at int64, face float64) (life float64, ok bool) {
	before, hasBefore := c.Last(at)
	i := slices.IndexFunc(c.Points, func(p Point) bool { return p.Accepted && p.At > at })
	switch {
	case hasBefore:
		life = face + (before.Life - before.Face)
	case i >= 0:
		life = face + (c.Points[i].Life - c.Points[i].Face)
	default:
		return 0, false
	}
	return life, (!hasBefore || life >= before.Life) && (i < 0 || life <= c.Points[i].Life)
}

// Estimates reports whether a service or sample stands on the reading before it,
// for want of one of its own that is accepted, or work that was put off does.
func (r *Record) Estimates(c *Chain) bool {
	estimated := func(s *Stamp, own map[string]unit.Quantity) bool {
		_, est, ok := c.LifeAt(s, own)
		return ok && est && !s.Void
	}
	return slices.ContainsFunc(r.Services, func(s Service) bool { return estimated(&s.Stamp, s.Meters) }) ||
		slices.ContainsFunc(r.Samples, func(s Sample) bool { return estimated(&s.Stamp, s.Meters) }) ||
		slices.ContainsFunc(r.Postponed, func(p Postponed) bool { return r.waits(&p) })
}

// standsOtherwise reports whether a service or sample that stood on the reading before
// it stands on another value since the chain was made anew.
func (r *Record) standsOtherwise(before, after *Chain) bool {
	moved := func(s *Stamp, own map[string]unit.Quantity) bool {
		was, est, ok := before.LifeAt(s, own)
		if !ok || !est || s.Void {
			return false
		}
		is, _, ok := after.LifeAt(s, own)
		return !ok || is != was
	}
	return slices.ContainsFunc(r.Services, func(s Service) bool { return moved(&s.Stamp, s.Meters) }) ||
		slices.ContainsFunc(r.Samples, func(s Sample) bool { return moved(&s.Stamp, s.Meters) })
}

// compareChains tells whether a reading that both hold got another verdict, or one
// that a service or sample stands on is kept no longer, and whether any is.
func compareChains(before, after []Point) (changed, dropped bool) {
	j := 0
	for _, b := range before {
		for j < len(after) && after[j].At < b.At {
			j++
		}
		found := false
		for k := j; k < len(after) && after[k].At == b.At; k++ {
			if a := after[k]; a.key == b.key && a.ID == b.ID {
				found = true
				changed = changed || a.Accepted != b.Accepted || a.Life != b.Life
			}
		}
		changed = changed || !found && b.Own
		dropped = dropped || !found
	}
	return changed, dropped
}
