package people

import (
	"regexp"
	"time"

	"telltale/rules/english"
	"telltale/rules/unit"
)

// Own puts a value into the person's unit, where it is a distance or a volume.
func (p *Person) Own(v float64, u string) (float64, string) {
	base, kind, err := unit.Base(v, u)
	to := map[unit.Kind]string{unit.Distance: p.Distance, unit.Volume: p.Volume}[kind]
	if err != nil || to == "" || to == u {
		return v, u
	}
	return unit.From(base, to), to
}

// Meter writes metres or seconds of running as the person reads them.
func (p *Person) Meter(v float64, base string) string {
	if base == "s" {
		return english.Amount(v, "h")
	}
	return english.Amount(v, p.Distance)
}

// Litres writes a volume as the person reads it.
func (p *Person) Litres(litres float64) string { return english.Volume(litres, p.Volume) }

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
