package due

import (
	"math"

	"telltale/engine/dueword"
	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/engine/wear"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// ReckonedWear is how far one measure is from where a task is due. Places are face values
// of the instrument as it is today, dates where it wears by time.
type ReckonedWear struct {
	Measure string         `json:"measure"`
	Limit   unit.Quantity  `json:"limit"`
	Value   *unit.Quantity `json:"value,omitempty"` // the last
	On      string         `json:"on,omitempty"`    // when that was measured
	// Likely, Early and Late are where it reaches the limit; Late is absent where it may as
	// well not wear.
	Likely       *unit.Quantity `json:"likely,omitempty"`
	Early        *unit.Quantity `json:"early,omitempty"`
	Late         *unit.Quantity `json:"late,omitempty"`
	Reached      bool           `json:"reached,omitempty"`
	Measurements int            `json:"measurements"`
	// Sure is how often the pace lies within the range of so many measurements, 0 to 1.
	Sure    float64 `json:"sure,omitempty"`
	Missing string  `json:"missing,omitempty"` // for a forecast
	Says    string  `json:"says"`
	Source  string  `json:"source,omitempty"` // of the limit
}

func reckonedWear(v *judge.View, d *judge.Due) (out []ReckonedWear) {
	for _, w := range d.Worn {
		r := ReckonedWear{Measure: w.Measure.Name, Limit: w.Limit.Stated, On: w.MeasuredOn, Reached: w.Reached,
			Measurements: w.Measurements, Sure: w.Sure, Missing: w.Missing, Says: dueword.Wear(v, w), Source: d.Task.Sources.Of("every until " + w.Measure.Name)}
		if w.Measurements > 0 {
			r.Value = &unit.Quantity{Value: w.Value, Unit: w.Measure.Unit}
		}
		if w.Missing == "" && w.By != wear.ByTime {
			hours := w.By == wear.ByHours
			r.Likely, r.Early = v.Quantity(w.At, hours), v.Quantity(w.Low, hours)
			if !math.IsInf(w.High, 1) {
				r.Late = v.Quantity(w.High, hours)
			}
		}
		out = append(out, r)
	}
	return out
}

func (r *ReckonedWear) write(t *english.Lines) {
	t.Line(1, "worn out: %s", r.Says)
	WriteSource(t, 2, r.Source)
	if sure := r.SureWords(); sure != "" {
		t.Line(2, "%s", sure)
	}
}

// SureWords say how often the pace of wear lies within its range; "" where nobody knows.
func (r *ReckonedWear) SureWords() string {
	if r.Sure <= 0 {
		return ""
	}
	return "the pace of wear lies within that range in " + english.Number(math.Round(100*r.Sure)) + " cases of 100, if it wears on as it did"
}

// limitNamed is the limit of that name.
func limitNamed(name string) interval.Limit {
	for l := interval.ByDistance; l <= interval.ByTime; l++ {
		if l.String() == name {
			return l
		}
	}
	return interval.ByNone
}
