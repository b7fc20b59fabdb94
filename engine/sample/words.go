package sample

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/judge"
	"telltale/engine/record"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/unit"
)

const (
	earlierUnjudged = "raised by an earlier sample; the rule could not be judged on this one"
	blind           = "Metals are measured in solution: particles larger than about 5 to 8 µm (thousandths of a millimetre) hardly show. A sheet without findings does not prove that nothing is wearing; look at the magnet and the filter too."
	perMillion      = "mg/kg is milligrams per kilogram of fluid, the same as parts per million (ppm). \"Times the baseline\" is how many times the usual value."
	standAbove      = "The maker's instructions, local law and the judgement of a licensed mechanic come before this."
)

// checks counts checks: "one check", "5 checks".
func checks(n int) string {
	if n == 1 {
		return "one check"
	}
	return english.Plural(n, "check")
}

// meanings are how soon to act on a stage.
var meanings = map[alarm.Stage]string{
	alarm.Warning:  "act now.",
	alarm.Caution:  "act on it, though not this minute.",
	alarm.Advisory: "good to know, nothing to do right away.",
}

// SummaryBy is the summary with another word for the stage; it is the same where nothing
// stands.
func (v *Verdict) SummaryBy(stage string) string {
	if means := meanings[v.Stage]; means != "" {
		return stage + ": " + means
	}
	return v.Summary
}

func (v *sampleVerdict) summary() string {
	switch {
	case v.Stage != alarm.Normal:
		return english.Capital(string(v.Stage)) + ": " + meanings[v.Stage]
	case v.Judged == 0 && len(v.NotJudged) == 0:
		return "Not judged: no rule reads samples of this component."
	case v.Judged == 0:
		return "Not judged: every check lacks something; see below."
	case len(v.Unread) > 0 && len(v.NotJudged) <= v.Judged:
		return fmt.Sprintf("The %s that could be made found nothing, but no rule looks at %s.", checks(v.Judged), v.unreadWords())
	case len(v.NotJudged) > 0:
		return fmt.Sprintf("%d of %d checks could not be made; the other %d found nothing.", len(v.NotJudged), len(v.NotJudged)+v.Judged, v.Judged)
	case v.Judged == 1:
		return "Normal: the one check found nothing."
	}
	return fmt.Sprintf("Normal: all %s found nothing.", english.Plural(v.Judged, "check"))
}

// unreadWords name the first few.
func (v *Verdict) unreadWords() string {
	const shown = 4
	var out []string
	for _, a := range v.Unread[:min(len(v.Unread), shown)] {
		out = append(out, v.named(a))
	}
	if more := len(v.Unread) - shown; more > 0 {
		out = append(out, fmt.Sprintf("%d more", more))
	}
	return english.List("and", out)
}

// notes are what to know to read the figures rightly.
func (v *sampleVerdict) notes() []string {
	var out []string
	if n := v.olderThanBaseline(); n > 0 {
		out = append(out, english.Capital(judge.OlderWords(n))+".")
	}
	if e := v.t.LastExchange(len(v.t.Steps) - 1); e >= 0 {
		if d := v.t.Steps[e].Service.Fluid; d != nil {
			if why := record.OddShare(d, v.x.Def, v.view.Said()); why != "" {
				out = append(out, "At the last drain "+why)
			}
		}
		if v.t.Lab[e].Stated {
			out = append(out, english.Capital(v.x.StatedWords(e))+".")
		}
	}
	if v.Doubt != "" {
		out = append(out, v.Doubt)
	}
	if s := v.consumed(); s != "" {
		out = append(out, s)
	}
	for _, r := range v.Results {
		if a, ok := analytes.Find(r.Analyte); ok && a.Kind == unit.Concentration {
			return append(out, perMillion, blind)
		}
	}
	return out
}

