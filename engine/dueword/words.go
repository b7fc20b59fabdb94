package dueword

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/defect"
	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/engine/record"
	"telltale/rules/english"
)

// Fill writes into a transition what a task says when it moves.
func Fill(v *judge.View, t *alarm.Transition, d *judge.Due, to int, causes []event.ID) {
	t.Title = d.Title()
	t.Statutory = d.Task != nil && d.Task.Statutory
	t.Message = t.Title + ": " + Say(v, d)
	if to == 0 {
		t.Message = t.Title + ": not due; " + Say(v, d)
		if d.Task != nil && d.Task.Reported {
			t.Message = t.Title + ": " + Say(v, d) + " any more"
		}
	}
	t.Due = point(v, d)
	t.Evidence = evidence(v, d)
	ids := causes
	from := []event.ID{d.By, d.Read.ID}
	if w := d.WornBy(d.Limit); w != nil {
		from = append(from, w.Event)
	}
	for _, p := range t.Due.PulledIn {
		if p.By != nil {
			from = append(from, *p.By)
		}
	}
	for _, r := range d.Defects {
		from = append(from, r.ID)
	}
	for _, id := range from {
		if id != (event.ID{}) && !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	t.Events = ids
	if to == 0 {
		return
	}
	t.Cautions = d.Cautions()
	t.OwnCautions = v.Book.Own(t.Cautions)
	if d.Task != nil {
		t.Source = d.Task.Sources.Of("every " + d.Limit.String())
	}
}

// Say says which limit decides and how far past or ahead it is.
func Say(v *judge.View, d *judge.Due) string {
	if d.Task != nil && d.Task.Reported {
		return defectWords(d)
	}
	if missing := wornMissing(d); d.Waiting && len(d.Worn) > 0 {
		return "the next date is not known yet: " + missing
	}
	if d.Waiting {
		return "counts from the first reading; none has come yet"
	}
	if d.NoHistory {
		return "no record of when it was last done; do it now, or enter the date"
	}
	parts := []string{limitWords(v, d)}
	if d.Untold != "" {
		parts = untoldWords(v, d)
	}
	byDate := d.Limit == interval.ByTime || d.Postponed != nil
	waits := byDate && d.Point.HasDate && d.Sure && d.Likely >= d.Point.Date // the date comes first
	switch {
	case d.Reached && d.Sure:
		parts = reachedWords(v, d)
	case d.Stage <= interval.Soon && d.Sure && !waits:
		reach := Reach(v, d)
		parts = append(parts, fmt.Sprintf("likely about %s (%s)", reach[1], between(reach)))
	}
	if worn := WornOf(v, d); worn != "" {
		parts = append(parts, worn)
	}
	if d.Postponed != nil {
		parts = append(parts, PostponedBy(d.Postponed))
	}
	for _, p := range v.PulledIn(d) {
		parts = append(parts, p.Words())
	}
	return strings.Join(parts, "; ")
}

// reachedWords say that a meter limit lies behind by now, going by the usage, beside the
// date where that comes first.
func reachedWords(v *judge.View, d *judge.Due) []string {
	past := fmt.Sprintf("probably already past %s (about %s); please read the %s", place(v, d.First, d.FirstAt), Reach(v, d)[1], d.First.Name)
	if d.Limit == interval.ByTime || d.Stage > interval.Soon {
		return []string{limitWords(v, d), past}
	}
	return []string{past}
}

func limitWords(v *judge.View, d *judge.Due) string {
	if d.Limit == interval.ByTime {
		n := int(d.Past)
		switch {
		case d.Stage == interval.Overdue:
			return fmt.Sprintf("overdue, was due on %s, %s ago", d.Point.Date, english.Days(n))
		case n == 0:
			return "due today, " + d.Point.Date.String()
		case n > 0:
			return fmt.Sprintf("was due on %s, %s ago", d.Point.Date, english.Days(n))
		}
		return fmt.Sprintf("due on %s, in %s", d.Point.Date, english.Days(-n))
	}
	if d.Meter == nil {
		return "the next date is not known yet"
	}
	hours := d.Meter.Hours
	at := d.Point.Distance
	if hours {
		at = d.Point.Hours
	}
	due, now := place(v, d.Meter, at), reads(v, d.Meter, d.Read, at)
	switch {
	case d.Stage == interval.Overdue:
		return fmt.Sprintf("overdue by %s, was due at %s; %s", v.Amount(d.Past, hours), due, now)
	case d.Past >= 0:
		return fmt.Sprintf("due at %s; %s", due, now)
	}
	return fmt.Sprintf("due at %s, in %s; %s", due, v.Amount(-d.Past, hours), now)
}

// untoldWords say that the distance cannot be told, beside what is known of the task.
func untoldWords(v *judge.View, d *judge.Due) []string {
	switch {
	case d.Stage > interval.Soon || d.Limit == interval.ByTime:
		return []string{limitWords(v, d), d.Untold}
	case d.Point.HasDate:
		return []string{d.Untold, "by the calendar due on " + d.Point.Date.String()}
	}
	return []string{d.Untold}
}

// defectWords tell what was reported and stands.
func defectWords(d *judge.Due) string {
	s := defect.Words(d.Defects)
	if d.Stage == interval.Overdue {
		s += "; overdue, was to be repaired within " + judge.CalendarTime(d.Plan.TolFixed)
	}
	return s
}

// LastDone is the date of the last time, or the policy that stands for it.
func LastDone(d *judge.Due) string {
	switch {
	case d.Last != nil:
		return d.Last.Date.String()
	case d.Task != nil && d.Task.Reported:
		return "not repaired yet"
	case d.NoHistory || d.From.Date.IsZero() && !d.Waiting && len(d.Worn) == 0:
		return alarm.NoHistory
	case len(d.Worn) > 0 && d.From.Date.IsZero():
		return "counted from its measurements"
	case d.Waiting:
		return "counted from the first reading"
	}
	return "counted from " + d.From.Date.String()
}

// PostponedBy is who moved the point, and why. Who gives no name is known by where
// the answer came from. "" where nobody did.
func PostponedBy(p *record.Postponed) string {
	switch {
	case p == nil:
		return ""
	case p.To > 0:
		return acceptedBy(p)
	}
	return "postponed by " + cmp.Or(p.By, p.ID.Source) + ": " + p.Why
}

func acceptedBy(p *record.Postponed) string {
	s := "moved to the point that a sample's forecast suggests, accepted by " + p.By
	if p.Why != "" {
		s += ": " + p.Why
	}
	return s
}
