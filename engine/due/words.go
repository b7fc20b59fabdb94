package due

import (
	"fmt"
	"strings"

	"telltale/engine/event"
	"telltale/rules/english"
)

// Write tells how the due point came about, limit by limit.
func (r *Reckoning) Write(t *english.Lines) {
	switch {
	case r.FollowUp:
		t.Line(1, "opened: %s%s", r.LastDone, byEvent(r.By))
		if r.Lapses != "" {
			t.Line(1, "not asked for any more: %s past its point", r.Lapses)
		}
	case r.LastDone != "" && r.Estimated:
		t.Line(1, "last done: %s, meter not read then but taken from the reading before%s", r.LastDone, byEvent(r.By))
	case r.LastDone != "":
		t.Line(1, "last done: %s%s", r.LastDone, byEvent(r.By))
	default:
		t.Line(1, "last done: unknown; %s", r.Policy)
	}
	switch {
	case r.FactorFrom != "" && len(r.Missing) > 0:
		t.Line(1, "factor: 1, since `%s` lacks %s", english.OneLine(r.FactorFrom), strings.Join(r.Missing, ", "))
	case r.FactorFrom != "":
		t.Line(1, "factor: %s, from `%s`", english.Number(r.Factor), english.OneLine(r.FactorFrom))
	}
	if r.Postponed != "" {
		t.Line(1, "%s", r.Postponed)
	}
	for _, p := range r.PulledIn {
		moved := ""
		if p.Limits != "" {
			moved = "; moved its " + strings.ReplaceAll(p.Limits, ", ", " and ")
		}
		t.Line(1, "%s%s%s", p.Words(), byEvent(p.By), moved)
	}
	for i := range r.Limits {
		r.Limits[i].write(t)
	}
	if r.Likely != "" {
		t.Line(1, "likely reached: about %s (between %s and %s)", r.Likely, r.Early, r.Late)
		t.Line(2, "%s", r.Range)
	}
}

func byEvent(id *event.ID) string {
	if id == nil {
		return ""
	}
	return fmt.Sprintf("  [%s %s]", id.Source, id.ID)
}

func (l *ReckonedLimit) write(t *english.Lines) {
	head := l.Limit
	if l.Decides {
		head += " (this one decides)"
	}
	switch {
	case l.Within != "" && l.Every != "":
		head += ": within " + l.Within + ", asked for by an alarm; of itself every " + l.Every
	case l.Within != "":
		head += ": within " + l.Within + ", asked for by an alarm"
	case l.Every != "":
		head += ": every " + l.Every
	}
	t.Line(1, "%s", head)
	WriteSource(t, 2, l.Source)
	writePoints(t, "from", english.Quantity(l.From), "soon", english.Quantity(l.Soon), "due", english.Quantity(l.Due), "overdue past", english.Quantity(l.Overdue))
	writePoints(t, "from", l.FromDate, "soon", l.SoonDate, "due", l.DueDate, "overdue after", l.OverdueDate)
	if m := l.Meter; m != nil {
		m.write(t)
	}
}

// points writes pairs of a name and a value, those that have one, in a line.
func writePoints(t *english.Lines, pairs ...string) {
	var parts []string
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			parts = append(parts, pairs[i]+" "+pairs[i+1])
		}
	}
	if len(parts) > 0 {
		t.Line(2, "%s", strings.Join(parts, ", "))
	}
}

func (m *ReckonedMeter) write(t *english.Lines) {
	if m.Read == nil {
		t.Line(2, "the %s has not been read yet", m.Name)
		return
	}
	t.Line(2, "the %s read %s on %s", m.Name, english.Quantity(m.Read), m.ReadOn)
	if m.PerDay == nil {
		t.Line(2, "too few readings to tell its usage")
		return
	}
	laidUp := ""
	if m.LaidUp {
		laidUp = ", laid up of late"
	}
	t.Line(2, "usage %s %s a day (%s to %s, from %d readings)%s", english.Number(m.PerDay.Value), m.PerDay.Unit,
		english.Number(m.PerDayLow.Value), english.Number(m.PerDayHigh.Value), m.Readings, laidUp)
	t.Line(2, "by now about %s (%s to %s), which nobody has read", english.Quantity(m.Now), english.Quantity(m.NowLeast), english.Quantity(m.NowMost))
}

// WriteSource says where a figure comes from, where anybody does.
func WriteSource(t *english.Lines, indent int, from string) {
	if from != "" {
		t.Line(indent, "source: %s", from)
	}
}
