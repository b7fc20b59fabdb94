package told

import (
	"fmt"
	"slices"
	"strings"

	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Task is what a task says, beside its cautions.
func (t Teller) Task(k *rules.Task) []Line {
	var l lines
	l.add("Due", t.due(k), k.Sources.Of("every"))
	if k.First != (rules.Limits{}) {
		l.add("The first time", t.amounts(k.First), k.Sources.Of("first"))
	}
	l.part(&k.Part)
	if k.Meter != "" {
		l.names("Counted by", "", []string{k.Meter})
	}
	if k.Early != (rules.Limits{}) {
		l.add("Soon", t.amounts(k.Early)+" before", k.Sources.Of("early"))
	}
	l.add("Overdue", t.tolerance(k), k.Sources.Of("tolerance"))
	if k.Shorten != nil {
		l = append(l, Line{"The interval times", english.OneLine(k.Shorten.Text), k.Sources.Of("shorten"), true})
	}
	l.add("Without a record", [...]string{
		rules.HistoryDue: "due at once", rules.HistoryFirstReading: "counted from the first reading",
		rules.HistoryInService: "counted from the day it came into service"}[k.History], "")
	if k.FromSchedule {
		l.add("Counted from", "the schedule: work within the tolerance does not move it", "")
	}
	if k.BySample {
		l.add("Settled by", "a sample of the component, or work that lists it", "")
	}
	if k.Statutory {
		l.add("Law", "required by law, so it cannot be postponed", "")
	}
	if k.Share > 0 {
		l.add("Renews", english.Number(k.Share*100)+" % of the fluid, where the work does not say", k.Sources.Of("share"))
	}
	l.add("Have ready", english.List("and", t.needs(k.Needs)), k.Sources.Of("needs"))
	l.names("Done with", "or", slices.DeleteFunc(slices.Clone(k.In), func(n string) bool { return n == k.Name }))
	t.followUps(&l, k.FollowUps, func(name string) string { return k.Sources.Of("follow up " + name) })
	return l
}

// due says when the work is due.
func (t Teller) due(k *rules.Task) string {
	if k.Reported {
		return "when somebody reports a defect"
	}
	every, each := k.Every, k.Year != (rules.DayOfYear{})
	if each {
		every.Months = 0 // the year's
	}
	var parts []string
	if a := t.amounts(every); a != "" {
		parts = append(parts, "every "+a)
	}
	if each {
		parts = append(parts, fmt.Sprintf("each year on %d %s", k.Year.Day, k.Year.Month))
	}
	for _, w := range k.Until {
		parts = append(parts, fmt.Sprintf("when %s comes to %s %s", w.Measure, english.Number(w.Stated.Value), english.Unit(w.Stated.Unit)))
	}
	text := strings.Join(parts, " or ")
	if strings.Contains(text, " or ") {
		text += ", whichever comes first"
	}
	return text
}

func (t Teller) tolerance(k *rules.Task) string {
	switch {
	case k.Tolerance.Share > 0:
		return fmt.Sprintf("%s %% of the interval past the due point", english.Number(k.Tolerance.Share*100))
	case k.Tolerance.Fixed != (rules.Limits{}):
		return t.amounts(k.Tolerance.Fixed) + " past the due point"
	case k.Reported:
		return "never"
	}
	return "as soon as it is past the due point"
}

func (t Teller) needs(list []rules.Need) (out []string) {
	for _, n := range list {
		switch {
		case n.Fluid != "":
			out = append(out, n.Fluid+" "+t.Amount(n.Volume, unit.Volume))
		case n.Count > 1:
			out = append(out, fmt.Sprintf("%d × %s", n.Count, n.Part))
		default:
			out = append(out, n.Part)
		}
	}
	return out
}

// Baseline is what a baseline says, beside its figures.
func (t Teller) Baseline(b *rules.Baseline) []Line {
	var l lines
	l.part(&b.Part)
	switch {
	case b.Fleet != nil:
		l.add("Made from", "this fleet's own samples, in groups that share "+english.List("and", b.Fleet.GroupBy), "")
		l.add("Used from", fmt.Sprintf("%s of %s", english.Plural(b.Fleet.Samples, "result"), english.Plural(b.Fleet.Vehicles, "vehicle")), "")
		if last := t.amounts(b.Fleet.Last); last != "" {
			l.add("Looks back", last, "")
		}
	case b.FluidAge != (rules.Limits{}):
		l.add("For fluid of", t.amounts(b.FluidAge), b.Sources.Of("fluid age"))
	}
	if b.Starting {
		l.add("Counts", "until there is anything better", "")
	}
	return l
}
