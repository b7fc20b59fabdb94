package due

import (
	"fmt"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/defect"
	"telltale/engine/event"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Write tells how the due point came about, limit by limit.
func (r *Reckoning) Write(t *english.Lines) {
	switch {
	case r.FollowUp:
		t.Line(1, "opened: %s%s", r.LastDone, byEvent(r.By))
		if r.Lapses != "" {
			t.Line(1, "dropped: %s past its due point", r.Lapses)
		}
	case r.WhenReported && r.LastDone != "":
		t.Line(1, "due when a defect is reported; last repaired: %s%s", r.LastDone, byEvent(r.By))
	case r.WhenReported:
		t.Line(1, "due when a defect is reported")
	case r.LastDone != "" && r.Estimated:
		t.Line(1, "last done: %s, meter not read then; taken from the reading before%s", r.LastDone, byEvent(r.By))
	case r.LastDone != "":
		t.Line(1, "last done: %s%s", r.LastDone, byEvent(r.By))
	default:
		t.Line(1, "last done: unknown; %s", r.Policy)
	}
	for i := range r.Defects {
		t.Line(1, "reported: %s%s", defect.Words(r.Defects[i:i+1]), byEvent(&r.Defects[i].ID))
	}
	switch {
	case r.FactorFrom != "" && len(r.Missing) > 0:
		t.Line(1, "factor: 1, because `%s` lacks %s", english.OneLine(r.FactorFrom), strings.Join(r.Missing, ", "))
	case r.FactorFrom != "":
		t.Line(1, "factor: %s, from `%s`", english.Number(r.Factor), english.OneLine(r.FactorFrom))
	}
	if r.Untold != "" {
		t.Line(1, "%s", english.Capital(r.Untold))
	}
	if r.Postponed != "" {
		t.Line(1, "%s", r.Postponed)
	}
	for _, p := range r.PulledIn {
		moved := ""
		if p.Limits != "" {
			moved = "; it moved the " + strings.ReplaceAll(p.Limits, ", ", " and ")
		}
		t.Line(1, "%s%s%s", p.Words(), byEvent(p.By), moved)
	}
	for i := range r.Limits {
		r.Limits[i].write(t)
	}
	for i := range r.Worn {
		r.Worn[i].write(t)
	}
	if r.Likely != "" {
		between := "between " + r.Early + " and " + r.Late
		if r.Late == "" {
			between = "not before " + r.Early
		}
		t.Line(1, "likely reached: about %s (%s)", r.Likely, between)
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
	case l.WornBy != "":
		head += ": where the " + l.WornBy + " is worn out"
	case l.Within != "" && l.Every != "":
		head += ": within " + l.Within + " because of an alarm; otherwise every " + l.Every
	case l.Within != "":
		head += ": within " + l.Within + " because of an alarm"
	case l.Every != "":
		head += ": every " + l.Every
	}
	t.Line(1, "%s", head)
	WriteSource(t, 2, l.Source)
	l.Places.write(t, "")
	if l.InAll != nil {
		l.InAll.write(t, "in all: ")
	}
	if l.ValidUntil != "" {
		t.Line(2, "the paper is valid until %s, and that date counts", l.ValidUntil)
	}
	writePoints(t, "", "from", l.FromDate, "soon", l.SoonDate, "due", l.DueDate, "overdue after", l.OverdueDate)
	if m := l.Meter; m != nil {
		m.write(t)
	}
}

func (p *Places) write(t *english.Lines, head string) {
	writePoints(t, head, "from", english.Quantity(p.From), "soon", english.Quantity(p.Soon), "due", english.Quantity(p.Due), "overdue past", english.Quantity(p.Overdue))
}

// writePoints writes pairs of a name and a value, those that have one, in a line.
func writePoints(t *english.Lines, head string, pairs ...string) {
	var parts []string
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			parts = append(parts, pairs[i]+" "+pairs[i+1])
		}
	}
	if len(parts) > 0 {
		t.Line(2, "%s%s", head, strings.Join(parts, ", "))
	}
}

func (m *ReckonedMeter) write(t *english.Lines) {
	if m.Read == nil {
		t.Line(2, "the %s has not been read yet", m.Name)
		return
	}
	t.Line(2, "the %s read %s on %s", m.Name, m.read(), m.ReadOn)
	if m.Untold {
		t.Line(2, "it has gone back since, and the cause is not known")
		return
	}
	if m.PerDay == nil {
		t.Line(2, "too few readings to know how much it is used")
		return
	}
	laidUp := ""
	if m.LaidUp {
		laidUp = ", laid up recently"
	}
	t.Line(2, "usage %s %s a day (%s to %s, from %d readings)%s", english.Number(m.PerDay.Value), m.PerDay.Unit,
		english.Number(m.PerDayLow.Value), english.Number(m.PerDayHigh.Value), m.Readings, laidUp)
	t.Line(2, "estimated now: about %s (%s to %s)", english.Quantity(m.Now), english.Quantity(m.NowLeast), english.Quantity(m.NowMost))
}

// WriteSource says where a figure comes from, where anybody does.
func WriteSource(t *english.Lines, indent int, from string) {
	if from != "" {
		t.Line(indent, "source: %s", from)
	}
}

// inAll is what a meter shows, with the value over replaced instruments where there were
// others.
func inAll(face, life *unit.Quantity, meter string) string {
	switch {
	case life == nil:
		return english.Quantity(face)
	case face == nil:
		return english.Quantity(life) + " in all, which the " + meter + " before this one showed"
	}
	return english.Quantity(face) + " on the new " + meter + " (" + english.Quantity(life) + " in all)"
}

// read is what it showed.
func (m *ReckonedMeter) read() string {
	if m.ReadInAll == nil {
		return english.Quantity(m.Read)
	}
	return english.Quantity(m.Read) + " (" + english.Quantity(m.ReadInAll) + " in all)"
}

// Next says when the task is due next, or was due, by each of its limits.
func (r *Reckoning) Next() string {
	if r.WhenReported {
		return defect.Words(r.Defects)
	}
	var past, next []string
	for i := range r.Limits {
		switch at := r.Limits[i].at(); {
		case at == "":
		case r.Limits[i].Past:
			past = append(past, at)
		default:
			next = append(next, at)
		}
	}
	switch {
	case len(past) > 0:
		return "was due " + english.List("and", past)
	case r.Untold != "" && len(next) > 0:
		return "due next " + english.List("or", next) + "; " + r.Untold
	case r.Untold != "":
		return r.Untold
	case len(next) > 1:
		return "due next " + english.List("or", next) + ", whichever comes first"
	case len(next) == 1:
		return "due next " + next[0]
	case r.Limit == alarm.NoHistory:
		return "due now: no record of when it was last done"
	}
	for i := range r.Worn {
		if r.Worn[i].Missing != "" {
			return "the next date is not known yet: " + r.Worn[i].Missing
		}
	}
	return "the next date is not known yet"
}

// at is where the limit is reached; "" where nobody knows.
func (l *ReckonedLimit) at() string {
	switch {
	case l.DueDate != "":
		return "on " + l.DueDate
	case l.Meter != nil && l.Meter.Untold && !l.Past:
		return ""
	case l.Due != nil || l.InAll != nil && l.InAll.Due != nil:
		var life *unit.Quantity
		if l.InAll != nil {
			life = l.InAll.Due
		}
		return "at " + inAll(l.Due, life, l.Meter.Name)
	}
	return ""
}
