// Package gauge tells what was measured by hand of a vehicle: the values of each measure,
// how fast it wears, and which limits it reaches where. It asks a [judge.View] and changes
// nothing.
package gauge

import (
	"math"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/dueword"
	"telltale/engine/judge"
	"telltale/engine/record"
	"telltale/engine/trend"
	"telltale/engine/wear"
	"telltale/rules"
	"telltale/rules/unit"
)

// Measured is all that is known of one measure of a vehicle, of the part that is in now.
type Measured struct {
	Vehicle string `json:"vehicle"`
	Name    string `json:"name"` // the vehicle's, for people
	Measure string `json:"measure"`
	Unit    string `json:"unit,omitempty"` // of its values; absent for a bare number
	Meter   string `json:"meter"`          // the unit of Run: the reader's distance, or h; days since the first where no meter tells
	Renewed string `json:"renewed,omitempty"`
	// Points are the values in order. Rate is by how much they change in Per, by the line
	// through them; absent under three.
	Points []Point  `json:"points"`
	Rate   *float64 `json:"rate,omitempty"`
	Per    string   `json:"per,omitempty"`
	Limits []Limit  `json:"limits,omitempty"` // the next to be reached first
}

// Point is one value. Below and Above mark one that is open on that side.
type Point struct {
	On    string   `json:"on"`
	Run   *float64 `json:"run,omitempty"` // what the instrument in use showed, or would have
	Value float64  `json:"value"`
	Below bool     `json:"below,omitempty"`
	Above bool     `json:"above,omitempty"`
}

// Limit is where a rule's stage or a task stands on the measure. Likely, Least and Most
// are where it is reached, as Run; absent where nobody knows.
type Limit struct {
	Of      string      `json:"of"` // the rule or task
	Task    bool        `json:"task,omitempty"`
	Stage   alarm.Stage `json:"stage"`
	At      float64     `json:"at"`
	Reached bool        `json:"reached,omitempty"`
	Likely  *float64    `json:"likely,omitempty"`
	Least   *float64    `json:"least,omitempty"`
	Most    *float64    `json:"most,omitempty"`
	Says    string      `json:"says"`
}

// List is every measure of the book of which the vehicle has a value or a limit; all of
// them where everything is asked for.
func List(v *judge.View, everything bool) (out []Measured) {
	for _, m := range v.Book.Measures {
		t := v.Track(m).At(record.LastPlace)
		g := of(v, m, t)
		if everything || len(g.Points) > 0 || len(g.Limits) > 0 {
			out = append(out, g)
		}
	}
	return out
}

func of(v *judge.View, m *rules.Measure, t wear.Track) Measured {
	g := Measured{Vehicle: v.Rec.Shown(), Name: v.Applied().Reg.Name, Measure: m.Name, Unit: m.Unit, Points: []Point{}}
	if at, ok := t.Renewed(); ok {
		g.Renewed = v.DayOf(at)
	}
	a := axisOf(v, t)
	g.Meter = a.unit
	var x, y []float64
	for i, p := range t.Points {
		r := t.Lab[i].Results[0]
		run := a.at(t.Place(i, a.by))
		g.Points = append(g.Points, Point{p.Sample.DrawnOn(v.Applied().Zone), run, r.Value, r.Censored, r.Above})
		if run != nil && !r.Censored && !r.Above {
			x, y = append(x, *run), append(y, r.Value)
		}
	}
	if line, ok := trend.Of(x, y); ok {
		rate := math.Round(line.Slope*a.per*1e6) / 1e6
		g.Rate, g.Per = &rate, a.perWords
	}
	g.limits(v, t, a)
	return g
}

// limits are those of the rules that compare the measure alone with a number, and of the
// tasks that are due by it.
func (g *Measured) limits(v *judge.View, t wear.Track, a axis) {
	m := t.Measure
	for _, at := range v.Applied().Rules.Tasks {
		for _, u := range at.Task.Until {
			if u.Measure == m.Name {
				g.limit(v, t.WornAt(u, v.Applied().Zone), a, Limit{Of: at.Task.Name, Task: true, Stage: alarm.Due})
			}
		}
	}
	for _, ar := range v.Applied().Rules.Rules {
		name, ok := ar.Rule.OneMeasure()
		if !ok || name != m.Name || ar.Rule.Below == m.Rises {
			continue
		}
		for s := rules.Advisory; s <= rules.Warning; s++ {
			if limit, ok := ar.Rule.Limit(s); ok {
				u := rules.Worn{Measure: m.Name, At: limit, Stated: unit.Quantity{Value: limit, Unit: m.Unit}}
				g.limit(v, t.WornAt(u, v.Applied().Zone), a, Limit{Of: ar.Rule.Name, Stage: alarm.RuleStages[s]})
			}
		}
	}
}

func (g *Measured) limit(v *judge.View, w *wear.Worn, a axis, l Limit) {
	l.At, l.Reached, l.Says = w.Limit.At, w.Reached, dueword.Wear(v, w)
	if w.Missing == "" && !w.Reached && w.By == a.by {
		l.Likely, l.Least, l.Most = a.at(w.At), a.at(w.Low), a.at(w.High)
	}
	g.Limits = append(g.Limits, l)
}

// axis is what values are shown over: the face of a meter in the reader's unit, or days.
type axis struct {
	by       wear.Axis
	unit     string
	shift    float64 // what the life value is over the face
	per      float64 // of the unit, that a rate is told in
	perWords string
}

func axisOf(v *judge.View, t wear.Track) axis {
	switch by := t.Axis(); {
	case by == wear.ByTime:
		first := 0.0
		if len(t.Points) > 0 {
			first = t.Place(0, wear.ByTime)
		}
		return axis{by, "days", first, 30, "30 days"}
	case by == wear.ByHours:
		return axis{by, "h", shift(v, true), 100, "100 h"}
	default:
		u := v.Units().Distance
		return axis{by, u, shift(v, false), 1000, "1,000 " + u}
	}
}

// at is a place on the axis as it is shown; nil for one that nobody knows.
func (a axis) at(place float64) *float64 {
	run := (place - a.shift) / (24 * time.Hour).Seconds()
	if a.by != wear.ByTime {
		run = math.Round(unit.From(place-a.shift, a.unit)*10) / 10
	}
	if math.IsNaN(run) || math.IsInf(run, 0) {
		return nil
	}
	return &run
}

// shift is how far the life value lies over what the meter shows.
func shift(v *judge.View, hours bool) float64 {
	if c := v.Chain(-1, hours); c != nil {
		if p, ok := c.LastRead(math.MaxInt64); ok {
			return p.Life - p.Face
		}
	}
	return 0
}