// doubted says that the sheet is rather of another fluid; "" where it is not.
func (v *sampleVerdict) doubted() string {
	if n, _, ok := v.x.Nearest(); ok && n.Clearly() {
		return "This sheet looks like " + n.Words() + ". Ask whose bottle it is before you act on this sheet."
	}
	return ""
}

// olderThanBaseline is the fluid's age over the baseline's where it is 1.5 or more.
func (v *sampleVerdict) olderThanBaseline() float64 {
	if n, _, ok := v.x.Older(); ok && n >= 1.5 {
		return n
	}
	return 0
}

func (f *Forecast) words(fluid string) string {
	what := "the fluid"
	if fluid != "" {
		what = fluid
	}
	run := fmt.Sprintf("%s to %s", unit.Grouped(f.Least.Value), english.Quantity(&f.Likely))
	if f.Most != nil {
		run = fmt.Sprintf("%s to %s, likely %s", unit.Grouped(f.Least.Value), english.Quantity(f.Most), english.Quantity(&f.Likely))
	}
	when := "after " + english.Quantity(&f.Drain) + " more"
	if f.Drain.Value == 0 {
		when = "now"
	}
	s := fmt.Sprintf("If it goes on as in the last %d samples, %s reaches the %s limit of %q first, in %s (estimated from %d samples, the pace lies within such bounds %s). Draining %s keeps it below that limit, with a tenth in reserve",
		f.Samples, what, f.Stage, f.Rule, run, f.Samples, f.holds(), when)
	if f.Capped {
		s += " (capped at twice the greatest age ever sampled)"
	}
	return s + ". This is a suggestion: a person decides, and never against the maker's instructions or the law."
}

// holds is Sure in words.
func (f *Forecast) holds() string {
	switch f.Samples {
	case 3:
		return "two times in three"
	case 4:
		return "11 times in 12"
	}
	return "19 times in 20"
}

// headline is the verdict in a line.
func (v *Verdict) headline() string {
	return fmt.Sprintf("%s, %s: sample %s of %s: %s", v.where(), v.Component, v.Number, v.Drawn, v.Summary)
}

// measured is by whom, how, from where, and in which revision of the report.
func (v *Verdict) measured() string {
	var parts []string
	add := func(what, s string) {
		if s != "" {
			parts = append(parts, what+s)
		}
	}
	add("by the laboratory ", v.Laboratory)
	add("method ", v.Method)
	add("drawn at the ", v.Point)
	if v.Corrected {
		add("corrected report, revision ", strconv.Itoa(v.Revision))
	}
	return strings.Join(parts, ", ")
}

// where is the vehicle, by its name for people.
func (v *Verdict) where() string {
	if v.Name != v.Vehicle {
		return v.Name + " (" + v.Vehicle + ")"
	}
	return v.Name
}

// Named is the analyte as people read it: "copper (Cu)".
func (r *Result) Named() string {
	if r.Title == "" || r.Title == r.Analyte {
		return analytes.Named(r.Analyte)
	}
	return r.Title + " (" + r.Analyte + ")"
}

// named is one of the sheet's analytes as people read it.
func (v *Verdict) named(analyte string) string {
	for i := range v.Results {
		if v.Results[i].Analyte == analyte {
			return v.Results[i].Named()
		}
	}
	return analytes.Named(analyte)
}

// words is a result in a line: the name, as reported, and against what.
func (r *Result) words() string {
	s := fmt.Sprintf("%-30s %s", r.Named(), r.Reported)
	if more := r.Beside(); len(more) > 0 {
		s += "; " + strings.Join(more, "; ")
	}
	return s
}

