package rules

import (
	"cmp"
	"maps"
	"math"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/analytes"
	"telltale/rules/expression"
	"telltale/rules/figure"
	"telltale/rules/source"
	"telltale/rules/unit"
)

var baselineKeys = []string{"where", "over", "from", "group by", "at least", "of the last", "fluid age", "source", "mean", "spread", "fresh", "starting"}

// baseline reads what is usual for a kind of component and fluid.
func (e *entry) baseline() {
	b := e.readBaseline()
	for _, said := range []struct {
		key     string
		figures map[string]float64
		of      map[string]bool
	}{{"mean", b.Mean, e.l.lang.Mean}, {"spread", b.Spread, e.l.lang.Spread}, {"fresh", b.Fresh, e.l.lang.Fresh}} {
		for a := range source.Pairs(e.f[said.key]) { // one with a faulty figure, too
			said.of[a.Value] = true
		}
		maps.DeleteFunc(said.figures, func(_ string, v float64) bool { return math.IsNaN(v) })
	}
	unknown := e.Hole(e.n) || e.f["mean"] != nil && e.Hole(e.f["mean"]) // what it would have said
	e.l.lang.Fleet = e.l.lang.Fleet || b.Fleet != nil || unknown
	e.l.book.Baselines = append(e.l.book.Baselines, b)
}

// readBaseline reads it; what is to be filled in is not a number.
func (e *entry) readBaseline() *Baseline {
	b := &Baseline{Part: e.part(baselineKeys...)}
	f, isMapping := e.f, e.n.Kind == yaml.MappingNode
	byHand := isMapping && f["mean"] != nil && e.onlyMeasures(f["mean"])
	b.PerComponent, b.Source, b.Fleet, b.FluidAge = !byHand, figure.SourceText(f["source"]), e.fromFleet(), e.fluidAge()
	b.Mean = e.analytes("mean", true)
	b.Spread = e.spread(b.Mean)
	b.Fresh = e.analytes("fresh", false)
	b.Starting = e.Yes(f["starting"], "starting of "+e.what, false)
	if b.Starting && f["from"] != nil {
		e.Fault(f["starting"], "a baseline is either made from the fleet or has starting figures", "%s is `from: fleet` and `starting`", e.what)
	}
	if byHand {
		e.ofMeasures(b)
	}
	if f["mean"] != nil && f["fluid age"] == nil && !byHand {
		e.Fault(e.key, "add the age of the fluid at which the means were taken: `fluid age: 60000 km`", "%s has means, but no `fluid age`", e.what)
	}
	if f["mean"] == nil && f["fresh"] == nil && f["from"] == nil && isMapping {
		e.Fault(e.key, "add `mean: {Fe: 90}`, `fresh: {P: 290}` or `from: fleet`", "%s has no figures", e.what)
	}
	if b.Source == "" && (b.Fleet == nil || b.Fresh != nil) && isMapping {
		e.question(e.key, "say where the figures come from: `source: …`", "%s has no source", e.what)
	}
	return b
}

// ofMeasures checks a baseline of what is measured by hand on the vehicle.
func (e *entry) ofMeasures(b *Baseline) {
	if b.Where != nil && b.Where.ReadsComponent {
		e.Fault(cmp.Or(e.f["where"], e.key), "let it, or `for` of the file, read vehicle alone", "where of %s reads component, and what is measured by hand belongs to the vehicle", e.what)
	}
	for _, key := range []string{"fluid age", "fresh", "from"} {
		if n := source.Key(e.n, key); n != nil {
			e.Fault(n, "make two baselines of it", "%s has means of what is measured by hand, and `%s`, which is of a fluid", e.what, key)
		}
	}
}

// onlyMeasures reports whether all that stands there is measured by hand, so that there is
// no fluid.
func (e *entry) onlyMeasures(n *yaml.Node) bool {
	some := false
	for k := range source.Pairs(n) {
		if e.l.book.measureRead(k.Value) == nil {
			return false
		}
		some = true
	}
	return some
}

