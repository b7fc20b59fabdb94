package form

import (
	"time"

	"telltale/engine/intake/typed"
	"telltale/notify/people"
)

// calendar is how a person writes days; a year of two digits is of this century.
func (t Typist) calendar() typed.Calendar {
	order := map[people.DateOrder]typed.Order{people.DayFirst: typed.DayFirst, people.MonthFirst: typed.MonthFirst, people.YearFirst: typed.YearFirst}
	return typed.Calendar{Order: order[t.Dates], Century: t.Now.Year() / 100 * 100}
}

// Day is the day in the field, as YYYY-MM-DD; "" where there is none or what was typed is
// none. Browsers send 2031-06-06; where somebody types, it is read in the person's order
// of dates too. A day outside First and Last is a fault.
func (d *Field) Day() string {
	text := typed.OneBlank(d.Value())
	if text == "" {
		if d.Needed && d.limited() {
			d.outside()
		} else {
			d.empty()
		}
		return ""
	}
	day, f := d.form.calendar().Day(text)
	if f != nil {
		d.Fault("%s", d.form.wordsOfDay(f))
		return ""
	}
	out := day.Format(time.DateOnly)
	if d.First != "" && out < d.First || d.Last != "" && out > d.Last {
		d.outside()
		return ""
	}
	return out
}

func (d *Field) limited() bool { return d.First != "" || d.Last != "" }

// outside says which days there are.
func (d *Field) outside() {
	said := d.form.between(d.First, d.Last)
	if d.Reason != "" {
		said += ": " + d.Reason
	}
	d.Fault("%s", said)
}

// Within sets the first and the last day that may be chosen, as YYYY-MM-DD; "" is no limit.
func (d *Field) Within(first, last string) *Field {
	d.First, d.Last = first, last
	return d
}

func (f *Form) between(first, last string) string {
	switch {
	case first == "":
		return "choose " + f.Written(last) + " or a day before it"
	case last == "":
		return "choose " + f.Written(first) + " or a day after it"
	}
	return "choose a day from " + f.Written(first) + " to " + f.Written(last)
}

// Written writes YYYY-MM-DD in the person's order.
func (t Typist) Written(day string) string { return (&people.Person{Dates: t.Dates}).Date(day) }

// DatesIn writes the days within a text in the person's order.
func (t Typist) DatesIn(text string) string { return (&people.Person{Dates: t.Dates}).DatesIn(text) }

// example is a day as the person may write it.
func (t Typist) example() string {
	return t.Now.In(t.Zone).Format(map[people.DateOrder]string{people.DayFirst: "2/1/2006", people.MonthFirst: "1/2/2006", people.YearFirst: time.DateOnly}[t.Dates])
}

func (t Typist) wordsOfDay(f *typed.DayFault) string {
	text := line(f.Text)
	switch f.Wrong {
	case typed.NoSuchDay, typed.Swapped:
		return "there is no day " + text + ": write today as " + t.example()
	}
	return text + " is not a day: write today as " + t.example()
}

// At is the moment of what was done on a day, as a job takes it: "", which is now, where
// it is today; the day itself, of which noon is taken, else.
func (t Typist) At(day string) string {
	if day == t.Today() {
		return ""
	}
	return day
}

// ISO reports whether a browser can show what was typed in a field for dates.
func (d *Field) ISO() bool {
	_, err := time.Parse(time.DateOnly, d.Value())
	return err == nil || d.Value() == ""
}
