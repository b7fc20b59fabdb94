package engine

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// FleetFigures is what the baselines of the fleet in force say of a sample. It is
// reckoned once, as the sample arrives, and kept with it: a set that comes later
// judges later samples only, and the sample is judged alike whenever it is judged.
type FleetFigures struct {
	Set    string `json:"set"` // the hash of the set
	Number int    `json:"number"`
	Of     string `json:"of"` // the date of the survey
	// Waits says that nobody had registered the vehicle when the sample arrived. All
	// else is then absent, as it is where the set's text was gone.
	Waits    bool     `json:"waits,omitempty"`
	Baseline string   `json:"baseline,omitempty"`
	Group    []string `json:"group,omitempty"`
	Samples  int      `json:"samples,omitempty"` // of the group; 0 where there was no such group
	Vehicles int      `json:"vehicles,omitempty"`
	Age      *float64 `json:"age,omitempty"`   // of the group's fluids, in metres
	Hours    bool     `json:"hours,omitempty"` // ages are in seconds of running instead
	Need     [2]int   `json:"need"`            // samples and vehicles, for an analyte
	// Analytes are those of the sample.
	Analytes map[string]FleetFigure `json:"analytes,omitempty"`
}

// FleetFigure is what a group says of one result. Mean, Age and Place are absent
// where the group is too small to judge by.
type FleetFigure struct {
	N        int       `json:"n"`
	Vehicles int       `json:"vehicles"`
	Mean     *lab.Span `json:"mean,omitempty"`
	SD       *float64  `json:"sd,omitempty"`    // the standard deviation, where it is known
	Age      *float64  `json:"age,omitempty"`   // of at least half of the samples
	Place    *lab.Span `json:"place,omitempty"` // 0 to 1: the least and the greatest it can be
}

// inForce is the set of baselines that samples are compared with as they arrive.
type inForce struct {
	Hash string    // "" before the first
	Set  *FleetSet // nil where its text is gone
}

// Baselines is the set in force, made from the fleet, and its hash; "" before the
// first. The set is nil where the hash alone is known.
func (p *Partition) Baselines() (hash string, set *FleetSet) { return p.fleet.Hash, p.fleet.Set }

// RestoreBaselines sets the baselines in force as a checkpoint has them. set is nil
// where its text is gone.
func (p *Partition) RestoreBaselines(hash string, set *FleetSet) { p.fleet = inForce{hash, set} }

// compareWithFleet notes what the baselines in force say of a sample that arrives.
func (f *fold) compareWithFleet(s *Sample) {
	if f.p.fleet.Hash == "" || f.Book == nil {
		return
	}
	if f.rec.registered() == nil {
		s.Fleet = f.p.fleet.waiting()
		return
	}
	a := f.applied()
	i := slices.IndexFunc(a.comps, func(c rules.Component) bool { return c.Name == s.Component })
	if i >= 0 {
		s.Fleet = f.p.fleet.figures(a.rules.Baselines[i], &a.vehicle, &a.comps[i], s.sheet().results)
	} else if f.p.fleet.Set == nil {
		s.Fleet = f.p.fleet.gone()
	}
}

// gone is what is noted where the set's text is gone.
func (i *inForce) gone() *FleetFigures { return &FleetFigures{Set: i.Hash} }

// waiting is what is noted of a sample of a vehicle that nobody registered.
func (i *inForce) waiting() *FleetFigures {
	if i.Set == nil {
		return i.gone()
	}
	f := i.blank()
	f.Waits = true
	return f
}

func (i *inForce) blank() *FleetFigures {
	return &FleetFigures{Set: i.Hash, Number: i.Set.Number, Of: i.Set.Now.UTC().Format(time.DateOnly)}
}

// figures are what the set says of a sample's results, for a component with that
// baseline of the book; nil where the set has nothing for it.
func (i *inForce) figures(b *rules.Baseline, v *rules.Vehicle, c *rules.Component, results []lab.Result) *FleetFigures {
	if i.Set == nil {
		return i.gone()
	}
	if b == nil || b.Fleet == nil {
		return nil
	}
	at := slices.IndexFunc(i.Set.Baselines, func(o FleetBaseline) bool { return o.Name == b.Name && o.Definition == b.Definition() })
	if at < 0 {
		return nil // the book has changed since; a survey by this one follows
	}
	f := i.blank()
	f.Baseline, f.Group, f.Need = b.Name, b.Fleet.Group(v, c), [2]int{b.Fleet.Samples, b.Fleet.Vehicles}
	for k := range i.Set.Baselines[at].Groups {
		if g := &i.Set.Baselines[at].Groups[k]; slices.Equal(g.Of, f.Group) {
			f.compare(g, results)
		}
	}
	return f
}