func (e *entry) fluidAge() Limits {
	n := e.f["fluid age"]
	if n == nil {
		return Limits{}
	}
	v, kind, ok := e.Base(n, "fluid age of "+e.what, unit.Distance, unit.Time)
	switch {
	case ok && v <= 0:
		e.Fault(n, "", "fluid age of %s must be more than zero", e.what)
	case ok && kind == unit.Distance:
		return Limits{Distance: v}
	case ok:
		return Limits{Hours: v}
	}
	return Limits{}
}

// analytes reads {Fe: 90, Cu: 40 mg/kg}; nil where the key is not there. A mean must be
// more than zero, since values are divided by it.
func (e *entry) analytes(key string, mean bool) map[string]float64 {
	n, what := e.f[key], key+" of "+e.what
	if n == nil {
		return nil
	}
	out := map[string]float64{}
	for _, p := range e.Entries(n, what) {
		name := p.Key.Value
		m := e.l.book.measureRead(name)
		if m != nil && !e.onlyMeasures(n) {
			e.Fault(p.Key, "make a baseline of it that has no `fluid age`", "%q is measured by hand, beside analytes of a fluid", name)
			continue
		}
		if m == nil && !analytes.Known(name) || m != nil && key == "fresh" {
			e.Fault(p.Key, e.DidYouMean(name, e.l.lang.MeasureNames(), expression.AnalyteHint(e.Document, name)), "unknown analyte %q", name)
			continue
		}
		if !analytes.Reported(name) {
			text, hint := expression.Unreported(name)
			e.question(p.Key, hint, "%s", text)
		}
		if figure.IsBlank(p.Value) {
			out[name] = nan
			continue
		}
		v, ok := e.usualOf(p.Value, m, name, what)
		switch {
		case !ok:
		case mean && v <= 0:
			e.Fault(p.Value, "leave it out, or name what is usual", "%s of %s must be more than zero", name, what)
		case v < 0 && name != "flash":
			e.Fault(p.Value, "", "%s of %s must not be negative", name, what)
		default:
			out[name] = v
		}
	}
	return out
}

// spread reads the standard deviations, each of something that has a mean.
func (e *entry) spread(means map[string]float64) map[string]float64 {
	if e.f["spread"] == nil {
		return nil
	}
	for _, p := range e.Entries(e.f["spread"], "spread of "+e.what) {
		a := p.Key.Value
		if _, ok := means[a]; !ok && analytes.Known(a) {
			e.Fault(p.Key, "add it to `mean`, or take it out", "%s has a spread of %s, but no mean", e.what, a)
		}
	}
	return e.analytes("spread", true)
}

// usualOf reads a figure of a measure, or of an analyte where that is nil.
func (e *entry) usualOf(n *yaml.Node, m *Measure, name, what string) (float64, bool) {
	if m == nil {
		return e.concentration(n, name, what)
	}
	if n.Tag != "!!str" {
		v, ok := e.Number(n, name+" of "+what)
		if in := e.units.Of(m.Kind); in != "" {
			v = valueIn(unit.Quantity{Value: v, Unit: in}, m.Unit)
		}
		return v, ok
	}
	q, ok := e.inUnitOf(n, m, name+" of "+what)
	return valueIn(q, m.Unit), ok
}

// concentration reads a number in the analyte's own unit, or in the file's unit of that
// kind; the unit may be written.
func (e *entry) concentration(n *yaml.Node, name, what string) (float64, bool) {
	own := analytes.UnitOf(name)
	if n.Kind == yaml.ScalarNode && n.Tag == "!!str" && n.Style == 0 && own != "" && strings.ContainsAny(n.Value, "/%CFtmp") {
		kind, _ := unit.Of(own)
		v, _, ok := e.Base(n, name+" of "+what, kind)
		return v, ok
	}
	v, ok := e.Number(n, name+" of "+what)
	kind, _ := unit.Of(own)
	if in := e.units.Of(kind); in != "" {
		v, _, _ = unit.Base(v, in)
	}
	return v, ok
}
