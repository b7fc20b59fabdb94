// Package whole tells all that is asked of one vehicle at once: its registration, meters,
// work, alarms, samples and what was measured by hand. It asks a [judge.View] and changes
// nothing.
package whole

import (
	"cmp"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/gauge"
	"telltale/engine/judge"
	"telltale/engine/sample"
)

// Vehicle is all that is known of one vehicle now, in the units of whoever asks.
type Vehicle struct {
	Vehicle string `json:"vehicle"`
	First   string `json:"first,omitempty"` // see alarm.Transition
	// Register is its registration, RegisteredBy the event that brought it and
	// RegisteredAt its time.
	Register     *event.VehicleData `json:"register"`
	RegisteredBy event.ID           `json:"registeredBy"`
	RegisteredAt time.Time          `json:"registeredAt"`
	// Reads are the units in which people read of it, as far as its registration or whoever
	// asks names them.
	Reads []string `json:"reads,omitempty"`
	// Now is the clock, Today the date in the vehicle's zone; zero and "" before the first
	// tick.
	Now   time.Time `json:"now,omitzero"`
	Today string    `json:"today,omitempty"`
	// OutSince is the local date since which it is out of service; "" where it is not.
	OutSince string  `json:"outSince,omitempty"`
	Meters   []Meter `json:"meters,omitempty"`
	// Tasks are all that are kept for it, with follow-ups, see [due.All]. It has none, nor
	// samples or measures, while it is retired or no rules are in force.
	Tasks  []due.Item     `json:"tasks,omitempty"`
	Alarms []alarm.Listed `json:"alarms,omitempty"` // in order of rule and component
	// Samples read the latest of each component that has one.
	Samples  []sample.Verdict `json:"samples,omitempty"`
	Measured []gauge.Measured `json:"measured,omitempty"`
	Book     string           `json:"book,omitempty"` // in force
}

// Of tells it of a vehicle that is registered.
func Of(v *judge.View) Vehicle {
	rec := v.Rec
	reg := rec.Registered()
	out := Vehicle{Vehicle: rec.Shown(), First: rec.First(), Register: event.ReadIn(v.Said(), reg).(*event.VehicleData),
		RegisteredAt: rec.RegisteredAt(), RegisteredBy: registeredBy(v), Reads: v.Said().Names(), Book: v.BookHash()}
	if !v.Now.IsZero() {
		out.Now, out.Today = v.Now, v.DayOf(v.Now.UnixNano())
	}
	if n := len(rec.InOut); rec.Out && n > 0 {
		out.OutSince = v.DayOf(time.Unix(rec.InOut[n-1], 0).UnixNano())
	}
	out.Meters = metersOf(v)
	out.Alarms = rec.Standings()
	for i := range out.Alarms {
		out.Alarms[i].Transition = *v.Told(&out.Alarms[i].Transition)
	}
	if v.Book == nil || reg.Retired {
		return out
	}
	out.Tasks = due.All(v)
	out.Samples = sample.Verdicts(v, "")
	out.Measured = gauge.List(v, false)
	return out
}

// registeredBy is the event of the registration that counts.
func registeredBy(v *judge.View) (id event.ID) {
	for _, r := range v.Rec.Register {
		if !r.Void {
			id = r.ID
		}
	}
	return id
}

// Home is the name that its record is kept under.
func (v *Vehicle) Home() string { return cmp.Or(v.First, v.Vehicle) }
