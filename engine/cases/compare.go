package cases

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/rules"
)

// compare pairs what a case expects with what came: each expected transition with
// the first that fits it and no other. What people answered, where it is not
// expected, is their own doing and no finding.
func compare(c *rules.Case, got []*alarm.Transition) []Row {
	got = slices.DeleteFunc(slices.Clone(got), func(t *alarm.Transition) bool { return !speaksOf(c, t.Rule) })
	expected := make([]string, len(got)) // by what came; "" where nobody expected it
	var rows []Row
	for i := range c.Expect {
		e := &c.Expect[i]
		text := said(e.Vehicle, e.Component, e.Rule, e.Transition, e.To)
		j := 0
		for j < len(got) && (expected[j] != "" || !fits(e, got[j])) {
			j++
		}
		if j == len(got) {
			rows = append(rows, Row{Date: e.On, Expected: text})
			continue
		}
		expected[j] = text
	}
	for j, t := range got {
		if expected[j] != "" || !answered(t) {
			text := said(t.Vehicle, t.Component, t.Rule, string(t.Transition), string(t.To))
			rows = append(rows, Row{Date: date(t), Expected: expected[j], Got: text})
		}
	}
	slices.SortStableFunc(rows, func(a, b Row) int { return strings.Compare(a.Date, b.Date) })
	return rows
}

func date(t *alarm.Transition) string { return t.Time.UTC().Format("2006-01-02") }

func answered(t *alarm.Transition) bool {
	return t.Transition == alarm.NowAcknowledged || t.Transition == alarm.NowShelved || t.Transition == alarm.Unshelved
}

func fits(e *rules.Expect, t *alarm.Transition) bool {
	is := func(want, got string) bool { return want == "" || want == got }
	return e.On == date(t) && e.Rule == t.Rule && is(e.Vehicle, t.Vehicle) && is(e.Component, t.Component) &&
		is(e.To, string(t.To)) && is(e.Transition, string(t.Transition))
}

// said is a transition in words, of which an expectation may leave some out.
func said(vehicle, component, rule, transition, to string) string {
	return strings.Join(slices.DeleteFunc([]string{vehicle, component, rule + ":", transition, to}, func(s string) bool { return s == "" }), " ")
}

// String tells how the case failed: its faults, or expected beside got in order of
// time, with a mark where they differ. It is empty for a case that came out.
func (r *Result) String() string {
	if r.OK() {
		return ""
	}
	if len(r.Faults) > 0 {
		return fmt.Sprintf("case %q cannot be run:\n%v", r.Case.Name, r.Faults)
	}
	width := len("expected")
	for _, row := range r.Rows {
		width = max(width, len([]rune(row.Expected)))
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s: case %q fails\n", r.Case.At, r.Case.Name)
	fmt.Fprintf(&b, "    %-10s  %-*s  %s\n", "", width, "expected", "got")
	for _, row := range r.Rows {
		mark := " "
		if !row.agrees() {
			mark = "!"
		}
		line := fmt.Sprintf("  %s %s  %-*s  %s", mark, row.Date, width, cmp.Or(row.Expected, "-"), cmp.Or(row.Got, "-"))
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	for _, n := range r.Notes {
		fmt.Fprintf(&b, "  note: %s\n", n)
	}
	return strings.TrimSuffix(b.String(), "\n")
}
