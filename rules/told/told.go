// Package told puts the parts of a rule book into words, for people who read no YAML: what
// a rule looks at, from where on it speaks, what has it ease; when work is due, and what it
// brings. It is pure, and says nothing of how a vehicle stands.
package told

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// Line is one thing that a part of a book says.
type Line struct {
	Label, Text string
	// Source says where its figures come from; "" where nobody says, or there are none.
	Source string
	// Code: the text ends with what is written as in the file.
	Code bool
}

// Limit is one stage of a rule: from where on it stands, and from where on no more.
type Limit struct {
	Stage   int    // 1 to 3
	At, Off string // in the reader's units; Off is "" where it is At
	// Code: At is as it is written in the file, and reckoned anew each time.
	Code bool
	// Takes is how many judged samples in a row it takes.
	Takes  int
	Source string
}

// Teller writes for one reader.
type Teller struct {
	english.Reader
	Book *rules.Book
}

// amounts writes the limits of a set, the last two of which may be alternatives ("or") or go
// together.
func (t Teller) amounts(l rules.Limits) string {
	var parts []string
	if l.Distance > 0 {
		parts = append(parts, t.Stated(l.Distance, unit.Distance, english.Digits(l.Distance, "km", "mi")))
	}
	if l.Hours > 0 {
		parts = append(parts, t.Amount(l.Hours, unit.Time))
	}
	var time []string
	if l.Months > 0 {
		time = append(time, english.Plural(l.Months, "month"))
	}
	if l.Days > 0 {
		time = append(time, english.Days(l.Days))
	}
	if time != nil {
		parts = append(parts, strings.Join(time, " and "))
	}
	return english.List("or", parts)
}

// lines are those that say something.
type lines []Line

func (l *lines) add(label, text, source string) {
	if text != "" {
		*l = append(*l, Line{Label: label, Text: english.Sentence(text), Source: source})
	}
}

// names adds names, which are no sentence.
func (l *lines) names(label, last string, list []string) {
	if len(list) > 0 {
		*l = append(*l, Line{Label: label, Text: english.List(last, list)})
	}
}

// part is what tasks, rules and baselines have in common: of what the part is kept.
func (l *lines) part(p *rules.Part) {
	switch {
	case p.Where != nil:
		*l = append(*l, Line{Label: "For", Text: english.OneLine(p.Where.Text), Code: true})
	case p.PerComponent:
		l.add("For", "every component", "")
	default:
		l.add("For", "every vehicle", "")
	}
	l.names("In place of", "and", p.Over)
	l.names("Was called", "and", p.Was)
	for _, f := range p.ToFill {
		l.add("Not in use", f, "")
	}
}

// Limits are the stages of a rule, the mildest first; none of a pattern.
func (t Teller) Limits(r *rules.Rule) (out []Limit) {
	if !r.Measured {
		return nil
	}
	for stage := rules.Advisory; stage <= rules.Warning; stage++ {
		if !r.Has[stage] {
			continue
		}
		l := Limit{Stage: stage, Takes: r.Confirm[stage], Source: r.SourceOf(stage)}
		if v, ok := r.Limit(stage); ok {
			l.At = t.value(r, v)
			if off := t.value(r, r.Off(v)); off != l.At {
				l.Off = off
			}
		} else {
			l.At, l.Code = english.OneLine(r.LimitText(stage)), true
		}
		out = append(out, l)
	}
	return out
}

// value writes a number of the rule's measure.
func (t Teller) value(r *rules.Rule, v float64) string {
	e := word.Evidence{Of: r.Condition(), Value: v, Unit: r.MeasuredIn()}.In(t.Units)
	u := e.Unit
	if u == "" {
		if a, times, ok := r.OneAnalyte(); ok && !times {
			u = analytes.UnitOf(a)
		} else if name, ok := r.OneMeasure(); ok && t.Book.Measure(name) != nil {
			u = t.Book.Measure(name).Unit
		}
	}
	return strings.TrimSpace(english.Number(e.Value) + " " + english.Unit(u))
}

// Measure is what a rule measures or looks for: in words where it is one thing, else as it
// is written.
func Measure(r *rules.Rule) (words string, code bool) {
	e := word.Evidence{Of: strings.TrimSpace(r.Condition())}
	if told, _ := e.Told(); told != "" {
		return told, false
	}
	return strings.TrimSpace(r.Condition()), true
}

// Cautions are what to mind, a sentence each, of names of cautions.
func (t Teller) Cautions(names []string) (out []string) {
	own := t.Book.Own(names)
	for _, c := range names {
		out = append(out, english.Sentence(cmp.Or(own[c], rules.CautionWords(c), c)))
	}
	return out
}

// AllCautions are the names of the cautions of a rule, at whichever stage.
func AllCautions(r *rules.Rule) (names []string) {
	for _, of := range r.Cautions {
		for _, c := range of {
			if !slices.Contains(names, c) {
				names = append(names, c)
			}
		}
	}
	return names
}

// followUps says what is opened.
func (t Teller) followUps(l *lines, list []rules.FollowUp, source func(name string) string) {
	for _, f := range list {
		when := "after " + t.amounts(f.At)
		if f.Within {
			when = "within " + t.amounts(f.At)
		}
		text := cmp.Or(f.Title, f.Name) + ", " + when
		if f.BySample {
			text += "; a sample settles it"
		}
		if f.Lapses != (rules.Limits{}) {
			text += fmt.Sprintf("; dropped %s past that", t.amounts(f.Lapses))
		}
		l.add(opens(f.Stage), text, source(f.Name))
	}
}

// opens labels what a rule does at a stage, or at any.
func opens(stage int) string {
	if stage == 0 {
		return "Then to do"
	}
	return "Then to do, from " + rules.StageNames[stage]
}
