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
	label, done := r.Done()
	t.Line(1, "%s", join(label, done)+byEvent(r.By))
	if r.FollowUp && r.Lapses != "" {
		t.Line(1, "dropped: %s", r.DroppedWords())
	}
	for i := range r.Defects {
		t.Line(1, "reported: %s%s", defect.Words(r.Defects[i:i+1]), byEvent(&r.Defects[i].ID))
	}
	if f := r.FactorWords(); f != "" {
		t.Line(1, "factor: %s", f)
	}
	if r.Untold != "" {
		t.Line(1, "%s", english.Capital(r.Untold))
	}
	if r.Postponed != "" {
		t.Line(1, "%s", r.Postponed)
	}
	for i := range r.PulledIn {
		said, moved := r.pulled(i)
		t.Line(1, "%s%s%s", said, byEvent(r.PulledIn[i].By), moved)
	}
	for i := range r.Limits {
		r.Limits[i].write(t)
	}
	for i := range r.Worn {
		r.Worn[i].write(t)
	}
	if r.Likely != "" {
		t.Line(1, "likely reached: %s", r.LikelyWords())
		t.Line(2, "%s", r.Range)
	}
}

// join puts a label before a text that has something to say.
func join(label, text string) string {
	if text == "" {
		return label
	}
	return label + ": " + text
}

// Done says when it was last done, or what stands for that, under what label. By is the
// event behind it.
func (r *Reckoning) Done() (label, text string) {
	switch {
	case r.FollowUp:
		return "opened", r.LastDone
	case r.WhenReported && r.LastDone != "":
		return "due when a defect is reported; last repaired", r.LastDone
	case r.WhenReported:
		return "due when a defect is reported", ""
	case r.LastDone != "" && r.Estimated:
		return "last done", r.LastDone + ", meter not read then; taken from the reading before"
	case r.LastDone != "":
		return "last done", r.LastDone
	}
	return "last done", "unknown; " + r.Policy
}

// DroppedWords say when a follow-up is not asked for any more.
func (r *Reckoning) DroppedWords() string { return r.Lapses + " past its due point" }

// FactorWords say what the intervals are multiplied by, and why; "" where by nothing.
func (r *Reckoning) FactorWords() string {
	switch {
	case r.FactorFrom != "" && len(r.Missing) > 0:
		return "1, because `" + english.OneLine(r.FactorFrom) + "` lacks " + strings.Join(r.Missing, ", ")
	case r.FactorFrom != "":
		return english.Number(r.Factor) + ", from `" + english.OneLine(r.FactorFrom) + "`"
	}
	return ""
}

// PulledWords say which alarm asks for it earlier, and what that moved.
func (r *Reckoning) PulledWords(i int) string {
	said, moved := r.pulled(i)
	return said + moved
}

func (r *Reckoning) pulled(i int) (said, moved string) {
	p := r.PulledIn[i]
	if p.Limits != "" {
		moved = "; it moved the " + strings.ReplaceAll(p.Limits, ", ", " and ")
	}
	return p.Words(), moved
}

// LikelyWords say when the first meter limit is likely to be reached; "" where nobody knows.
func (r *Reckoning) LikelyWords() string {
	switch {
	case r.Likely == "":
		return ""
	case r.Late == "":
		return "about " + r.Likely + " (not before " + r.Early + ")"
	}
	return "about " + r.Likely + " (between " + r.Early + " and " + r.Late + ")"
}

func byEvent(id *event.ID) string {
	if id == nil {
		return ""
	}
	return fmt.Sprintf("  [%s %s]", id.Source, id.ID)
}

// Head is what the limit is.
func (l *ReckonedLimit) Head() string {
	head := l.Limit
	if l.Decides {
		head += " (this one decides)"
	}
	switch {
	case l.WornBy != "":
		return head + ": where the " + l.WornBy + " is worn out"
	case l.Within != "" && l.Every != "":
		return head + ": within " + l.Within + " because of an alarm; otherwise every " + l.Every
	case l.Within != "":
		return head + ": within " + l.Within + " because of an alarm"
	case l.Every != "":
		return head + ": every " + l.Every
	}
	return head
}

// Points are where it counts from and where its stages begin, in lines; and where else its
// date is from.
func (l *ReckonedLimit) Points() (lines []string) {
	add := func(head string, pairs ...string) {
		if line := pointsLine(pairs); line != "" {
			lines = append(lines, head+line)
		}
	}
	add("", l.Places.pairs()...)
	if l.InAll != nil {
		add("in all: ", l.InAll.pairs()...)
	}
	if l.ValidUntil != "" {
		lines = append(lines, "the paper is valid until "+l.ValidUntil+", and that date counts")
	}
	add("", "from", l.FromDate, "soon", l.SoonDate, "due", l.DueDate, "overdue after", l.OverdueDate)
	return lines
}

func (l *ReckonedLimit) write(t *english.Lines) {
	t.Line(1, "%s", l.Head())
	WriteSource(t, 2, l.Source)
	for _, line := range l.Points() {
		t.Line(2, "%s", line)
	}
	if l.Meter != nil {
		for _, line := range l.Meter.Lines() {
			t.Line(2, "%s", line)
		}
	}
}

func (p *Places) pairs() []string {
	return []string{"from", english.Quantity(p.From), "soon", english.Quantity(p.Soon), "due", english.Quantity(p.Due), "overdue past", english.Quantity(p.Overdue)}
}

// pointsLine writes pairs of a name and a value, those that have one.
func pointsLine(pairs []string) string {
	var parts []string
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			parts = append(parts, pairs[i]+" "+pairs[i+1])
		}
	}
	return strings.Join(parts, ", ")
}

// Lines are what is known of the meter.
func (m *ReckonedMeter) Lines() []string {
	switch read := "the " + m.Name + " read " + m.ReadWords() + " on " + m.ReadOn; {
	case m.Read == nil:
		return []string{"the " + m.Name + " has not been read yet"}
	case m.Untold:
		return []string{read, "it has gone back since, and the cause is not known"}
	case m.PerDay == nil:
		return []string{read, "too few readings to know how much it is used"}
	default:
		laidUp := ""
		if m.LaidUp {
			laidUp = ", laid up recently"
		}
		return []string{read,
			fmt.Sprintf("usage %s %s a day (%s to %s, from %d readings)%s", english.Number(m.PerDay.Value), m.PerDay.Unit,
				english.Number(m.PerDayLow.Value), english.Number(m.PerDayHigh.Value), m.Readings, laidUp),
			fmt.Sprintf("estimated now: about %s (%s to %s)", english.Quantity(m.Now), english.Quantity(m.NowLeast), english.Quantity(m.NowMost))}
	}
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

// ReadWords is what it showed.
func (m *ReckonedMeter) ReadWords() string {
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
