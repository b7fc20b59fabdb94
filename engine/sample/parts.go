package sample

import (
	"strings"

	"telltale/rules/english"
)

// Part is what is said of a sheet, a sentence or less, under a label; Under is what belongs
// to it. A terminal shows a part as a line, a page as it has room.
type Part struct {
	Label string // "" for none
	Text  string
	Under []Part
}

// add appends a part, unless there is nothing to say.
func add(parts []Part, label, text string) []Part {
	if text == "" {
		return parts
	}
	return append(parts, Part{Label: label, Text: text})
}

// Measured says who measured how, how old the fluid is, and what it is compared with.
func (v *Verdict) Measured() []Part {
	out := add(nil, "measured", v.measured())
	if v.FluidAge != nil {
		s := english.Quantity(v.FluidAge)
		if v.MixedAge != nil {
			s += "; " + english.Quantity(v.MixedAge) + " if what earlier drains left behind counts by its share"
		}
		out = add(out, "fluid age", s)
	}
	if v.Baseline != nil {
		out = add(out, "baseline", v.Baseline.words())
	}
	if v.AverageAge != nil {
		out = add(out, "laboratory's averages", "what it prints as usual for fluid of "+english.Quantity(v.AverageAge))
	}
	return out
}

// Found says where a reason comes from.
func (r *Reason) Found() []Part {
	out := add(nil, "", r.Earlier)
	out = add(out, "likely sources, most likely first", strings.Join(r.PointsTo, ", "))
	return add(out, "where the limit comes from", r.Source)
}

// Sources say where the metals may come from that are more than usual.
func (v *Verdict) Sources() []Part {
	if v.Origin == nil {
		return nil
	}
	p := Part{Label: "where it may come from", Text: v.Origin.Words()}
	for _, s := range v.Origin.Notes() {
		p.Under = add(p.Under, "", s)
	}
	return []Part{p}
}

// Next says what is to follow, what the work before did, and how the fluid goes on.
func (v *Verdict) Next() (out []Part) {
	for _, s := range v.FollowUps {
		out = add(out, "to follow", s)
	}
	if v.Work != nil {
		out = append(out, v.Work.part())
	}
	if v.Forecast != nil {
		out = add(out, "forecast", v.Forecast.Says)
	}
	return out
}

// Offered is another point for the work that renews the fluid, or why there is none.
func (v *Verdict) Offered() (out []Part) {
	if v.Offer != nil {
		out = add(out, "offer", v.Offer.Says)
	}
	return add(out, "", v.NoOffer)
}

// LabelNotJudged stands before a rule that could not be judged.
const LabelNotJudged = "not judged"

// Unseen says which rules were not judged and why, and what no rule looks at.
func (v *Verdict) Unseen() (out []Part) {
	for _, u := range v.NotJudged {
		out = add(out, LabelNotJudged, u.Rule+" (missing: "+strings.Join(u.Missing, ", ")+")")
	}
	var all []string
	for _, a := range v.Unread {
		all = append(all, v.named(a))
	}
	return add(out, "no rule looks at", strings.Join(all, ", "))
}

// Text is the whole verdict as a mechanic reads it, in several lines.
func (v *Verdict) Text() string {
	var t english.Lines
	t.Line(0, "%s", v.headline())
	write(&t, 1, v.Measured())
	for i := range v.Reasons {
		v.Reasons[i].write(&t)
	}
	if v.Further > 0 {
		t.Line(1, "and %d more", v.Further)
	}
	write(&t, 1, v.Sources())
	write(&t, 1, v.Next())
	write(&t, 1, v.Offered())
	t.Line(1, "results:")
	for i := range v.Results {
		t.Line(2, "%s", v.Results[i].words())
	}
	write(&t, 1, v.Unseen())
	for _, n := range v.Notes {
		t.Line(1, "note: %s", n)
	}
	t.Line(1, "%s", standAbove)
	return t.String()
}

func (r *Reason) write(t *english.Lines) {
	t.Line(1, "%s: %s", r.Stage, r.Message)
	write(t, 2, r.Found())
	write(t, 2, add(nil, "", r.Advise))
	write(t, 2, add(nil, "safety", strings.Join(r.Cautions, ", ")))
}

// write writes the parts a line each, and what belongs to them beneath.
func write(t *english.Lines, indent int, parts []Part) {
	for _, p := range parts {
		s := p.Text
		if p.Label != "" {
			s = p.Label + ": " + s
		}
		t.Line(indent, "%s", s)
		write(t, indent+1, p.Under)
	}
}
