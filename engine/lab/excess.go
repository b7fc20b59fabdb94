package lab

import (
	"math"
	"slices"

	"telltale/rules/unit"
)

// Norm is what is usual of one analyte in a group of components.
type Norm struct {
	Mean float64 // in the analyte's base unit, fresh fluid's share included
	SD   float64 // the standard deviation about it; 0 where unknown
	// Age is that of the fluid at which the mean was taken, in metres (Kind is
	// unit.Distance) or seconds (unit.Time); 0 where unknown.
	Age  float64
	Kind unit.Kind
}

// Own is what the component itself had in earlier samples, beyond fresh fluid, brought to
// the age that its fluid has now. Samples is of how many; none says nothing.
type Own struct {
	Span    Span // wider than a point where results are below (or above) a limit
	Samples int
}

// Excess is what the sample holds of an analyte beyond what is usual.
type Excess struct {
	Value  float64
	Fresh  float64 // what fresh fluid contains; 0 where unknown
	Usual  float64 // made beyond Fresh by now, where nothing is out of the ordinary
	Excess float64 // Value less Fresh and Usual
	// Error is what the method and the spread of the group account for, 95 times in 100.
	Error float64

	// What Usual comes of: the group's own, times Older for the fluid's age, weighed with
	// the component's own past.
	Group, Older, Own float64
	Samples           int // of the own past
}

// Real reports whether the excess is more than method and spread account for.
func (e *Excess) Real() bool { return e.Excess > e.Error }

const (
	// unknownSpread is the standard deviation of a group of which none is known, over
	// what it makes: between healthy engines of one kind it is some 30 to 50 %. Common
	// practice, no source.
	unknownSpread = 0.4
	// ownCounts is how many samples of its own past count as much as the group. Common
	// practice, no source.
	ownCounts = 2
	// ownRange bounds the own past, over the group's: what was bad from the beginning is
	// not usual for that. Common practice, no source.
	ownRange = 2
	// ownAlone is how many samples of its own past it takes where there is no group.
	ownAlone = 2
)

// OwnPast is what earlier samples measured alike had of the analyte beyond fresh fluid:
// the median of what was made for each run of the fluid, times the fluid's run now. Where
// an age is not known the median is of the results as they are.
func (s Sheet) OwnPast(analyte string) Own {
	h, last := s.History, len(s.History)-1
	fresh, _, _ := s.FreshValue(analyte)
	for _, kind := range []unit.Kind{unit.Distance, unit.Time, unit.None} {
		var low, high []float64
		now := s.ageBy(last, kind)
		for i := h.Alike(); i < last; i++ {
			r, ok := h[i].result(analyte)
			age := s.ageBy(i, kind)
			if span := r.Span(); ok && now > 0 && age > 0 {
				low = append(low, math.Max(span.Low-fresh, 0)*now/age)
				high = append(high, math.Max(span.High-fresh, 0)*now/age)
			}
		}
		if len(low) > 0 {
			return Own{Span{median(low), median(high)}, len(low)}
		}
	}
	return Own{}
}

// ageBy is the fluid's age at a step; 1 for every step where kind is unit.None.
func (s Sheet) ageBy(i int, kind unit.Kind) float64 {
	if kind == unit.None {
		return 1
	}
	return s.History.mixed(i, kind)
}

func median(list []float64) float64 {
	slices.Sort(list)
	n := len(list)
	return (list[(n-1)/2] + list[n/2]) / 2
}

// Excess is what the sample holds of the analyte beyond fresh fluid and beyond what is
// usual for the fluid's age. The group's mean, less what is fresh in it, grows with a
// fluid that is older than the group's; for a younger one it stays, since what a drain
// leaves and what wears in does not shrink with the run. The component's own past weighs
// in by how much of it there is, within half to twice the group's. norm is nil where
// there is no group; own is one number of [Sheet.OwnPast].
func (s Sheet) Excess(analyte string, norm *Norm, own float64, samples int) (e Excess, why string, ok bool) {
	if e.Value, why, ok = s.Value(analyte); !ok {
		return Excess{}, why, false
	}
	e.Fresh, _, _ = s.FreshValue(analyte)
	e.Own, e.Samples, e.Older = own, samples, 1
	spread := unknownSpread
	switch {
	case norm == nil && samples < ownAlone:
		return Excess{}, "an earlier sample or two", false
	case norm == nil:
		e.Usual = own
	default:
		beyond := math.Max(norm.Mean-e.Fresh, 0)
		if age, _, ok := s.MixedAge(norm.Kind); ok && norm.Age > 0 {
			e.Older = math.Max(age/norm.Age, 1)
		}
		e.Group = beyond * e.Older
		e.Usual = e.Group
		if norm.SD > 0 && beyond > 0 {
			spread = norm.SD / beyond
		}
		if samples > 0 {
			weight := float64(samples) / float64(samples+ownCounts)
			e.Own = math.Min(math.Max(own, e.Group/ownRange), e.Group*ownRange)
			e.Usual = float64(weight*e.Own) + float64((1-weight)*e.Group)
		}
	}
	e.Excess = e.Value - e.Fresh - e.Usual
	method := PrecisionOf(analyte).Limit(e.Value, false) / math.Sqrt2
	e.Error = math.Hypot(method, 1.96*spread*e.Usual)
	return e, "", true
}
