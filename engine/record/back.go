package record

import (
	"math"
	"slices"

	"telltale/engine/event"
	"telltale/engine/meter"
)

// Back is where a meter's readings go back: from High, the last higher one, to Low, the
// first lower one. Open is that of [meter.Back].
type Back struct {
	High, Low Point
	Open      bool
}

// Doubted is a value of a replaced instrument that its readings speak against: what the
// new one began with (First), or what the old one ended at.
type Doubted struct {
	Of    Replaced
	First bool
	meter.Verdict
}

// UntoldSince is the moment, Unix nanoseconds, since which nobody can tell how far the
// meter has run; ok is false where it can be told.
func (c *Chain) UntoldSince() (at int64, ok bool) {
	if len(c.Backs) == 0 || !c.Backs[0].Open {
		return 0, false
	}
	return c.Backs[0].Low.At, true
}

// replacements are those that count, each with what it came from, and the moment up to
// which somebody knows of what went back.
func replacements(list []Replaced) (said []meter.Replaced, of []*Replaced, known int64) {
	known = math.MinInt64
	for i := range list {
		switch p := &list[i]; {
		case p.Void:
		case p.Word == Known:
			known = max(known, p.At)
		case p.Word == LowerHold:
			said, of = append(said, meter.Replaced{At: Seconds(p.At), Last: math.NaN(), First: math.NaN()}), append(of, p)
		default:
			said, of = append(said, meter.Replaced{At: Seconds(p.At), Last: p.Last, First: p.First}), append(of, p)
		}
	}
	return said, of, known
}

// WentBack reports whether a meter went back and nobody has said why, and whether one is
// open.
func (r *Record) WentBack() (back, open bool) {
	for i := range r.Chains() {
		c := &r.chains[i]
		_, untold := c.UntoldSince()
		back, open = back || len(c.Backs) > 0, open || untold
	}
	return back, open
}

// SettleBack takes a person's word for the meters that went back, and reports whether it
// settles any. The lower readings hold from where an open one goes back; that somebody
// knows settles what is not open, now or later.
func (r *Record) SettleBack(s Stamp, w Word) bool {
	any := false
	for i := range r.Chains() {
		c := &r.chains[i]
		fact := Replaced{Stamp: s, Word: w}
		since, untold := c.UntoldSince()
		if len(c.Backs) == 0 || w == LowerHold && !untold {
			continue
		}
		if w == LowerHold {
			fact.At = since
		}
		m := &r.Meters[r.meter(c.Name, c.Hours)]
		m.Replaced = latest(insert(m.Replaced, fact), keptReplaced)
		any = true
	}
	if any {
		r.chains = nil
	}
	return any
}

// evidence are the readings by which the meter is seen to go back: the wrong one, both as
// long as nobody knows which that is, and for one that is too high the two after it that
// say so.
func (c *Chain) evidence() (ids []event.ID) {
	for _, b := range c.Backs {
		ids = append(ids, b.Low.ID)
		if b.Open || b.Low.Accepted {
			ids = append(ids, b.High.ID)
		}
		if b.Open || !b.Low.Accepted {
			continue
		}
		for _, p := range c.Points {
			if p.At > b.Low.At && p.Accepted && p.Face < b.High.Face {
				ids = append(ids, p.ID)
				break
			}
		}
	}
	return ids
}

// joints are the readings between which an instrument made way for another, where nobody
// says what it ended at or what the other began with, or what somebody says does not fit:
// the life's total goes on from them, and they alone refute what does not fit.
func (c *Chain) joints(list []Replaced) (ids []event.ID) {
	hold := func(p Point, ok bool) {
		if ok {
			ids = append(ids, p.ID)
		}
	}
	for i := range list {
		if p := &list[i]; !p.Void && p.Word == LowerHold {
			hold(c.LastRead(p.At - 1))
			hold(c.FirstSince(p.At))
		}
	}
	for i := range c.Doubted {
		if d := &c.Doubted[i]; d.First {
			hold(c.FirstSince(d.Of.At))
		} else {
			hold(c.LastRead(d.Of.At - 1))
		}
	}
	return ids
}

// holdBacks sees that the readings by which a meter is seen to go back are not thinned
// out, and those from which it goes on, and only those. It reports whether others are held
// now: the chains are then derived by those, as they would be from the stored record.
func (r *Record) holdBacks() bool {
	changed := false
	for i := range r.chains {
		c := &r.chains[i]
		k := slices.IndexFunc(r.Meters, func(m MeterLog) bool { return m.Name == c.Name })
		if k < 0 {
			continue
		}
		held := append(c.evidence(), c.joints(r.Meters[k].Replaced)...)
		list, own := r.Meters[k].Readings, false
		for j := range list {
			if h := slices.Contains(held, list[j].ID); h != list[j].Held {
				if !own {
					list, own = slices.Clone(list), true
				}
				list[j].Held = h
			}
		}
		if own {
			r.Meters = slices.Clone(r.Meters)
			r.Meters[k].Readings = list
			changed = true
		}
	}
	if changed {
		r.chains = nil
		r.ensureChains()
	}
	return changed
}

// Face is what the instrument in use shows at a life value, below 0 where that was before
// it; replaced tells whether another one was in use before.
func (c *Chain) Face(life float64) (face float64, replaced bool) {
	last, ok := c.LastRead(math.MaxInt64)
	if !ok {
		return life, false
	}
	shift := last.Life - last.Face
	return life - shift, math.Abs(shift) > 1
}

// Slip is which slip of a person would have a reading lie nearer to where it is expected
// after the one before; the zero Meant where none does.
func (c *Chain) Slip(p, before *Point, expected float64) meter.Meant {
	return meter.Slip(meter.Reading{At: Seconds(p.At), Value: p.Face}, meter.Reading{At: Seconds(before.At), Value: before.Face}, expected, c.kind())
}
