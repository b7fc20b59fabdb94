package rules

import (
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/analytes"
	"telltale/rules/figure"
	"telltale/rules/source"
	"telltale/rules/unit"
)

// Measure is something that a workshop measures on the vehicle by hand: a lining, a tread,
// a voltage.
type Measure struct {
	Name string
	Unit string // in which it is reckoned and shown; "" for a bare number
	Kind unit.Kind
	// RenewedBy are the tasks that renew the part: those that it names, and those that are
	// done when it is worn, by name. What was measured before says nothing of the new part.
	RenewedBy []string
	Rises     bool // it wears upwards, as play does
	ByTime    bool // it wears by the calendar, whatever the vehicle runs
	At        source.Place

	read *entry // while loading
}

// Measure is the measure of that name; nil where the book has none.
func (b *Book) Measure(name string) *Measure {
	i, ok := slices.BinarySearchFunc(b.Measures, name, func(m *Measure, n string) int { return strings.Compare(m.Name, n) })
	if !ok {
		return nil
	}
	return b.Measures[i]
}

// Worn is the value of a measure at which a task is due.
type Worn struct {
	Measure string
	At      float64 // in the measure's unit
	Stated  unit.Quantity
}

// measurable are the kinds of quantity that are measured by hand.
var measurable = []unit.Kind{unit.Length, unit.Voltage, unit.Charge, unit.Pressure, unit.Force, unit.Torque, unit.Temperature, unit.Percent,
	unit.Density, unit.Volume, unit.Index}

// MeasureUnits are the units in which something may be measured by hand.
func MeasureUnits() []string { return unit.Names(measurable...) }

// measure reads what is measured by hand: its unit, or a mapping with more to say.
func (e *entry) measure() {
	m := &Measure{Name: e.key.Value, At: e.Place(e.key), read: e}
	if a, known := analytes.Find(m.Name); known {
		e.Fault(e.key, "name what is measured, as `front lining`", "%q is what laboratories report (%s)", m.Name, analytes.Named(a.Name))
	}
	if strings.ContainsAny(m.Name, `=,"`) {
		e.Fault(e.key, "use letters, digits and blanks: people type the name as front lining=6.5mm", "the name of %s has one of = , \"", e.what)
	}
	u := e.n
	if e.n.Kind == yaml.MappingNode {
		e.f = e.Mapping(e.n, e.what, "unit", "renewed by", "wears")
		m.RenewedBy = e.Texts(e.f["renewed by"], "renewed by of "+e.what)
		m.wears(e.Choice(e.f["wears"], "wears of "+e.what, "down", "up", "down by time", "up by time"))
		if u = e.f["unit"]; u == nil {
			e.Fault(e.key, "write {unit: mm}", "%s has no unit", e.what)
			return
		}
	}
	m.Unit, m.Kind = e.measuredIn(u)
	e.l.lang.Measures[m.Name] = m.Unit
	e.l.book.Measures = append(e.l.book.Measures, m)
}

func (m *Measure) wears(how int) { m.Rises, m.ByTime = how&1 != 0, how&2 != 0 }

// measuredIn reads the unit of a measure.
func (e *entry) measuredIn(n *yaml.Node) (string, unit.Kind) {
	name := e.Text(n, "the unit of "+e.what)
	kind, known := unit.Of(name)
	fits := unit.Names(measurable...)
	switch {
	case name == "":
	case !known:
		e.Fault(n, e.DidYouMean(name, fits, "units that fit: "+strings.Join(fits, ", ")), "the unit of %s: unknown unit %q", e.what, name)
	case !slices.Contains(measurable, kind):
		e.Fault(n, "units that fit: "+strings.Join(fits, ", "), "the unit of %s: %s measures %s, which nobody measures by hand", e.what, name, kind)
	}
	if kind == unit.Index {
		name = ""
	}
	return name, kind
}

// until reads {front lining: 3 mm}: the values at which the work is due.
func (e *entry) until(n *yaml.Node) (out []Worn) {
	if n == nil {
		return nil
	}
	for _, p := range e.Entries(n, "until of "+e.what) {
		m := e.l.book.measureRead(p.Key.Value)
		if m == nil {
			e.Fault(p.Key, e.DidYouMean(p.Key.Value, e.l.lang.MeasureNames(), "name it at the top of a file: `measures: {"+p.Key.Value+": mm}`"), "unknown measure %q", p.Key.Value)
			continue
		}
		if figure.IsBlank(p.Value) {
			continue
		}
		if q, ok := e.inUnitOf(p.Value, m, "until "+m.Name); ok {
			out = append(out, Worn{m.Name, valueIn(q, m.Unit), q})
		}
	}
	if len(n.Content) == 0 {
		e.Fault(n, "write {front lining: 3 mm}", "until of %s is empty", e.what)
	}
	return out
}

// inUnitOf reads a quantity that the measure can be compared with.
func (e *entry) inUnitOf(n *yaml.Node, m *Measure, what string) (unit.Quantity, bool) {
	if m.Unit != "" || n.Tag == "!!str" {
		return e.Quantity(n, what, m.Kind)
	}
	v, ok := e.Number(n, what)
	return unit.Quantity{Value: v}, ok
}

// valueIn is a quantity's number in a unit of its kind; kept as written where it is in it.
func valueIn(q unit.Quantity, u string) float64 {
	if q.Unit == u || u == "" {
		return q.Value
	}
	base, _, _ := q.Base()
	return unit.From(base, u)
}

// measureRead is the measure of that name while they are in the order of the files.
func (b *Book) measureRead(name string) *Measure {
	i := slices.IndexFunc(b.Measures, func(m *Measure) bool { return m.Name == name })
	if i < 0 {
		return nil
	}
	return b.Measures[i]
}

// renewals checks what renews each measure, and adds the tasks that are done when it is
// worn.
func (l *loader) renewals() {
	for _, m := range l.book.Measures {
		for i, name := range m.RenewedBy {
			if l.tasks[name] == nil {
				n := source.Items(m.read.f["renewed by"])[i]
				m.read.misnamed(n, l.DidYouMean(name, l.lang.Tasks, "name a task of this book"), "measure %q is renewed by %q, which is not a task", m.Name, name)
			}
		}
		for _, t := range l.book.Tasks {
			if slices.ContainsFunc(t.Until, func(w Worn) bool { return w.Measure == m.Name }) && !slices.Contains(m.RenewedBy, t.Name) {
				m.RenewedBy = append(m.RenewedBy, t.Name)
			}
		}
		slices.Sort(m.RenewedBy)
	}
}