// Beside is what there is to say of a result: why it is not judged, or what it is compared
// with, how it changed and what would bring it down.
func (r *Result) Beside() (more []string) {
	if r.Why != "" {
		more = append(more, "not judged: "+r.Why)
	}
	if r.Analyses > 1 && r.Low != nil {
		more = append(more, fmt.Sprintf("one of %d analyses, together %s", r.Analyses, r.together()))
	}
	if r.Times != nil {
		more = append(more, r.timesWords())
	}
	if r.Excess != nil {
		more = append(more, english.Figures(*r.Excess)+" more than usual for its age")
	}
	if r.Average != nil {
		more = append(more, strings.TrimSpace("laboratory's average "+english.Figures(*r.Average)+" "+english.Unit(r.Unit)))
	}
	if r.Kept != nil {
		more = append(more, keptWords(r.Analyte, *r.Kept))
	}
	if r.Grade != nil {
		more = append(more, r.Grade.words())
	}
	if r.Index != nil {
		more = append(more, "viscosity index "+english.Short(*r.Index)+" (the higher, the less it thins when hot)")
	}
	if r.Change != nil {
		c := "within the method's error"
		if r.Real {
			c = "a real change"
		}
		more = append(more, english.Signed(*r.Change)+" since the previous sample, "+c)
	}
	if r.Usual != nil {
		more = append(more, r.Usual.words())
	}
	if r.Drains != nil {
		more = append(more, r.Drains.words(english.Unit(r.Unit)))
	}
	return more
}

// timesWords is how many times what is usual it is.
func (r *Result) timesWords() string {
	what := "the baseline"
	switch {
	case r.Starting:
		what = "a starting figure"
	case r.Printed:
		what = "the laboratory's average"
	}
	times := english.Short(*r.Times) + " times " + what
	switch {
	case r.Low == nil || *r.Low == *r.High:
		return times
	case *r.Low == 0:
		return "at most " + times
	}
	return "at least " + times
}

func (d *Drains) words(u string) string {
	more := "one more drain like the last"
	if d.Count > 1 {
		more = fmt.Sprintf("%d more drains like the last", d.Count)
	}
	s := fmt.Sprintf("%s (%s) would bring it to %s %s or less", more, english.Quantity(&d.Fluid), english.Figures(d.To), u)
	if d.Note == "" {
		return s + ", as long as no more of it gets in"
	}
	return s + ". " + d.Note
}

// keptWords is what is left of what the fresh fluid has.
func keptWords(analyte string, kept float64) string {
	off := math.Round(1000*math.Abs(kept-1)) / 10
	if a, _ := analytes.Find(analyte); a.Kind == unit.Viscosity && off > 0 {
		what := "thinner"
		if kept > 1 {
			what = "thicker"
		}
		return english.Number(off) + " % " + what + " than fresh"
	}
	return english.Short(100*kept) + " % of the fresh fluid's"
}

func (g *Grade) words() string {
	s := ""
	switch {
	case g.In:
		return "within " + g.Name
	case g.Out < 0:
		s = english.Figures(-g.Out) + " mm2/s too thin for " + g.Name
	case g.Out > 0:
		s = english.Figures(g.Out) + " mm2/s too thick for " + g.Name
	default:
		s = "just too thick for " + g.Name
	}
	if g.Of != nil {
		s += ", as thick as " + strings.Join(g.Of, " or ")
	}
	return s
}

// words say what is usual, so that "times the baseline" can be understood.
func (b *Baseline) words() string {
	s := b.Name + ", what is usual"
	if b.FluidAge != nil {
		s += " in fluid of " + english.Quantity(b.FluidAge)
	}
	return s + "; source: " + b.Source
}

func (u *Usual) words() string {
	s := map[int]string{1: ", more than usual", -1: ", less than usual"}[u.Outside]
	return fmt.Sprintf("made %s in %s%s (its own %d earlier samples: %s to %s)", english.Figures(u.Latest), u.Per, s, u.Rates, english.Figures(u.Low), english.Figures(u.High))
}

// together is the one result that repeated analyses are read as.
func (r *Result) together() string {
	u := english.Unit(r.Unit)
	switch {
	case *r.Low == *r.High:
		return english.Figures(*r.Low) + " " + u
	case *r.Low == 0:
		return "below " + english.Figures(*r.High) + " " + u
	}
	return "above " + english.Figures(*r.Low) + " " + u
}
