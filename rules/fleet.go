package rules

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"telltale/rules/unit"

	"gopkg.in/yaml.v3"
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
func (f *Fleet) Group(v *Vehicle, c *Component) []string {
	out := make([]string, len(f.GroupBy))
	for i, field := range f.GroupBy {
		of, name, _ := strings.Cut(field, ".")
		switch tag := tagField.FindStringSubmatch(field); {
		case tag != nil:
			out[i] = v.Tags[tag[1]]
		case of == "vehicle":
			out[i] = vehicleFields[name](v)
		default:
			out[i] = componentFields[name](c)
		}
	}
	return out
}

// instead finds what counts where a baseline made from the fleet does not say.
func (b *Book) instead(j *Judge, v *Vehicle, comps []Component, to *Applied) {
	for i, first := range to.Baselines {
		if first == nil || first.Fleet == nil {
			continue
		}
		if to.Instead == nil {
			to.Instead = make([]*Baseline, len(comps))
		}
		for _, bl := range b.Baselines[slices.Index(b.Baselines, first)+1:] {
			if ok, _ := j.Matches(bl.Where, v, &comps[i]); ok && bl.Fleet == nil {
				to.Instead[i] = bl
				break
			}
		}
	}
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

// fleetKeys belong to baselines that are made from the fleet, bookKeys to the others.
var (
	fleetKeys = []string{"group by", "at least", "of the last"}
	bookKeys  = []string{"mean", "spread", "fluid age"}
)

// fromFleet reads a baseline that is made of the fleet's own samples; nil where the
// baseline does not say so.
func (d *document) fromFleet(f fields, what string) *Fleet {
	from := f.get("from")
	if from == nil {
		for _, key := range fleetKeys {
			if v, ok := f[key]; ok {
				d.fault(v.key, "add `from: fleet`, or take it out", "%s has %s, but is not made from the fleet", what, key)
			}
		}
		return nil
	}
	d.choice(from, "from of "+what, "fleet")
	for _, key := range bookKeys {
		if v, ok := f[key]; ok {
			d.fault(v.key, "take it out, or take out `from: fleet`", "%s is made from the fleet's samples, which give its %s", what, key)
		}
	}
	out := &Fleet{GroupBy: defaultGroups, Samples: fleetSamples, Vehicles: fleetVehicles}
	if v := f.get("group by"); v != nil {
		out.GroupBy = d.groupBy(v, what)
	}
	if v := f.get("at least"); v != nil {
		d.atLeast(v, what, out)
	}
	if v := f.get("of the last"); v != nil {
		out.Last = d.ofTheLast(v, what)
	}
	d.l.fleet = true
	return out
}

func (d *document) groupBy(n *yaml.Node, what string) []string {
	list := d.texts(n, "group by of "+what)
	for _, at := range items(n) {
		field := at.Value
		if at.Kind != yaml.ScalarNode || tagField.MatchString(field) || slices.Contains(groupFields, field) {
			continue
		}
		d.fault(at, d.l.didYouMean(field, groupFields, "known here: "+strings.Join(groupFields, ", ")+`, vehicle.tags["name"]`),
			"%s cannot be grouped by %q", what, field)
	}
	return list
}

// leastSamples is the smallest group that a book may ask for: of fewer values
// there is no spread to speak of.
const leastSamples = 5

// atLeast reads a number of samples, or {samples: 12, vehicles: 3}.
func (d *document) atLeast(n *yaml.Node, what string, f *Fleet) {
	const most = 10_000
	if n.Kind == yaml.ScalarNode {
		f.Samples = d.whole(n, "at least of "+what, leastSamples, most)
		return
	}
	m := d.mapping(n, "at least of "+what, "samples", "vehicles")
	if v := m.get("samples"); v != nil {
		f.Samples = d.whole(v, "samples of "+what, leastSamples, most)
	}
	if v := m.get("vehicles"); v != nil {
		f.Vehicles = d.whole(v, "vehicles of "+what, 1, most)
	}
}

func (d *document) ofTheLast(n *yaml.Node, what string) Limits {
	v, kind, ok := d.quantity(n, "of the last of "+what, unit.Months, unit.Days)
	switch {
	case !ok:
	case v <= 0 || v != math.Trunc(v) || v > 36500:
		d.fault(n, "", "of the last of %s must be whole days or months, from 1 to 36500", what)
	case kind == unit.Months:
		return Limits{Months: int(v)}
	default:
		return Limits{Days: int(v)}
	}
	return Limits{}
}
