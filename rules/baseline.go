package rules

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// baseline reads what is usual for a kind of component and fluid.
func (d *document) baseline(key, n *yaml.Node) {
	b := d.readBaseline(key, n)
	for a := range b.Mean {
		d.l.means[a] = true
	}
	for a := range b.Spread {
		d.l.spreads[a] = true
	}
	for a := range b.Fresh {
		d.l.freshOf[a] = true
	}
	b.Mean, b.Spread, b.Fresh = filledIn(b.Mean), filledIn(b.Spread), filledIn(b.Fresh)
	d.l.book.Baselines = append(d.l.book.Baselines, b)
}

// filledIn leaves out what is to be filled in.
func filledIn(figures map[string]float64) map[string]float64 {
	maps.DeleteFunc(figures, func(_ string, v float64) bool { return math.IsNaN(v) })
	return figures
}

// readBaseline reads it; what is to be filled in is not a number.
func (d *document) readBaseline(key, n *yaml.Node) *Baseline {
	what := fmt.Sprintf("baseline %q", key.Value)
	f := d.mapping(n, what, "where", "over", "from", "group by", "at least", "of the last", "fluid age", "source", "mean", "spread", "fresh")
	b := &Baseline{Name: key.Value, At: d.place(key), Sources: d.figures(n, what)}
	if slices.ContainsFunc(d.blanks(n, what), func(s string) bool { return strings.HasPrefix(s, "fluid age") }) {
		d.l.left = append(d.l.left, b)
	}
	if v := f.get("where"); v != nil {
		b.Where = d.where(v, what)
	}
	b.Over, b.over = d.texts(f.get("over"), "over of "+what), overAt{key, items(f.get("over")), d}
	d.source(f.get("source"), n, what)
	b.Source = sourceText(f.get("source"))
	b.Fleet = d.fromFleet(f, what)
	if v := f.get("fluid age"); v != nil {
		b.FluidAge = d.fluidAge(v, what)
	} else if f.get("mean") != nil {
		d.fault(key, "say at which age of the fluid the means were taken: `fluid age: 60000 km`", "%s has means, but no `fluid age`", what)
	}
	if v := f.get("mean"); v != nil {
		b.Mean = d.analytes(v, "mean of "+what, true)
	}
	if v := f.get("spread"); v != nil {
		b.Spread = d.spread(v, what, b.Mean)
	}
	if v := f.get("fresh"); v != nil {
		b.Fresh = d.analytes(v, "fresh of "+what, false)
	}
	if f.get("mean") == nil && f.get("fresh") == nil && f.get("from") == nil && n.Kind == yaml.MappingNode {
		d.fault(key, "add `mean: {Fe: 90}`, `fresh: {P: 290}` or `from: fleet`", "%s says nothing", what)
	}
	if b.Source == "" && (b.Fleet == nil || b.Fresh != nil) && n.Kind == yaml.MappingNode {
		d.question(key, "say where the figures come from: `source: …`", "%s has no source", what)
	}
	return b
}

// overAt is where a baseline and its `over` stand, while loading.
type overAt struct {
	key   *yaml.Node
	items []*yaml.Node // as in Over
	d     *document
}

// items are the entries of a list, or the one value; n may be nil.
func items(n *yaml.Node) []*yaml.Node {
	switch {
	case n == nil:
		return nil
	case n.Kind == yaml.SequenceNode:
		return n.Content
	}
	return []*yaml.Node{n}
}

func (d *document) fluidAge(n *yaml.Node, what string) Limits {
	v, kind, ok := d.quantity(n, "fluid age of "+what, unit.Distance, unit.Time)
	switch {
	case ok && v <= 0:
		d.fault(n, "", "fluid age of %s must be more than zero", what)
	case ok && kind == unit.Distance:
		return Limits{Distance: v}
	case ok:
		return Limits{Hours: v}
	}
	return Limits{}
}

// analytes reads {Fe: 90, Cu: 40 mg/kg}. A mean must be more than zero, since
// values are divided by it.
func (d *document) analytes(n *yaml.Node, what string, mean bool) map[string]float64 {
	out := map[string]float64{}
	for _, f := range d.entries(n, what) {
		name := f.key.Value
		if !analytes.Known(name) {
			d.fault(f.key, analyteHint(d.l, name), "unknown analyte %q", name)
			continue
		}
		if f.value.Kind == yaml.ScalarNode && f.value.Value == toFill && f.value.Style == 0 {
			out[name] = nan
			continue
		}
		v, ok := d.concentration(f.value, name, what)
		switch {
		case !ok:
		case mean && v <= 0:
			d.fault(f.value, "leave it out, or name what is usual", "%s of %s must be more than zero", name, what)
		case v < 0 && name != "flash":
			d.fault(f.value, "", "%s of %s is less than nothing", name, what)
		default:
			out[name] = v
		}
	}
	return out
}

// spread reads the standard deviations, each of something that has a mean.
func (d *document) spread(n *yaml.Node, what string, means map[string]float64) map[string]float64 {
	out := d.analytes(n, "spread of "+what, true)
	for _, f := range d.entries(n, "spread of "+what) {
		if _, ok := means[f.key.Value]; !ok && analytes.Known(f.key.Value) {
			d.fault(f.key, "add it to `mean`, or take it out", "%s has a spread of %s, but no mean", what, f.key.Value)
		}
	}
	return out
}

// concentration reads a number in the analyte's own unit, which may be written.
func (d *document) concentration(n *yaml.Node, name, what string) (float64, bool) {
	own := analytes.UnitOf(name)
	if n.Kind == yaml.ScalarNode && n.Tag == "!!str" && n.Style == 0 && own != "" && strings.ContainsAny(n.Value, "/%CFtmp") {
		kind, _ := unit.Of(own)
		v, _, ok := d.quantity(n, name+" of "+what, kind)
		return v, ok
	}
	return d.number(n, name+" of "+what)
}

// where reads a condition that says what applies to whom.
func (d *document) where(n *yaml.Node, what string) *Condition {
	return d.condition(n, scope{what: "where of " + what, want: truth}, newAsks())
}

// question reports what is not wrong but deserves a second look.
func (d *document) question(n *yaml.Node, hint, format string, args ...any) {
	d.l.book.Questions = append(d.l.book.Questions, d.makeFault(n.Line, n.Column, d.width(n), hint, fmt.Sprintf(format, args...)))
}
