package ask

import (
	"fmt"
	"strings"

	"telltale/engine/fleet"
	"telltale/engine/lab"
	"telltale/rules/english"
	"telltale/rules/unit"
)

const noLimits = "nothing to compare: no rule limits the value, or times the baseline, of one analyte where a baseline is made from the fleet"

// limitLines writes a rule's limits on a group as a terminal shows them, to who reads so.
func limitLines(reads unit.System) func(fleet.Audited) string {
	return func(a fleet.Audited) string { return auditLines(a, shownIn(a.Analyte, reads)) }
}

func auditLines(a fleet.Audited, in shown) string {
	var b strings.Builder
	of := strings.Join(a.Of, ", ")
	if of == "" {
		of = "all together"
	}
	fmt.Fprintf(&b, "%s, on %s of %s (%s)\n", a.Rule, english.Plural(a.Components, "component"), a.Baseline, of)
	fmt.Fprintf(&b, "  %s", in.name)
	if a.Set != "" {
		fmt.Fprintf(&b, ", number %d of %s: %s of %s", a.Number, a.On, english.Plural(a.Results, "result"), english.Plural(a.Vehicles, "vehicle"))
	}
	for i := range a.Stages {
		b.WriteString("\n    " + limitWords(&a, &a.Stages[i], in))
	}
	var own []string
	for _, p := range a.Percentiles {
		own = append(own, fmt.Sprintf("%g of 100 stay under %s", p.Of, spanWords(*in.span(&p.Value))))
	}
	if own != nil {
		b.WriteString("\n    the fleet's own: " + strings.TrimSpace(strings.Join(own, "; ")+" "+english.Unit(in.unit)))
	}
	for _, why := range a.Why {
		b.WriteString("\n    not known: " + why)
	}
	return b.String()
}

// limitWords are one limit, and the results that reach it.
func limitWords(a *fleet.Audited, l *fleet.Limit, in shown) string {
	u := english.Unit(in.unit)
	s := l.Stage + " from " + strings.TrimRight(english.Figures(in.value(l.Limit))+" "+u, " ")
	if a.Times {
		s = l.Stage + " from " + english.Figures(l.Limit) + " times the mean"
	}
	if l.At == nil {
		return s
	}
	if a.Times {
		s += strings.TrimRight(", "+spanWords(*in.span(l.At))+" "+u, " ")
	}
	percent := lab.Span{Low: 100 * l.Share.Low, High: 100 * l.Share.High}
	return s + fmt.Sprintf(": %s of %s reach it, %s %%", spanWords(*l.Beyond), english.Plural(a.Results, "result"), spanWords(percent))
}
