package engine

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"telltale/rules"
	"telltale/rules/english"
)

// What the engine says when it is asked why stands in this file.

const (
	nothingYet = "nothing that it is judged on has come yet"
	theClock   = "the clock"
)

func whatItWaitsFor(r *rules.Rule) string {
	switch {
	case r.On&rules.OnSample != 0:
		return "a sample"
	case r.On&rules.OnReading != 0:
		return "a reading"
	case r.On&rules.OnService != 0:
		return "a service"
	}
	return "the next tick of the clock"
}

func sampleWords(d *SampleData) string {
	s := "sample of the " + d.Component
	if d.Number != "" {
		s = "sample " + d.Number + " of the " + d.Component
	}
	if d.Revision > 0 {
		s += ", revision " + strconv.Itoa(d.Revision)
	}
	return s
}

func serviceWords(d *ServiceData) string {
	s := "work done: " + d.What()
	if d.Component != "" {
		s += ", on the " + d.Component
	}
	return s
}

func (f *view) maskedWords(by WhyEvent, l Latch) string {
	need := "half the age that it had then"
	switch {
	case l.Age[0] > 0:
		need = f.amount(l.Age[0]/2, false) + ", half of what it had run then"
	case l.Age[1] > 0:
		need = f.amount(l.Age[1]/2, true) + ", half of what it had run then"
	}
	exchange := "an exchange of fluid"
	if by.What != "" {
		exchange += " (" + by.line() + ")"
	}
	return exchange + " thinned what the alarm saw; it may worsen, but not ease before the fluid has run " + need
}

func notApplied(where *rules.Condition, perComponent bool) string {
	switch {
	case where == nil && perComponent:
		return "it is kept for components, and the vehicle has none"
	case where == nil:
		return "it is not kept for this vehicle"
	case perComponent:
		return fmt.Sprintf("no component of the vehicle is let in by `where: %s` (%s)", strings.TrimSpace(where.Text), where.At)
	}
	return fmt.Sprintf("the vehicle is not let in by `where: %s` (%s)", strings.TrimSpace(where.Text), where.At)
}

// line is the event in a list: when, what, and by which name it can be found.
func (e *WhyEvent) line() string {
	s := e.What
	if !e.Time.IsZero() {
		s = e.Time.Format("2006-01-02") + "  " + s
	}
	if e.ID != nil {
		s += fmt.Sprintf("  [%s %s]", e.ID.Source, e.ID.ID)
	}
	return s
}

// Headline is the answer in a line: stage, what, and the words of the last change.
func (y *Why) Headline() string {
	s := y.Rule
	if y.Component != "" {
		s += " (" + y.Component + ")"
	}
	switch {
	case y.DoesNotApply != "":
		return s + ": does not apply; " + y.DoesNotApply
	case y.Stage == normal && y.NotJudged != nil && y.Judged == nil:
		return s + ": not judged; without " + strings.Join(y.NotJudged.Missing, ", ")
	case y.Standing != "":
		return s + ": " + y.Stage + ", " + y.Standing
	}
	return s + ": " + y.Stage
}

// Text is the whole answer as a mechanic reads it, in several lines.
func (y *Why) Text() string {
	var t english.Lines
	where := y.Name
	if y.Name != y.Vehicle {
		where += " (" + y.Vehicle + ")"
	}
	t.Line(0, "%s: %s", where, y.Headline())
	if y.Title != "" && !strings.EqualFold(y.Title, y.Rule) {
		t.Line(1, "%s", y.Title)
	}
	if y.NotJudged != nil && y.DoesNotApply == "" {
		t.Line(1, "not judged on: %s", y.NotJudged.On.line())
		t.Line(2, "missing: %s", strings.Join(y.NotJudged.Missing, ", "))
	}
	if y.Judged != nil {
		if m := y.Judged.Message; m != "" && !strings.EqualFold(m, y.Title) {
			t.Line(1, "%s", m)
		}
		y.Judged.write(&t)
	}
	if y.Masked != "" {
		t.Line(1, "masked: %s", y.Masked)
	}
	if y.Due != nil {
		y.Due.write(&t)
	}
	if y.Judged == nil && y.Due == nil && y.Last != nil {
		t.Line(1, "%s", y.Last.Message)
		writeEvidence(&t, y.Last.Evidence)
	}
	if y.Last != nil {
		t.Line(1, "last change: %s  %s, %s to %s, by book %s", y.Last.Time.Format("2006-01-02 15:04"), y.Last.Transition, y.Last.From, y.Last.To, shortHash(y.Last.Book))
	}
	t.Line(1, "book in force: %s", shortHash(y.Book))
	return t.String()
}

