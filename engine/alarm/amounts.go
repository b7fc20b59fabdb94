package alarm

import (
	"fmt"
	"slices"
	"strings"

	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// Amount is a quantity within one of a transition's texts, so that the text can be written
// in the units of whoever reads it.
type Amount struct {
	In string `json:"in"` // "message", "advise", "evidence[2].note" or "due.pulledIn[0].within"
	english.Span
}

// Settle writes out the quantities of the texts, as whoever made them marked them, in
// units that people read of the vehicle, and keeps what they are. Evidence and the due
// point get base units. The transition must be nobody else's yet.
func (t *Transition) Settle(u unit.System) {
	t.Amounts = nil
	t.eachText(func(in place, text *string) {
		plain, spans := english.Written(*text, u)
		for _, s := range spans {
			t.Amounts = append(t.Amounts, Amount{in.String(), s})
		}
		*text = plain
	})
	t.Evidence = EvidenceIn(t.Evidence, unit.Metric)
	if d := t.Due; d != nil {
		d.At, d.InAll, d.Past = based(d.At), based(d.InAll), based(d.Past)
	}
}

// Worded is the transition with its texts in a reader's units. What was stored without its
// amounts keeps the words that it has.
func (t *Transition) Worded(u unit.System) *Transition {
	if len(t.Amounts) == 0 {
		return t
	}
	c := t.Marked()
	c.Settle(u)
	return c
}

// Marked is the transition as it was before [Transition.Settle] wrote out its texts.
func (t *Transition) Marked() *Transition {
	c := t.own()
	c.eachText(func(in place, text *string) { *text = english.Marked(*text, t.in(in)) })
	c.Amounts = nil
	return c
}

// in are the quantities of one of the texts.
func (t *Transition) in(p place) (out []english.Span) {
	name := p.String()
	for i := range t.Amounts {
		if t.Amounts[i].In == name {
			out = append(out, t.Amounts[i].Span)
		}
	}
	return out
}

// own is a copy of which the texts may be changed.
func (t *Transition) own() *Transition {
	c := *t
	c.Evidence = slices.Clone(t.Evidence)
	if t.Due != nil {
		d := *t.Due
		d.PulledIn = slices.Clone(d.PulledIn)
		c.Due = &d
	}
	return &c
}

// place is one of a transition's texts.
type place struct {
	before, after string
	at            int // -1 where there is only one
}

func (p place) String() string {
	if p.at < 0 {
		return p.before
	}
	return fmt.Sprintf("%s[%d]%s", p.before, p.at, p.after)
}

const evidence = "evidence"

// eachText goes through the texts that speak of quantities.
func (t *Transition) eachText(do func(in place, text *string)) {
	do(place{before: "message", at: -1}, &t.Message)
	do(place{before: "advise", at: -1}, &t.Advise)
	for i := range t.Evidence {
		do(place{evidence, ".note", i}, &t.Evidence[i].Note)
	}
	if t.Due == nil {
		return
	}
	do(place{before: "due.worn", at: -1}, &t.Due.Worn)
	for i := range t.Due.PulledIn {
		do(place{"due.pulledIn", ".within", i}, &t.Due.PulledIn[i].Within)
	}
}

// DropEvidence leaves out the evidence, which a rule's author can make of any length.
func (t *Transition) DropEvidence() {
	t.Evidence = nil
	t.Amounts = slices.DeleteFunc(slices.Clone(t.Amounts), func(a Amount) bool { return strings.HasPrefix(a.In, evidence) })
}

// EvidenceIn is the evidence in the units of a system.
func EvidenceIn(all []word.Evidence, u unit.System) []word.Evidence {
	var out []word.Evidence // made once something changes
	for i, e := range all {
		own := e.In(u)
		if own == e {
			continue
		}
		if out == nil {
			out = slices.Clone(all)
		}
		out[i] = own
	}
	if out == nil {
		return all
	}
	return out
}

func based(q *unit.Quantity) *unit.Quantity {
	if q == nil {
		return nil
	}
	in := q.In(unit.Metric)
	return &in
}
