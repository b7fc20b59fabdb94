package people

import (
	"maps"
	"regexp"
	"time"

	"telltale/rules/unit"
)

// Units are those in which the person reads, as far as they say.
func (p *Person) Units() unit.System {
	return unit.System{Distance: p.Distance, Volume: p.Volume, Temperature: p.Temperature, Pressure: p.Pressure}
}

// Reading is the directory where everybody reads in the units of the folder, of what they
// do not say themselves.
func (d *Directory) Reading(folder unit.System) *Directory {
	c := *d
	c.people = maps.Clone(d.people)
	for id, p := range c.people {
		own, u := *p, p.Units().Or(folder)
		own.Distance, own.Volume, own.Temperature, own.Pressure = u.Distance, u.Volume, u.Temperature, u.Pressure
		c.people[id] = &own
	}
	return &c
}

var dateForms = [...]string{DayFirst: "2 Jan 2006", MonthFirst: "Jan 2, 2006", YearFirst: "2006-01-02"}

// Date writes YYYY-MM-DD in the person's order; anything else stays as it is.
func (p *Person) Date(s string) string {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return s
	}
	return t.Format(dateForms[p.Dates])
}

var isoDate = regexp.MustCompile(`\b\d{4}-\d{2}-\d{2}\b`)

// DatesIn writes the dates within a text in the person's order.
func (p *Person) DatesIn(s string) string { return isoDate.ReplaceAllStringFunc(s, p.Date) }

// Day writes the date at a moment, in the person's zone and order.
func (p *Person) Day(t time.Time) string { return t.In(p.Zone).Format(dateForms[p.Dates]) }