// compare takes over what the group says of the results.
func (f *FleetFigures) compare(g *FleetGroup, results []lab.Result) {
	f.Samples, f.Vehicles, f.Age, f.Hours = g.Samples, g.Vehicles, g.Age, g.Hours
	f.Analytes = map[string]FleetFigure{}
	for _, r := range results {
		i, ok := slices.BinarySearchFunc(g.Analytes, r.Analyte, func(a FleetAnalyte, name string) int { return strings.Compare(a.Analyte, name) })
		if !ok {
			continue
		}
		a := &g.Analytes[i]
		fig := FleetFigure{N: a.N, Vehicles: a.Vehicles}
		if a.Usable {
			span := r.Span()
			fig.Mean, fig.SD = a.Mean, a.SD
			fig.Place = &lab.Span{Low: a.place(span.Low).Low, High: a.place(span.High).High}
			if 2*a.Aged >= a.N {
				fig.Age = a.Age
			}
		}
		f.Analytes[r.Analyte] = fig
	}
}

// compareWaiting compares the samples of a vehicle that was not registered when
// they arrived, as long as the set that was in force then still is.
func (f *fold) compareWaiting() {
	waits := func(s Sample) bool { return s.Fleet != nil && s.Fleet.Waits }
	if f.rec.registered() == nil || !slices.ContainsFunc(f.rec.Samples, waits) {
		return
	}
	f.rec.Samples = slices.Clone(f.rec.Samples)
	for i := range f.rec.Samples {
		s := &f.rec.Samples[i]
		if !waits(*s) {
			continue
		}
		arrived := s.Fleet.Set
		if s.Fleet = nil; arrived == f.p.fleet.Hash {
			f.compareWithFleet(s)
		}
	}
}

// of is what the figures say of an analyte for a baseline; nil, and what is
// missing, where they say nothing that can be used.
func (f *FleetFigures) of(b *rules.Baseline, analyte string) (fig *FleetFigure, missing string) {
	what := fmt.Sprintf("the fleet's baseline %q", b.Name)
	if f != nil && f.Baseline == "" && !f.Waits {
		return nil, fmt.Sprintf("%s: the text of %s, in force when the sample arrived, is gone", what, shortHash(f.Set))
	}
	if f == nil || f.Baseline != b.Name {
		return nil, what + ", which was not made yet when the sample arrived"
	}
	got := f.Analytes[analyte]
	switch {
	case got.N < f.Need[0] || got.Vehicles < f.Need[1]:
		return nil, fmt.Sprintf("enough samples of %s for %s in %s (there were %d of %s, it needs %d of %d)",
			f.group(), analyte, what, got.N, english.Plural(got.Vehicles, "vehicle"), f.Need[0], f.Need[1])
	case got.Mean == nil:
		return nil, fmt.Sprintf("a sample of %s in which %s was found, for %s", f.group(), analyte, what)
	}
	return &got, ""
}

func (f *FleetFigures) group() string {
	if s := strings.Join(f.Group, ", "); s != "" {
		return s
	}
	return "all together"
}

// source is where the figures come from, for people.
func (f *FleetFigures) source() string {
	return fmt.Sprintf("%s of %s of the fleet (%s), number %d of %s", english.Plural(f.Samples, "sample"), english.Plural(f.Vehicles, "vehicle"), f.group(), f.Number, f.Of)
}

// ofTheFleet has the facts answer from what the fleet's baselines say of the sample
// that they end with. In place of the book's baseline stands one with these figures,
// as far as they are plain numbers, for what shows them.
func (x *facts) ofTheFleet(instead *rules.Baseline) {
	b := *x.baseline
	x.fleetOf, x.instead = x.baseline, instead
	if n := len(x.steps.steps); n > 0 {
		x.fleet = x.steps.steps[n-1].sample.Fleet
	}
	switch {
	case x.fleet != nil && x.fleet.Baseline == b.Name && x.fleet.Samples > 0:
		x.fleet.show(&b)
	case instead != nil:
		b.Name, b.Source, b.Mean, b.Spread, b.FluidAge = instead.Name, instead.Source, instead.Mean, instead.Spread, instead.FluidAge
	}
	if b.Fresh == nil && instead != nil {
		b.Fresh = instead.Fresh
	}
	x.baseline = &b
}

