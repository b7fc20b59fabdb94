package people

import (
	"strings"
	"time"

	"gopkg.in/yaml.v3"

	"telltale/rules/unit"
)

// quietHours are the hours of a person's wall clock in which only what cannot
// wait is told, in minutes of the day; the zero value has none. Over midnight,
// from is after to.
type quietHours struct{ from, to int }

func (r *reader) quiet(n *yaml.Node) (q quietHours) {
	text, ok := r.Given(n, "quiet")
	if !ok {
		return q
	}
	from, to, cut := strings.Cut(text, " to ")
	a, err1 := time.Parse("15:04", from)
	b, err2 := time.Parse("15:04", to)
	if !cut || err1 != nil || err2 != nil || a.Equal(b) {
		r.Fault(n, "write it like \"21:00 to 07:00\"", "quiet %q is not a span of the day", text)
		return q
	}
	minute := func(t time.Time) int { return t.Hour()*60 + t.Minute() }
	return quietHours{minute(a), minute(b)}
}

// Wakes is the first moment from t on at which the person may be told: t itself
// outside the quiet hours, and else their end.
func (p *Person) Wakes(t time.Time) time.Time {
	q := p.quiet
	if q.from == q.to {
		return t
	}
	local := t.In(p.Zone)
	now := local.Hour()*60 + local.Minute()
	over := q.from > q.to
	if over && now < q.from && now >= q.to || !over && (now < q.from || now >= q.to) {
		return t
	}
	day := local.Day()
	if over && now >= q.from {
		day++
	}
	end := time.Date(local.Year(), local.Month(), day, q.to/60, q.to%60, 0, 0, p.Zone)
	if !end.After(t) { // the hour that a clock put back repeats
		end = t.Add(time.Hour)
	}
	return end.UTC()
}

// after reads a span of whole days or of hours, as for reminders; 0 where n is nil.
func (r *reader) after(n *yaml.Node, what string) time.Duration {
	if n == nil {
		return 0
	}
	q, ok := r.Quantity(n, what, unit.Days, unit.Time)
	if !ok {
		return 0
	}
	v, kind, _ := q.Base() // the kind was checked
	d := time.Duration(v * float64(time.Second))
	if kind == unit.Days {
		d = time.Duration(v * float64(24*time.Hour))
	}
	if d < time.Hour || d > 366*24*time.Hour {
		r.Fault(n, "", "%s must be from 1 h to 366 days", what)
	}
	return d
}
