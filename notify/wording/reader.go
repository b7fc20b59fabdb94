package wording

import (
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/notify/people"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Reader is a person as words are written for them: in the units in which they read of
// one vehicle, their order of dates and their zone.
type Reader struct {
	*people.Person
	vehicle []string // what the vehicle's registration says
}

// On is the person as a reader of a vehicle of which people read in those units.
func (p Reader) On(reads []string) Reader { return Reader{p.Person, reads} }

// Units are those in which the person reads of the vehicle.
func (p Reader) Units() unit.System {
	own, _ := unit.SystemOf(p.vehicle) // checked when it came in
	return own.Or(p.Person.Units()).Or(unit.Metric)
}

// UnitsOf are the units in which a person reads of a vehicle of which the registration
// says those.
func UnitsOf(who *people.Person, reads []string) unit.System { return Reader{who, reads}.Units() }

// meter writes metres or seconds of running.
func (p Reader) meter(v float64, base string) string {
	k := unit.Distance
	if base == "s" {
		k = unit.Time
	}
	return english.Reader{Units: p.Units()}.Amount(v, k)
}

// Litres writes a volume.
func (p Reader) Litres(v float64) string {
	return english.Reader{Units: p.Units()}.Amount(v, unit.Volume)
}

// Said is the transition with its texts in the person's units.
func (p Reader) Said(t *alarm.Transition) *alarm.Transition { return t.Worded(p.Units()) }

// SaidOf is work with its words in the person's units, and its title in their spelling.
func (p Reader) SaidOf(i *due.Item) *due.Item {
	c := *i
	c.Title = Title(p.Person, i.Task, i.Title)
	c.Why, c.Amounts = english.Written(english.Marked(i.Why, i.Amounts), p.Units())
	return &c
}