// show puts the figures into a baseline.
func (f *FleetFigures) show(b *rules.Baseline) {
	b.Source, b.Mean, b.Spread = f.source(), map[string]float64{}, map[string]float64{}
	for a, fig := range f.Analytes {
		if fig.SD != nil {
			b.Spread[a] = *fig.SD
		}
		if fig.Mean != nil && fig.Mean.Low == fig.Mean.High && fig.Mean.High > 0 {
			b.Mean[a] = fig.Mean.High
		}
	}
	switch {
	case f.Age == nil:
	case f.Hours:
		b.FluidAge.Hours = *f.Age
	default:
		b.FluidAge.Distance = *f.Age
	}
}

// A mean, or a place, that results below their limits leave open is chosen like
// such a result: it has no step of its own.
const (
	meanStep  = -1
	placeStep = -2
)

// againstFleet answers times and timesForAge from the fleet's figures.
func (x *facts) againstFleet(analyte string, fig *FleetFigure, forAge bool) (float64, string, bool) {
	mean := x.choose(endKey{meanStep, analyte}, *fig.Mean, fig.Mean.High)
	if !forAge {
		return x.sheet.Times(analyte, mean)
	}
	if fig.Age == nil {
		return 0, fmt.Sprintf("the age of the fluid in half of the samples of %s", x.fleet.group()), false
	}
	kind := unit.Distance
	if x.fleet.Hours {
		kind = unit.Time
	}
	return x.sheet.TimesForAge(analyte, mean, *fig.Age, kind)
}

// percentile is the place of the result among those of its group, 0 to 100.
func (x *facts) percentile(analyte string) (float64, string, bool) {
	if _, why, ok := x.sheet.Value(analyte); !ok {
		return 0, why, false
	}
	if x.fleetOf == nil {
		return 0, "a baseline made from the fleet for the " + x.comp.Kind, false
	}
	fig, why := x.fleet.of(x.fleetOf, analyte)
	if fig == nil {
		return 0, why, false
	}
	return 100 * x.choose(endKey{placeStep, analyte}, *fig.Place, fig.Place.High), "", true
}

// freshFrom is the baseline that says what fresh fluid contains.
func (x *facts) freshFrom() *rules.Baseline {
	switch {
	case x.fleetOf == nil:
		return x.baseline
	case x.fleetOf.Fresh == nil && x.instead != nil:
		return x.instead
	}
	return x.fleetOf
}

// baselineNote names the baseline that an answer rests on.
func (x *facts) baselineNote(w rules.Word, analyte string) string {
	b := x.baseline
	if b == nil {
		return ""
	}
	if of := x.freshFrom(); w == rules.WordFresh || w == rules.WordKept {
		if x.fleetOf != nil && of.Source == "" {
			return "" // it says nothing of fresh fluid
		}
		return "baseline " + of.Name + ", " + of.Source
	}
	if x.fleetOf == nil {
		return "baseline " + b.Name + ", " + b.Source
	}
	fig, _ := x.fleet.of(x.fleetOf, analyte)
	if fig == nil {
		if x.instead == nil {
			return ""
		}
		return "baseline " + x.instead.Name + ", " + x.instead.Source
	}
	note := fmt.Sprintf("baseline %s, number %d of %s: %s of %s (%s)", x.fleetOf.Name, x.fleet.Number, x.fleet.Of,
		english.Plural(fig.N, "result"), english.Plural(fig.Vehicles, "vehicle"), x.fleet.group())
	open, by, what := *fig.Mean, 1.0, "mean"
	if w == rules.WordPercentile {
		open, by, what = *fig.Place, 100, "place"
	}
	if open.Low != open.High {
		round := func(v float64) string { return english.Number(math.Round(v*by*100) / 100) }
		note += fmt.Sprintf("; results below their limits leave the %s open, from %s to %s", what, round(open.Low), round(open.High))
	}
	return note
}
