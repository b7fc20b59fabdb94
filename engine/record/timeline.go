package record

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/lab"
	"telltale/rules/unit"
)

// Step is a sample or an exchange in a component's history.
type Step struct {
	Place
	Sample  *Sample
	again   []*Sample // other analyses of the same sample, told on sheets of their own
	Service *Service
	stated  float64 // the share that the service's tasks renew by plan, 0 for none
	topUp   bool    // the fluid that the service topped up, and not what it exchanged
}

// Exchanged reports whether fluid was exchanged at the step, and not topped up alone.
func (s *Step) Exchanged() bool { return s.Service != nil && !s.topUp }

// ToppedUp is what was topped up at the step, litres; 0 for any other step.
func (s *Step) ToppedUp() float64 {
	if !s.topUp {
		return 0
	}
	return event.Litres(s.Service.ToppedUp)
}

// ID is the identity of the sample or the service.
func (s Step) ID() event.ID {
	if s.Sample != nil {
		return s.Sample.ID
	}
	return s.Service.ID
}

// IsOf reports whether the step is that sample, or one of its analyses is.
func (s *Step) IsOf(id event.ID) bool {
	return s.Sample != nil && (s.Sample.ID == id || slices.ContainsFunc(s.again, func(o *Sample) bool { return o.ID == id }))
}

// Timeline is a component's samples (each in its highest revision) and exchanges
// of fluid in order, with the same as laboratory steps.
type Timeline struct {
	Steps []Step
	Lab   lab.History
}

// UpTo is the history that ends with step i.
func (t Timeline) UpTo(i int) Timeline { return Timeline{t.Steps[:i+1], t.Lab[:i+1]} }

// LastSample is the index of the last sample, or -1.
func (t Timeline) LastSample() int {
	for i := len(t.Steps) - 1; i >= 0; i-- {
		if t.Steps[i].Sample != nil {
			return i
		}
	}
	return -1
}

// Timeline derives the history of a component's fluid. stated gives the share that a
// service's tasks renew by plan, 0 for none; it may be nil.
func (r *Record) Timeline(v *event.VehicleData, comp *event.ComponentDef, stated func(*Service) float64) Timeline {
	zone, fitted := v.Location(), fittedAt(v, comp)
	samples := make([]*Sample, 0, len(r.Samples))
	for i := range r.Samples {
		if s := &r.Samples[i]; s.Component == comp.Name && !s.Void && s.Place(zone).At >= fitted {
			samples = supersede(samples, s)
		}
	}
	slices.SortFunc(samples, func(a, b *Sample) int { return a.orderIn(b, zone) })
	t := Timeline{Steps: make([]Step, 0, len(samples))}
	for _, s := range samples {
		if first := slices.IndexFunc(t.Steps, func(o Step) bool { return s.repeats(o.Sample) }); first >= 0 {
			t.Steps[first].again = append(t.Steps[first].again, s)
			continue
		}
		t.Steps = append(t.Steps, Step{Place: s.Place(zone), Sample: s})
	}
	for i := range r.Services {
		s := &r.Services[i]
		if s.Void || s.At < fitted {
			continue
		}
		share := 0.0
		if stated != nil {
			share = stated(s)
		}
		if f := s.Exchanged(); f != nil && Exchanges(s, v, comp) || f == nil && share > 0 {
			t.Steps = append(t.Steps, Step{Place: s.Stamp.Place(event.ServiceEvent), Service: s, stated: share})
		}
		if into, _ := ToppedUpInto(s.ServiceData, v, unit.System{}); into != nil && into.Name == comp.Name {
			t.Steps = append(t.Steps, Step{Place: s.Stamp.Place(event.ServiceEvent), Service: s, topUp: true})
		}
	}
	slices.SortStableFunc(t.Steps, func(a, b Step) int { return a.Compare(b.Place) })
	t.Lab = make(lab.History, len(t.Steps))
	for i, s := range t.Steps {
		t.Lab[i] = r.labStep(v, comp, s)
	}
	for i, s := range t.Steps {
		if s.Sample != nil && doubtedAge(t, i, unit.System{}) != "" {
			t.Lab[i].Age, t.Lab[i].AgeHours = math.NaN(), math.NaN()
		}
	}
	return t
}

// Measurements are what was measured by hand on the vehicle, in order.
func (r *Record) Measurements(zone *time.Location) (out []*Sample) {
	for i := range r.Samples {
		if s := &r.Samples[i]; !s.Void && s.ByHand() {
			out = append(out, s)
		}
	}
	slices.SortFunc(out, func(a, b *Sample) int { return a.orderIn(b, zone) })
	return out
}

// MeasuredAfter reports whether something was measured by hand after a place.
func (r *Record) MeasuredAfter(p Place, zone *time.Location) bool {
	return slices.ContainsFunc(r.Samples, func(s Sample) bool { return s.ByHand() && !s.Void && s.Place(zone).Compare(p) > 0 })
}

