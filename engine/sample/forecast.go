package sample

import (
	"fmt"
	"math"

	"telltale/engine/alarm"
	"telltale/engine/outlook"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Forecast is which limit the fluid reaches first if it goes on as before,
// and the interval between drains that follows from it. It is an offer to a person:
// nothing is moved by it.
type Forecast struct {
	Rule  string      `json:"rule"`
	Stage alarm.Stage `json:"stage"`
	// Least, Likely and Most are how much further the fluid runs; Most is absent where
	// the measure may as well not rise.
	Least  unit.Quantity  `json:"least"`
	Likely unit.Quantity  `json:"likely"`
	Most   *unit.Quantity `json:"most,omitempty"`
	// Drain is the further run after which to drain: the age reached at the least, less
	// the reserve, at most twice the greatest age that was ever sampled.
	Drain   unit.Quantity `json:"drain"`
	Capped  bool          `json:"capped,omitempty"`
	Samples int           `json:"samples"`
	// Sure is how often the pace lies within the bounds that so many samples give, 0 to 1.
	Sure float64 `json:"sure"`
	Says string  `json:"says"`
}

// IntervalOffer is where a forecast would have a task.
type IntervalOffer struct {
	Task string `json:"task"`
	// Kind is sooner or later.
	Kind string `json:"kind"`
	// Due is where the task stands now, At where it is offered, as the meter will
	// show; By is the difference.
	Due  unit.Quantity `json:"due"`
	At   unit.Quantity `json:"at"`
	By   unit.Quantity `json:"by"`
	Says string        `json:"says"`
}

// forecast tells the outlook in round numbers; nil where no limit is in sight.
func (v *sampleVerdict) forecast(o *outlook.Outlook) *Forecast {
	if o.Rule == nil {
		return nil
	}
	round := 100.0
	if o.Hours {
		round = 5
	}
	in := func(base float64) unit.Quantity {
		value, u := v.view.Shown(base, o.Hours)
		return unit.Quantity{Value: math.Floor(value/round) * round, Unit: u}
	}
	c := o.Crossing
	out := &Forecast{Rule: o.Rule.Name, Stage: alarm.RuleStages[o.Stage], Least: in(c.Low), Likely: in(c.Likely), Samples: len(o.Ages), Sure: c.Sure}
	if !math.IsInf(c.High, 1) {
		most := in(c.High)
		out.Most = &most
	}
	further, capped := o.Run()
	out.Drain, out.Capped = in(further), capped
	out.Says = out.words(v.Fluid)
	return out
}

func intervalOffer(o *outlook.Offer, from *outlook.Outlook) *IntervalOffer {
	if o == nil {
		return nil
	}
	out := &IntervalOffer{Task: o.Task, Kind: "sooner", Due: o.Due, At: o.At, By: o.By}
	if o.Later {
		out.Kind = "later"
	}
	out.Says = out.words(o.Date, from.Rule != nil && outlook.KindsOf(from.Rule)&outlook.ByWear != 0)
	return out
}

func (o *IntervalOffer) words(date string, metal bool) string {
	s := fmt.Sprintf("do %q at %s, %s %s than it is due now, at %s", o.Task, english.Quantity(&o.At), english.Quantity(&o.By), o.Kind, english.Quantity(&o.Due))
	if o.Kind == "later" {
		s += fmt.Sprintf("; wear, additives, viscosity and contamination allow it (a tenth in reserve, at most %g times the task's interval and %d times the greatest age sampled)", outlook.Longest, outlook.MostSeen)
	}
	if date != "" {
		s += "; its due date, " + date + ", does not change"
	}
	s += ". Nothing changes until somebody accepts it"
	if metal && o.Kind == "sooner" {
		s += ". A drain dilutes the metal but cures nothing: the wear goes on"
	}
	return s + "."
}