// shortHash is enough of a book's hash to tell it from others.
func shortHash(h string) string {
	const enough = len("sha256:") + 12
	return h[:min(len(h), enough)]
}

func writeEvidence(t *english.Lines, list []rules.Evidence) {
	for _, e := range list {
		s := e.Of + " = " + english.Number(e.Value)
		if e.Unit != "" {
			s += " " + e.Unit
		}
		if e.Note != "" {
			s += "  (" + e.Note + ")"
		}
		t.Line(2, "%s", s)
	}
}

func (j *WhyJudged) write(t *english.Lines) {
	t.Line(1, "judged on: %s", j.On.line())
	if j.Measure != nil {
		t.Line(1, "measure: %s = %s", english.OneLine(j.Condition), english.Number(*j.Measure))
		for _, l := range j.Limits {
			t.Line(2, "%s", l.words())
			writeSource(t, 3, l.Source)
		}
	} else {
		t.Line(1, "raised when: %s", english.OneLine(j.Condition))
		t.Line(2, "which is %s", map[bool]string{true: "so", false: "not so"}[*j.Raise])
		writeSource(t, 2, j.Source)
	}
	t.Line(1, "reckoned with:")
	writeEvidence(t, j.Evidence)
	if j.Baseline != nil {
		t.Line(1, "baseline: %s", j.Baseline.words())
	}
	if len(j.Events) > 0 {
		t.Line(1, "from the events:")
		for i := range j.Events {
			t.Line(2, "%s", j.Events[i].line())
		}
	}
}

// source says where a figure comes from, where anybody does.
func writeSource(t *english.Lines, indent int, from string) {
	if from != "" {
		t.Line(indent, "source: %s", from)
	}
}

func (b *WhyBaseline) words() string {
	s := b.Name
	for _, a := range slices.Sorted(maps.Keys(b.Mean)) {
		s += fmt.Sprintf(", mean of %s %s", a, english.Number(b.Mean[a]))
		if sd, ok := b.Spread[a]; ok {
			s += " ± " + english.Figures(sd)
		}
	}
	if b.FluidAge != nil {
		s += ", for fluid of " + english.Quantity(b.FluidAge)
	}
	for _, a := range slices.Sorted(maps.Keys(b.Fresh)) {
		s += fmt.Sprintf(", fresh fluid has %s %s", a, english.Number(b.Fresh[a]))
	}
	if b.Source != "" {
		s += "; source: " + b.Source
	}
	return s
}

func (l *WhyLimit) words() string {
	side, back := "or more", "below"
	if l.Below {
		side, back = "or less", "above"
	}
	s := fmt.Sprintf("%-8s at %s %s: ", l.Stage, english.Number(l.At), side)
	switch {
	case l.On && l.Off != l.At:
		s += fmt.Sprintf("on; goes off %s %s", back, english.Number(l.Off))
	case l.On:
		s += "on"
	default:
		s += "off"
	}
	if l.Takes > 1 && !l.On {
		s += fmt.Sprintf(" (%d of %d samples in a row)", l.Count, l.Takes)
	}
	return s
}

// write tells how the due point came about, limit by limit.
func (r *Reckoning) write(t *english.Lines) {
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
		t.Line(1, "last done: nobody knows; %s", r.Policy)
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
		t.Line(1, "%s%s%s", p.words(), byEvent(p.By), moved)
	}
	for i := range r.Limits {
		r.Limits[i].write(t)
	}
	if r.Likely != "" {
		t.Line(1, "likely reached: about %s (between %s and %s)", r.Likely, r.Early, r.Late)
	}
}

func byEvent(id *ID) string {
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
	writeSource(t, 2, l.Source)
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