// MeasuredAt is where the vehicle's meters stood at a measurement, as a step without
// results.
func (r *Record) MeasuredAt(v *event.VehicleData, s *Sample) lab.Step {
	out := lab.Step{Distance: math.NaN(), Hours: math.NaN(), Age: math.NaN(), AgeHours: math.NaN(), Share: math.NaN()}
	r.lifeAt(&out, v, nil, &s.Stamp, s.Meters)
	return out
}

// lifeAt fills in where a component's meters stood at a fact.
func (r *Record) lifeAt(out *lab.Step, v *event.VehicleData, comp *event.ComponentDef, stamp *Stamp, own map[string]unit.Quantity) {
	if c := r.ChainFor(v, comp, false); c != nil {
		if life, _, ok := c.LifeAt(stamp, own); ok {
			out.Distance = life
		}
	}
	if c := r.ChainFor(v, comp, true); c != nil {
		if life, _, ok := c.LifeAt(stamp, own); ok {
			out.Hours = life
		}
	}
}

// fittedAt is the beginning of the day on which the component was fitted, Unix nanoseconds;
// what came before was of another.
func fittedAt(v *event.VehicleData, comp *event.ComponentDef) int64 {
	if comp.InService == "" { // most: asked for every timeline
		return math.MinInt64
	}
	on, err := interval.ParseDate(comp.InService)
	if err != nil {
		return math.MinInt64
	}
	return on.Start(v.Location()).UnixNano()
}

// supersede adds s unless a higher revision of the same sample is there, and
// takes out a lower one.
func supersede(list []*Sample, s *Sample) []*Sample {
	for i, o := range list {
		if o.Number != s.Number || o.Repeat != s.Repeat || o.ID.Source != s.ID.Source {
			continue
		}
		if cmp.Or(cmp.Compare(s.Revision, o.Revision), s.Stamp.order(&o.Stamp)) > 0 {
			list[i] = s
		}
		return list
	}
	return append(list, s)
}

// repeats reports whether s is another analysis of the sample o.
func (s *Sample) repeats(o *Sample) bool {
	return s.Number == o.Number && s.Repeat != o.Repeat && s.ID.Source == o.ID.Source
}

// Exchanges reports whether the service changed this component's fluid. One that
// names no component means the only one that holds the fluid it names.
func Exchanges(s *Service, v *event.VehicleData, comp *event.ComponentDef) bool {
	if s.Component != "" {
		return s.Component == comp.Name
	}
	n := 0
	for i := range v.Components {
		if v.Components[i].Fluid == s.Fluid.Name {
			n++
		}
	}
	return n == 1 && comp.Fluid == s.Fluid.Name && s.Fluid.Name != ""
}

// Renewed is the share of a component's fluid that the work renewed, all of it where nobody
// knows; stated is the share by plan, 0 for none. ok is false where it renewed none.
func Renewed(s *Service, v *event.VehicleData, comp *event.ComponentDef, stated float64) (share float64, ok bool) {
	f := s.Exchanged()
	if f == nil {
		return stated, stated > 0
	}
	share = lab.Share(event.Litres(f.Filled), event.Litres(f.Drained), event.Litres(comp.Capacity))
	if f.Flush {
		share = 1
	} else if math.IsNaN(share) {
		share = cmp.Or(stated, 1)
	}
	return share, Exchanges(s, v, comp)
}

// OddShare says what is odd about how much of the component's fluid was renewed by a
// drain, to who reads so; it is empty where nothing is.
func OddShare(d *event.FluidData, c *event.ComponentDef, reads unit.System) string {
	renewed, capacity := event.Litres(d.Filled), event.Litres(c.Capacity)
	if math.IsNaN(renewed) {
		renewed = event.Litres(d.Drained)
	}
	share := renewed / capacity
	switch {
	case d.Flush || !(capacity > 0):
	case share > 0.8 && strings.Contains(strings.ToLower(c.Kind), "automatic transmission"):
		return fmt.Sprintf("that would be %.3g %% of the fluid of the %s, and a drain leaves the converter full: is the capacity of %s that of the pan alone? (Say flush if a machine changed all of it.)", 100*share, c.Name, c.Capacity.In(reads))
	case share > 1.1:
		return fmt.Sprintf("that would be %.2g times what the %s holds: is its capacity of %s right? (Say flush if a machine changed all of it.)", share, c.Name, c.Capacity.In(reads))
	}
	return ""
}

