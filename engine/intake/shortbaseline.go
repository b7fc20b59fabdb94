package intake

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"telltale/engine"
	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// ShortBaseline reads the short form of a baseline of the fleet, which stands for the
// samples that it is made from:
//
//	2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus age 11000km Fe 21 Pb 1 2 <2
//
// Each `of` is what the group shares, in the order in which the book groups by it. One
// number is that of as many samples and vehicles as the book asks for, or as `samples`
// says; several are a sample each. It is false of a line that is no baseline; what is
// wrong is a *[ShortFault].
func ShortBaseline(line string, b *rules.Book) (part engine.SurveyPart, is bool, err error) {
	words, err := split(line)
	if err != nil || len(words) < 2 || words[1].quoted || words[1].text != "baseline" {
		return engine.SurveyPart{}, false, nil
	}
	p := &baselineReader{shortReader: shortReader{words: words, units: b.Units, end: len([]rune(line)) + 1},
		like: engine.SurveySample{Distance: -1, Hours: -1}, results: map[string][]engine.SurveyResult{}}
	now := p.time("the date")
	p.at++
	p.named(b)
	for p.more() {
		p.key(p.word(""))
	}
	if p.err == nil && p.def != nil && len(p.like.Group) != len(p.def.GroupBy) {
		p.fault(words[1], "it groups by %s: wanted %d times `of`, not %d", strings.Join(p.def.GroupBy, ", "), len(p.def.GroupBy), len(p.like.Group))
	}
	if p.err != nil {
		return engine.SurveyPart{}, true, p.err
	}
	return engine.SurveyPart{Turn: now.Format(time.RFC3339), Now: now, Book: b.Hash, Samples: p.samplesOf()}, true, nil
}

// baselineReader reads what is usual in one group.
type baselineReader struct {
	shortReader
	def     *rules.Fleet
	like    engine.SurveySample // what all samples of the group have alike
	samples int                 // 0: as many as the book asks for
	order   []string            // of analytes
	results map[string][]engine.SurveyResult
}

func (p *baselineReader) named(b *rules.Book) {
	w := p.word("the name of a baseline that is made from the fleet")
	var known []string
	for _, bl := range b.Baselines {
		if bl.Fleet != nil && bl.Name == w.text {
			p.def, p.like.Baseline = bl.Fleet, bl.Name
			return
		}
		if bl.Fleet != nil {
			known = append(known, strconv.Quote(bl.Name))
		}
	}
	if known == nil {
		p.fault(w, "no baseline of the book is made from the fleet")
		return
	}
	p.fault(w, "%q is no baseline that is made from the fleet (those are %s)", w.text, strings.Join(known, ", "))
}

func (p *baselineReader) key(w word) {
	switch {
	case w.text == "of":
		p.like.Group = append(p.like.Group, p.next("what the group shares"))
	case w.text == "age":
		q := p.quantity("the fluid's age", p.units.Distance)
		v, kind, err := q.Base()
		switch {
		case err == nil && kind == unit.Time:
			p.like.Hours = v
		case err == nil && kind == unit.Distance:
			p.like.Distance = v
		default:
			p.fault(w, "a fluid's age is a distance or a time, not %s", q)
		}
	case w.text == "samples":
		n := p.word("how many samples")
		var err error
		if p.samples, err = strconv.Atoi(n.text); err != nil || p.samples < 1 || p.samples > mostSamples {
			p.fault(n, "%q is not a number of samples from 1 to %d", n.text, mostSamples)
		}
	case analytes.Known(w.text):
		p.order = append(p.order, w.text)
		p.value(w.text)
		for p.more() && isResult(p.words[p.at].text) {
			p.value(w.text)
		}
	default:
		p.fault(w, "%q is not known here", w.text)
	}
}

// mostSamples is more than any group of a case needs.
const mostSamples = 1000

func isResult(s string) bool {
	_, err := strconv.ParseFloat(strings.TrimPrefix(s, "<"), 64)
	return err == nil
}

func (p *baselineReader) value(analyte string) {
	at := p.at
	d := p.result(analyte)
	if p.err != nil {
		return
	}
	r := engine.SurveyResult{Analyte: analyte, Below: d.Below != nil}
	v := d.Value
	if r.Below {
		v = d.Below
	}
	var err error
	if r.Value, err = lab.Normalise(analyte, *v, d.Unit, 0); err != nil {
		p.fault(p.words[at], "%v", err)
	}
	p.results[analyte] = append(p.results[analyte], r)
}

// samplesOf are the samples that the line stands for.
func (p *baselineReader) samplesOf() []engine.SurveySample {
	alike := p.def.Samples
	if p.samples > 0 {
		alike = p.samples
	}
	n := alike
	for _, list := range p.results {
		n = max(n, len(list))
	}
	out := make([]engine.SurveySample, n)
	for i := range out {
		out[i] = p.like
		out[i].Vehicle, out[i].Number = fmt.Sprintf("vehicle %d", i%max(p.def.Vehicles, 1)+1), fmt.Sprintf("given %d", i+1)
		for _, a := range p.order {
			switch list := p.results[a]; {
			case len(list) == 1 && i < alike:
				out[i].Results = append(out[i].Results, list[0])
			case len(list) > 1 && i < len(list):
				out[i].Results = append(out[i].Results, list[i])
			}
		}
	}
	return out
}
