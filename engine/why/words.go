package why

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/expression"
	"telltale/rules/word"
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

func notApplied(where *expression.Condition, perComponent bool) string {
	switch {
	case where == nil && perComponent:
		return "it applies to components, and the vehicle has none"
	case where == nil:
		return "it does not apply to this vehicle"
	case perComponent:
		return fmt.Sprintf("no component of the vehicle matches `where: %s` (%s)", strings.TrimSpace(where.Text), where.At)
	}
	return fmt.Sprintf("the vehicle does not match `where: %s` (%s)", strings.TrimSpace(where.Text), where.At)
}

// Headline is the answer in a line: stage, what, and the words of the last change.
func (y *Why) Headline() string {
	return y.HeadlineIn(func(s alarm.Stage) string { return string(s) })
}

// HeadlineIn is it with the reader's words for stages.
func (y *Why) HeadlineIn(words func(alarm.Stage) string) string {
	s := y.Rule
	if y.Component != "" {
		s += " (" + y.Component + ")"
	}
	switch {
	case y.DoesNotApply != "":
		return s + ": does not apply; " + y.DoesNotApply
	case y.Stage == alarm.Normal && y.NotJudged != nil && y.Judged == nil:
		return s + ": not judged, missing: " + strings.Join(y.NotJudged.Missing, ", ")
	case y.Stage == alarm.Normal && y.InPart():
		return s + ": normal as far as it was judged, missing: " + strings.Join(y.NotJudged.Missing, ", ")
	case y.Standing == alarm.Returned && y.Due != nil:
		return s + ": OK, no longer due"
	case y.Standing == alarm.Returned:
		return s + ": OK again; nobody has acknowledged it yet"
	case y.Standing == alarm.Shelved:
		return s + ": " + words(y.Stage) + ", put aside"
	case y.Standing != "":
		return s + fmt.Sprintf(": %s, %s", words(y.Stage), y.Standing)
	}
	return s + ": " + words(y.Stage)
}

// InPart reports whether single limits lacked something at the event at which the others
// were judged.
func (y *Why) InPart() bool {
	return y.NotJudged != nil && y.Judged != nil && y.NotJudged.On.ID != nil && y.Judged.On.ID != nil && *y.NotJudged.On.ID == *y.Judged.On.ID
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
		how := "not judged on"
		if y.InPart() {
			how = "judged only in part on"
		}
		t.Line(1, "%s: %s", how, y.NotJudged.On.Line())
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
		y.Due.Write(&t)
	}
	if y.Judged == nil && y.Due == nil && y.Last != nil {
		t.Line(1, "%s", y.Last.Message)
		if y.Last.Advise != "" {
			t.Line(1, "what to do: %s", y.Last.Advise)
		}
		writeEvidence(&t, y.Last.Evidence)
	}
	if y.Last != nil {
		t.Line(1, "last change: %s  %s, %s to %s, by book %s", y.Last.Time.Format("2006-01-02 15:04"), y.Last.Transition, y.Last.From, y.Last.To, rules.ShortHash(y.Last.Book))
	}
	t.Line(1, "book in force: %s", rules.ShortHash(y.Book))
	return t.String()
}

func writeEvidence(t *english.Lines, list []word.Evidence) {
	for _, e := range list {
		s := e.Of + " = " + english.Number(e.Value)
		if e.Unit != "" {
			s += " " + english.Unit(e.Unit)
		}
		if e.Note != "" {
			s += "  (" + e.Note + ")"
		}
		t.Line(2, "%s", s)
	}
}

func (j *Judged) write(t *english.Lines) {
	t.Line(1, "judged on: %s", j.On.Line())
	if j.Measure != nil {
		t.Line(1, "measure: %s = %s", english.OneLine(j.Condition), j.MeasureWords())
		for _, l := range j.Limits {
			t.Line(2, "%s", l.words(j.Unit))
			due.WriteSource(t, 3, l.Source)
		}
	} else {
		t.Line(1, "raised when: %s", english.OneLine(j.Condition))
		t.Line(2, "which is %t", *j.Raise)
		due.WriteSource(t, 2, j.Source)
	}
	t.Line(1, "based on:")
	writeEvidence(t, j.Evidence)
	if j.Baseline != nil {
		t.Line(1, "baseline: %s", j.Baseline.Words())
	}
	if len(j.Events) > 0 {
		t.Line(1, "events:")
		for i := range j.Events {
			t.Line(2, "%s", j.Events[i].Line())
		}
	}
}

// Words are what of the baseline the rule asks, and where it is from.
func (b *Baseline) Words() string {
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

// inUnit is a number with its unit, "" for none.
func inUnit(v float64, u string) string {
	return strings.TrimSpace(english.Number(v) + " " + english.Unit(u))
}

func (l *Limit) words(in string) string {
	return fmt.Sprintf("%-8s %s: %s", l.Stage, l.Where(in), l.State(in))
}

// Where is what the measure must come to, in the judgement's unit: "at 3 or more".
func (l *Limit) Where(in string) string {
	if l.Below {
		return "at " + inUnit(l.At, in) + " or less"
	}
	return "at " + inUnit(l.At, in) + " or more"
}

// State is whether the limit is on, and what it takes to go off, or on.
func (l *Limit) State(in string) string {
	back := "below"
	if l.Below {
		back = "above"
	}
	switch {
	case l.On && l.Off != l.At:
		return fmt.Sprintf("on; goes off %s %s", back, inUnit(l.Off, in))
	case l.On:
		return "on"
	case l.Takes > 1:
		return fmt.Sprintf("off (%d of %d samples in a row)", l.Count, l.Takes)
	}
	return "off"
}

// MeasureWords are the measure in its unit; "" of a pattern.
func (j *Judged) MeasureWords() string {
	if j.Measure == nil {
		return ""
	}
	return inUnit(*j.Measure, j.Unit)
}