func (r *Record) labStep(v *event.VehicleData, comp *event.ComponentDef, s Step) lab.Step {
	nan := math.NaN()
	out := lab.Step{Distance: nan, Hours: nan, Age: nan, AgeHours: nan, Share: nan}
	var stamp *Stamp
	var own map[string]unit.Quantity
	if s.Sample != nil {
		stamp, own = &s.Sample.Stamp, s.Sample.Meters
	} else {
		stamp, own = &s.Service.Stamp, s.Service.Meters
	}
	r.lifeAt(&out, v, comp, stamp, own)
	if s.topUp {
		out.Exchange, out.TopUp, out.Share = true, true, 0
		if capacity := event.Litres(comp.Capacity); capacity > 0 {
			out.Share = s.ToppedUp() / capacity
		}
		return out
	}
	if s.Service != nil {
		out.Exchange = true
		if d := s.Service.Fluid; d != nil {
			out.Share = lab.Share(event.Litres(d.Filled), event.Litres(d.Drained), event.Litres(comp.Capacity))
		}
		if math.IsNaN(out.Share) && s.stated > 0 {
			out.Share, out.Stated = s.stated, true
		}
		return out
	}
	if q := s.Sample.FluidAge; q != nil {
		if base, kind, err := q.Base(); err == nil && kind == unit.Time {
			out.AgeHours = base
		} else if err == nil && kind == unit.Distance {
			out.Age = base
		}
	}
	out.Laboratory, out.Method, out.Point = s.Sample.Laboratory, s.Sample.Method, s.Sample.Point
	out.Results = s.Sheet().Results
	return out
}

// LastExchange is the last exchange before step i, top-ups passed by, or -1.
func (t Timeline) LastExchange(i int) int {
	for i--; i >= 0; i-- {
		if t.Steps[i].Exchanged() {
			return i
		}
	}
	return -1
}

// ToppedUp is what was topped up after step i, litres.
func (t Timeline) ToppedUp(i int) float64 {
	sum := 0.0
	for k := i + 1; k < len(t.Steps); k++ {
		sum += t.Steps[k].ToppedUp()
	}
	return sum
}

// Consumed is what was topped up since the last exchange before a place, or without one since
// the first topping up, which put to rights what nobody knows of; since is where that was.
// ok is false where there was neither.
func (t Timeline) Consumed(before Place) (litres float64, since lab.Step, ok bool) {
	for i := range t.Steps {
		s := &t.Steps[i]
		switch {
		case s.Compare(before) > 0:
			return litres, since, ok
		case s.Exchanged(), s.topUp && !ok:
			litres, since, ok = 0, t.Lab[i], true
		default:
			litres += s.ToppedUp()
		}
	}
	return litres, since, ok
}

// Place is a position in a vehicle's history. Facts at one moment come in the
// order of their kinds.
type Place struct {
	At   int64 // Unix nanoseconds
	Rank uint8
}

// Compare orders places in time.
func (p Place) Compare(o Place) int {
	return cmp.Or(cmp.Compare(p.At, o.At), cmp.Compare(p.Rank, o.Rank))
}

// LastPlace comes after every fact.
var LastPlace = Place{math.MaxInt64, 255}

// PlaceOf is the place of a fact of that kind at a moment, Unix nanoseconds.
func PlaceOf(at int64, k event.Kind) Place { return Place{at, uint8(k)} }

// Place is the fact's, as one of that kind.
func (s *Stamp) Place(k event.Kind) Place { return Place{s.At, uint8(k)} }

// Place of a sample: when it was drawn. With a date only it comes before any
// service of that local date, or after all of them where it was taken after.
func (s *Sample) Place(zone *time.Location) Place {
	if s.drawnIn != zone {
		s.drawnAt, s.drawnIn = s.reckonPlace(zone), zone
	}
	return s.drawnAt
}

func (s *Sample) reckonPlace(zone *time.Location) Place {
	if s.Drawn == "" {
		return s.Stamp.Place(event.SampleEvent)
	}
	if t, err := time.Parse(time.RFC3339, s.Drawn); err == nil {
		return Place{t.UnixNano(), uint8(event.SampleEvent)}
	}
	day, err := time.ParseInLocation(time.DateOnly, s.Drawn, zone)
	if err != nil {
		return s.Stamp.Place(event.SampleEvent)
	}
	if s.Taken == "after" {
		return Place{day.AddDate(0, 0, 1).UnixNano() - 1, math.MaxUint8 - 1}
	}
	return Place{day.UnixNano(), uint8(event.SampleEvent)}
}

// orderIn compares samples by when they were drawn, then time, number and revision.
func (s *Sample) orderIn(o *Sample, zone *time.Location) int {
	return cmp.Or(s.Place(zone).Compare(o.Place(zone)), cmp.Compare(s.At, o.At),
		strings.Compare(s.Number, o.Number), cmp.Compare(s.Repeat, o.Repeat), cmp.Compare(s.Revision, o.Revision), s.Stamp.order(&o.Stamp))
}

// DrawnBefore reports whether the sample was drawn before the work: by the word of who
// took it on that day, else by their places in the history.
func (s *Sample) DrawnBefore(w *Service, zone *time.Location) bool {
	if s.Taken == "before" {
		return interval.DateOf(time.Unix(0, w.At), zone).String() >= s.DrawnOn(zone)
	}
	return s.Place(zone).Compare(w.Stamp.Place(event.ServiceEvent)) < 0
}

// DrawnOn is the local date on which the sample was drawn.
func (s *Sample) DrawnOn(zone *time.Location) string {
	return interval.DateOf(time.Unix(0, s.Place(zone).At), zone).String()
}
