package engine

import (
	"cmp"
	"math"
	"slices"
	"telltale/engine/lab"
	"telltale/rules/unit"
)

// step is a sample or an exchange in a component's history.
type step struct {
	place
	sample  *Sample
	again   []*Sample // other analyses of the same sample, told on sheets of their own
	service *Service
	stated  float64 // the share that the service's tasks renew by plan, 0 for none
}

func (s step) id() ID {
	if s.sample != nil {
		return s.sample.ID
	}
	return s.service.ID
}

// of reports whether the step is that sample, or one of its analyses is.
func (s *step) of(id ID) bool {
	return s.sample != nil && (s.sample.ID == id || slices.ContainsFunc(s.again, func(o *Sample) bool { return o.ID == id }))
}

// timeline is a component's samples (each in its highest revision) and exchanges
// of fluid in order, with the same as laboratory steps.
type timeline struct {
	steps []step
	lab   lab.History
}

// upTo is the history that ends with step i.
func (t timeline) upTo(i int) timeline { return timeline{t.steps[:i+1], t.lab[:i+1]} }

// lastSample is the index of the last sample, or -1.
func (t timeline) lastSample() int {
	for i := len(t.steps) - 1; i >= 0; i-- {
		if t.steps[i].sample != nil {
			return i
		}
	}
	return -1
}

// timeline derives the history of a component's fluid. stated gives the share that a
// service's tasks renew by plan, 0 for none; it may be nil.
func (r *Record) timeline(v *VehicleData, comp *ComponentDef, stated func(*Service) float64) timeline {
	zone := v.zone()
	samples := make([]*Sample, 0, len(r.Samples))
	for i := range r.Samples {
		if s := &r.Samples[i]; s.Component == comp.Name && !s.Void {
			samples = supersede(samples, s)
		}
	}
	slices.SortFunc(samples, func(a, b *Sample) int { return a.orderIn(b, zone) })
	t := timeline{steps: make([]step, 0, len(samples))}
	for _, s := range samples {
		if first := slices.IndexFunc(t.steps, func(o step) bool { return s.repeats(o.sample) }); first >= 0 {
			t.steps[first].again = append(t.steps[first].again, s)
			continue
		}
		t.steps = append(t.steps, step{place: s.place(zone), sample: s})
	}
	for i := range r.Services {
		s := &r.Services[i]
		if s.Void {
			continue
		}
		share := 0.0
		if stated != nil {
			share = stated(s)
		}
		if s.Fluid != nil && exchanges(s, v, comp) || s.Fluid == nil && share > 0 {
			t.steps = append(t.steps, step{place: s.Stamp.place(ServiceEvent), service: s, stated: share})
		}
	}
	slices.SortStableFunc(t.steps, func(a, b step) int { return a.compare(b.place) })
	t.lab = make(lab.History, len(t.steps))
	for i, s := range t.steps {
		t.lab[i] = r.labStep(v, comp, s)
	}
	for i, s := range t.steps {
		if s.sample != nil && doubtedAge(t, i) != "" {
			t.lab[i].Age, t.lab[i].AgeHours = math.NaN(), math.NaN()
		}
	}
	return t
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

// exchanges reports whether the service changed this component's fluid. One that
// names no component means the only one that holds the fluid it names.
func exchanges(s *Service, v *VehicleData, comp *ComponentDef) bool {
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

func (r *Record) labStep(v *VehicleData, comp *ComponentDef, s step) lab.Step {
	nan := math.NaN()
	out := lab.Step{Distance: nan, Hours: nan, Age: nan, AgeHours: nan, Share: nan}
	var stamp *Stamp
	var own map[string]unit.Quantity
	if s.sample != nil {
		stamp, own = &s.sample.Stamp, s.sample.Meters
	} else {
		stamp, own = &s.service.Stamp, s.service.Meters
	}
	if c := r.chainFor(v, comp, false); c != nil {
		if life, _, ok := c.lifeAt(stamp, own); ok {
			out.Distance = life
		}
	}
	if c := r.chainFor(v, comp, true); c != nil {
		if life, _, ok := c.lifeAt(stamp, own); ok {
			out.Hours = life
		}
	}
	if s.service != nil {
		out.Exchange = true
		if d := s.service.Fluid; d != nil {
			out.Share = lab.Share(litres(d.Filled), litres(d.Drained), litres(comp.Capacity))
		}
		if math.IsNaN(out.Share) && s.stated > 0 {
			out.Share, out.Stated = s.stated, true
		}
		return out
	}
	if q := s.sample.FluidAge; q != nil {
		if base, kind, err := q.Base(); err == nil && kind == unit.Time {
			out.AgeHours = base
		} else if err == nil && kind == unit.Distance {
			out.Age = base
		}
	}
	out.Laboratory, out.Method, out.Point = s.sample.Laboratory, s.sample.Method, s.sample.Point
	out.Results = s.sheet().results
	return out
}

// lastExchange is the last exchange before step i, or -1.
func (t timeline) lastExchange(i int) int {
	for i--; i >= 0; i-- {
		if t.steps[i].service != nil {
			return i
		}
	}
	return -1
}
