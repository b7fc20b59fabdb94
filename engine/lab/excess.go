package lab

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

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
	// Weak says that it is of no group that the component belongs to: its own past counts
	// for more.
	Weak bool
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
	// ownCounts is how many samples of its own past count as much as the group, or as a
	// weak norm. Common practice, no source.
	ownCounts, ownCountsWeak = 2, 0.5
	// ownRange bounds the own past, over the group's, above and below: what was bad from the
	// beginning is not usual for that. Under a weak norm it may lie lower. Common practice,
	// no source.
	ownRange, ownRangeWeak = 2, 5
	// ownRaises is how many samples it takes to raise what is usual over a weak norm: one
	// that was bad already must not excuse the next. Common practice, no source.
	ownRaises = 3
	// ownAlone is how many samples of its own past it takes where there is no group.
	ownAlone = 2
)

// Past are the earlier samples that were measured as the last one of a history was, with
// what the fluid's run now is over its run then: by distance, else by hours, else 1.
type Past struct {
	steps []*Step
	runs  []float64
}

// PastOf reads the past once for all analytes.
func PastOf(h History) (p Past) {
	if len(h) == 0 {
		return p
	}
	last := len(h) - 1
	for _, kind := range []unit.Kind{unit.Distance, unit.Time, unit.None} {
		ages := h.agesBy(kind)
		for i := h.Alike(); i < last && ages[last] > 0; i++ {
			if !h[i].Exchange && ages[i] > 0 {
				p.steps, p.runs = append(p.steps, &h[i]), append(p.runs, ages[last]/ages[i])
			}
		}
		if len(p.steps) > 0 {
			break
		}
	}
	return p
}

// agesBy are the fluid's mixed ages at all steps; 1 at each for unit.None.
func (h History) agesBy(kind unit.Kind) []float64 {
	if kind == unit.None {
		return slices.Repeat([]float64{1}, len(h))
	}
	ages := make([]float64, len(h))
	h.eachAge(kind, func(i int, here float64) { ages[i] = here })
	return ages
}

// Of is what the past had of the analyte beyond fresh fluid: the median of what was made
// for each run of the fluid, times the fluid's run now.
func (p *Past) Of(analyte string, fresh float64) Own {
	var room [2][64]float64
	low, high, open := room[0][:0], room[1][:0], false
	runs, place := grows(analyte), 0
	for i, s := range p.steps {
		if r, at, ok := s.resultNear(analyte, place); ok {
			place = at
			span, run := r.Span(), 1.0
			if runs {
				run = p.runs[i]
			}
			open = open || span.Low != span.High
			low = append(low, math.Max(span.Low-fresh, 0)*run)
			high = append(high, math.Max(span.High-fresh, 0)*run)
		}
	}
	if len(low) == 0 {
		return Own{}
	}
	own := Own{Span{Low: median(low)}, len(low)}
	if own.Span.High = own.Span.Low; open {
		own.Span.High = median(high)
	}
	return own
}

// grows reports whether the analyte gathers with the run of a fluid: metals of wear, dirt
// and salt, soot and what heat makes. An additive is there from the first.
func grows(analyte string) bool {
	return isWear(analyte) || slices.Contains([]string{"Si", "Na", "K", "soot", "oxidation", "nitration", "TAN", "ferrous"}, analyte)
}

func median(list []float64) float64 {
	slices.Sort(list)
	n := len(list)
	return (list[(n-1)/2] + list[n/2]) / 2
}

// Excess is what the sample holds of the analyte beyond fresh fluid and beyond what is
// usual for the fluid's age. Of what gathers with the run, the group's mean, less what is
// fresh in it, grows with a fluid that is older than the group's; for a younger one it
// stays, since what a drain leaves and what wears in does not shrink with the run. The
// component's own past weighs in by how much of it there is, within half to twice the
// group's, or a fifth to twice a weak norm's, over that from the third sample on. norm is nil where there is no group; own is
// one number of [Past.Of].
func (s Sheet) Excess(analyte string, norm *Norm, own float64, samples int) (e Excess, why string, ok bool) {
	if e.Value, why, ok = s.Value(analyte); !ok {
		return Excess{}, why, false
	}
	e.Fresh, _, _ = s.FreshValue(analyte)
	e.Own, e.Samples, e.Older, e.Usual = own, samples, 1, own
	spread := unknownSpread
	switch {
	case norm == nil && samples < ownAlone:
		return Excess{}, "an earlier sample or two", false
	case norm != nil:
		beyond := math.Max(norm.Mean-e.Fresh, 0)
		if age, _, ok := s.MixedAge(norm.Kind); ok && norm.Age > 0 && grows(analyte) {
			e.Older = math.Max(age/norm.Age, 1)
		}
		if norm.SD > 0 && beyond > 0 {
			spread = norm.SD / beyond
		}
		e.Group = beyond * e.Older
		e.weigh(norm.Weak)
	}
	e.Excess = e.Value - e.Fresh - e.Usual
	method := PrecisionOf(analyte).Limit(e.Value, false) / math.Sqrt2
	e.Error = math.Hypot(method, normal95*spread*e.Usual)
	return e, "", true
}

// normal95 is how many standard deviations hold 95 of 100, to either side.
var normal95 = distuv.UnitNormal.Quantile(0.975)

// weigh makes what is usual of the group's and the own past.
func (e *Excess) weigh(weak bool) {
	e.Usual = e.Group
	if e.Samples == 0 {
		return
	}
	counts, least := float64(ownCounts), e.Group/ownRange
	if weak {
		counts, least = ownCountsWeak, e.Group/ownRangeWeak
	}
	if weak && e.Samples < ownRaises {
		e.Own = math.Min(e.Own, e.Group)
	}
	weight := float64(e.Samples) / (float64(e.Samples) + counts)
	e.Own = math.Min(math.Max(e.Own, least), e.Group*ownRange)
	e.Usual = float64(weight*e.Own) + float64((1-weight)*e.Group)
}
