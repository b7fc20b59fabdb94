package enter

import (
	"context"
	"html/template"

	"telltale/engine/event"
	"telltale/engine/intake/job"
	"telltale/engine/whole"
	"telltale/notify/board/entry"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// replaced enters that an instrument took the place of another.
func (s site) replaced(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, err := s.ask(ctx, r)
	if err != nil {
		return nil, err
	}
	f := a.form
	which := f.Field("meter", "Which instrument").Need()
	for _, m := range a.is.Meters {
		which.Choices = append(which.Choices, form.Choice{Value: m.Name, Label: english.Capital(m.Name)})
	}
	if len(a.is.Meters) > 0 {
		which.Before(a.is.Meters[0].Name)
	}
	chosen := a.meterNamed(which.Choose())
	old, fresh := a.replacedField("old", "What the old one showed last", chosen), a.replacedField("new", "What the new one showed first", chosen)
	old.Hint = ""
	if len(a.is.Meters) == 1 {
		old.Hint = entry.LastOf(a.form, &a.is.Meters[0])
	}
	day := a.day(oldestReading)
	rep := job.Replaced{Vehicle: a.ID, Meter: which.Value(), On: f.At(day.Day())}
	if chosen != nil {
		rep.Old, rep.New = form.Typed(meter{old, chosen}.value()), form.Typed(meter{fresh, chosen}.value())
	}
	return s.Serve(ctx, r, &entry.Entry{
		Form: f, Vehicle: a.Vehicle, Page: a.page("Enter a replaced instrument"),
		Events: func() ([]event.Event, error) {
			ev, err := rep.Event(a.known())
			return []event.Event{ev}, err
		},
		Fields: func() (template.HTML, error) {
			return templates.Body("replaced", map[string]any{"Meter": which, "Old": old, "New": fresh, "Day": day})
		},
	})
}

// replacedField is a field for a value of an instrument. Which one is chosen on the page, so
// units of hours stand beside those of distance where there are instruments of both.
func (a *asked) replacedField(name, label string, chosen *whole.Meter) *form.Field {
	d := a.form.Field(name, label).Need()
	var hours, distance bool
	for _, m := range a.is.Meters {
		hours, distance = hours || m.Hours, distance || !m.Hours
	}
	switch {
	case chosen != nil && a.form.Typed() && chosen.Hours, hours && !distance:
		return d.In("h")
	case chosen != nil && a.form.Typed(), !hours:
		return d.In(a.form.OwnFirst(unit.Distance)...)
	}
	return d.In(append(a.form.OwnFirst(unit.Distance), "h")...)
}

func (a *asked) meterNamed(name string) *whole.Meter {
	for i := range a.is.Meters {
		if a.is.Meters[i].Name == name {
			return &a.is.Meters[i]
		}
	}
	return nil
}
