package rules

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/source"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// Fleet says how a baseline is made of the fleet's own samples: those of the
// components that its `where` lets in, in groups, each judged by its own group.
type Fleet struct {
	// GroupBy are the fields of which a group shares the values, as written:
	// component.fluid, vehicle.tags["road"].
	GroupBy []string
	// A group is used for an analyte from so many results, of so many vehicles.
	Samples, Vehicles int
	// Last is how far back samples count, Months or Days; zero: all that are kept.
	Last Limits
}

// The least samples and vehicles of a group where the book does not say. From 15
// values on outliers are tested for (see the laboratory's groups); that one
// vehicle or two are not a fleet is common practice, no source.
const (
	fleetSamples  = 15
	fleetVehicles = 3
)

// groupFields are what samples may be grouped by, beside tags.
var groupFields = []string{"component.kind", "component.fluid", "component.name", "vehicle.kind", "vehicle.name"}

// defaultGroups: what is usual differs by these before it differs by anything else.
var defaultGroups = []string{"component.kind", "component.fluid", "vehicle.kind"}

var tagField = regexp.MustCompile(`^vehicle\.tags\["([^"]+)"\]$`)

// Group is the values of the group that a component belongs to, in order of GroupBy.
func (f *Fleet) Group(v *word.Vehicle, c *word.Component) []string {
	out := make([]string, len(f.GroupBy))
	for i, field := range f.GroupBy {
		field = tagField.ReplaceAllString(field, "vehicle.tags.$1")
		if out[i] = word.Field(field)(v, c); word.HasNames(field) {
			out[i] = word.Names(out[i])[0] // one group, by whichever name
		}
	}
	return out
}

// Definition is what decides which samples make the baseline, as text: figures
// made by another definition are not this baseline's.
func (b *Baseline) Definition() string {
	if b.Fleet == nil {
		return ""
	}
	where := ""
	if b.Where != nil {
		where = strings.TrimSpace(b.Where.Text)
	}
	f := b.Fleet
	return fmt.Sprintf("%s | %s | %d %d | %d months %d days", where, strings.Join(f.GroupBy, ", "), f.Samples, f.Vehicles, f.Last.Months, f.Last.Days)
}

// FleetDefinitions tells the books apart by what they ask of the fleet's samples:
// the definitions of all baselines made from them. "" where there are none.
func (b *Book) FleetDefinitions() string {
	var out []string
	for _, bl := range b.Baselines { // those that go before others first
		if bl.Fleet != nil {
			out = append(out, bl.Name+": "+bl.Definition())
		}
	}
	return strings.Join(out, "\n")
}

// ByMeter reports whether any work of the book is asked for by a meter, so that people are
// told when it is likely to come due.
func (b *Book) ByMeter() bool {
	byMeter := func(l Limits) bool { return l.Distance > 0 || l.Hours > 0 }
	opens := func(list []FollowUp) bool {
		return slices.ContainsFunc(list, func(fu FollowUp) bool { return byMeter(fu.At) })
	}
	return slices.ContainsFunc(b.Tasks, func(t *Task) bool { return byMeter(t.Every) || opens(t.FollowUps) }) ||
		slices.ContainsFunc(b.Rules, func(r *Rule) bool { return opens(r.FollowUps) })
}

// AsksFleet tells the books apart by all that they ask of the fleet: FleetDefinitions,
// and how well forecasts keep their word. "" where they ask nothing.
func (b *Book) AsksFleet() string {
	all := b.FleetDefinitions()
	if b.ByMeter() {
		all += "\ndates"
	}
	return all
}

// fleetKeys belong to baselines that are made from the fleet, bookKeys to the others.
var (
	fleetKeys = []string{"group by", "at least", "of the last"}
	bookKeys  = []string{"mean", "spread", "fluid age"}
)

// fromFleet reads a baseline that is made of the fleet's own samples; nil where the
// baseline does not say so.
func (e *entry) fromFleet() *Fleet {
	refuse := func(keys []string, hint, format string) {
		for _, key := range keys {
			if e.f[key] != nil {
				e.Fault(source.Key(e.n, key), hint, format, e.what, key)
			}
		}
	}
	from := e.f["from"]
	if from == nil {
		refuse(fleetKeys, "add `from: fleet`, or take it out", "%s has %s, but is not made from the fleet")
		return nil
	}
	e.Choice(from, "from of "+e.what, "fleet")
	refuse(bookKeys, "take it out, or take out `from: fleet`", "%s is made from the fleet's samples, which give its %s")
	out := &Fleet{GroupBy: defaultGroups, Samples: fleetSamples, Vehicles: fleetVehicles, Last: e.ofTheLast()}
	if v := e.f["group by"]; v != nil {
		out.GroupBy = e.groupBy(v)
	}
	if v := e.f["at least"]; v != nil {
		e.atLeast(v, out)
	}
	return out
}

func (e *entry) groupBy(n *yaml.Node) []string {
	for _, at := range source.Items(n) {
		field := at.Value
		if at.Kind == yaml.ScalarNode && !tagField.MatchString(field) && !slices.Contains(groupFields, field) {
			e.Fault(at, e.DidYouMean(field, groupFields, "known here: "+strings.Join(groupFields, ", ")+`, vehicle.tags["name"]`),
				"%s cannot be grouped by %q", e.what, field)
		}
	}
	return e.Texts(n, "group by of "+e.what)
}

// leastSamples is the smallest group that a book may ask for: of fewer values
// there is no spread to speak of.
const leastSamples = 5

// atLeast reads a number of samples, or {samples: 12, vehicles: 3}.
func (e *entry) atLeast(n *yaml.Node, f *Fleet) {
	const most = 10_000
	if n.Kind == yaml.ScalarNode {
		f.Samples = e.Whole(n, "at least of "+e.what, leastSamples, most)
		return
	}
	m := e.Mapping(n, "at least of "+e.what, "samples", "vehicles")
	if v := m["samples"]; v != nil {
		f.Samples = e.Whole(v, "samples of "+e.what, leastSamples, most)
	}
	if v := m["vehicles"]; v != nil {
		f.Vehicles = e.Whole(v, "vehicles of "+e.what, 1, most)
	}
}

func (e *entry) ofTheLast() Limits {
	n := e.f["of the last"]
	if n == nil {
		return Limits{}
	}
	v, kind, ok := e.Base(n, "of the last of "+e.what, unit.Months, unit.Days)
	switch {
	case !ok:
	case v <= 0 || v != math.Trunc(v) || v > 36500:
		e.Fault(n, "", "of the last of %s must be whole days or months, from 1 to 36500", e.what)
	case kind == unit.Months:
		return Limits{Months: int(v)}
	default:
		return Limits{Days: int(v)}
	}
	return Limits{}
}
