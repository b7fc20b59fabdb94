package sample

import (
	"fmt"
	"math"
	"strings"

	"telltale/engine/judge"
	"telltale/engine/lab"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Made is how fast the component made an analyte up to each of its samples, and the band
// that its earlier rates give ([lab.Usual]). Rates are of what was
// made, so a drain is no fall.
type Made struct {
	Analyte string `json:"analyte"`
	Title   string `json:"title"`
	Unit    string `json:"unit"` // of Value
	Per     string `json:"per"`  // of Rate: "1,000 km"
	// Centre, Low and High are of the Rates earlier ones; absent where they are too few.
	Centre *float64 `json:"centre,omitempty"`
	Low    *float64 `json:"low,omitempty"`
	High   *float64 `json:"high,omitempty"`
	Rates  int      `json:"rates"`
	// Slope is how much Rate rises from one Per to the next over all samples (Theil-Sen),
	// SlopeIsReal whether that is significant (Mann-Kendall); absent where they are too few.
	Slope       *float64  `json:"slope,omitempty"`
	SlopeIsReal bool      `json:"slopeIsReal,omitempty"`
	Meter       string    `json:"meter"` // the unit of Run
	Drains      []float64 `json:"drains,omitempty"`
	Points      []Rate    `json:"points"`
}

// Rate is one sample in an individuals chart.
type Rate struct {
	Number string   `json:"number"`
	Drawn  string   `json:"drawn"`
	Run    *float64 `json:"run,omitempty"` // where the meter stood
	Value  float64  `json:"value"`
	Below  bool     `json:"below,omitempty"` // Value is a limit
	Above  bool     `json:"above,omitempty"`
	// Left is what exchanges since the sample before left behind, Rate how fast the rest
	// was made, in Unit for each Per; absent where it cannot be told.
	Left *float64 `json:"left,omitempty"`
	Rate *float64 `json:"rate,omitempty"`
	// Outside is 1 where the rate lies over the band by more than the method alone
	// accounts for, -1 where it lies under it.
	Outside int `json:"outside,omitempty"`
}

// made are the charts of wear metals and of what the baseline says is usual, as far as
// there are two samples with a rate.
func (v *sampleVerdict) made() []Made {
	var out []Made
	seen := map[string]bool{}
	for _, r := range v.Results {
		if a, _ := analytes.Find(r.Analyte); seen[r.Analyte] || r.Low == nil || !a.Wear && r.Times == nil {
			continue
		}
		seen[r.Analyte] = true
		if m, ok := v.madeOf(r); ok {
			out = append(out, m)
		}
	}
	return out
}

func (v *sampleVerdict) madeOf(r Result) (Made, bool) {
	sheet := v.x.Sheet
	_, kind, _, ok := sheet.Rate(r.Analyte)
	steps, rates := sheet.Rates(r.Analyte, kind)
	if !ok || len(rates) < 2 {
		return Made{}, false
	}
	per, base := v.view.PerWords(kind)
	m := Made{Analyte: r.Analyte, Title: r.Title, Unit: r.Unit, Per: per, Rates: len(rates) - 1}
	_, m.Meter = v.view.Shown(0, kind == unit.Time)
	u, _, charted := sheet.Usual(r.Analyte)
	if charted {
		centre, low, high := u.Centre*base, u.Lower*base, u.Upper*base
		m.Centre, m.Low, m.High = &centre, &low, &high
	}
	if t, _, ok := sheet.WearTrend(r.Analyte, kind); ok {
		slope := t.Slope * base * base
		m.Slope, m.SlopeIsReal = &slope, t.P < judge.Significant
	}
	rate := map[int]float64{}
	for k, i := range steps {
		rate[i] = rates[k]
	}
	for i := range v.t.Steps {
		run := v.run(i, kind)
		switch {
		case v.t.Steps[i].Exchanged() && run != nil:
			m.Drains = append(m.Drains, *run)
		case v.t.Steps[i].Sample != nil:
			v.point(&m, i, run, rate, kind, u)
		}
	}
	return m, true
}

// run is where the meter stood at step i; nil where that is not known.
func (v *sampleVerdict) run(i int, kind unit.Kind) *float64 {
	at := v.t.Lab[i].Distance
	if kind == unit.Time {
		at = v.t.Lab[i].Hours
	}
	value, _ := v.view.Shown(at, kind == unit.Time)
	return answered(value, "", !math.IsNaN(at))
}

// point puts the sample at step i, if it has the analyte.
func (v *sampleVerdict) point(m *Made, i int, run *float64, rate map[int]float64, kind unit.Kind, u lab.Usual) {
	upTo := v.x.Sheet
	upTo.History = v.t.Lab[:i+1]
	r, ok := upTo.Result(m.Analyte)
	if !ok {
		return
	}
	s := v.t.Steps[i].Sample
	p := Rate{Number: s.Number, Drawn: s.DrawnOn(v.view.Applied().Zone), Run: run, Value: r.Value, Below: r.Censored, Above: r.Above}
	if v.t.LastExchange(i) > v.t.UpTo(i-1).LastSample() {
		p.Left = answered(upTo.Carried(m.Analyte))
	}
	if found, ok := rate[i]; ok {
		_, base := v.view.PerWords(kind)
		shown := found * base
		p.Rate = &shown
		if m.High != nil {
			within, _, _ := upTo.RateError(m.Analyte, kind)
			p.Outside = u.Beyond(found, within)
		}
	}
	m.Points = append(m.Points, p)
}

// Chart is the individuals chart of an analyte, by its name or its title in any case.
func (v *Verdict) Chart(analyte string) (m Made, ok bool) {
	a, _ := analytes.Find(analyte)
	for _, m := range v.Made {
		if m.Analyte == a.Name {
			return m, true
		}
	}
	return Made{}, false
}

// ChartText is the chart in lines: each sample with the rate up to it, then the band
// and what to make of it.
func (v *Verdict) ChartText(m Made) string {
	var t english.Lines
	t.Line(0, "%s, %s: %s made in %s, sample by sample", v.where(), v.Component, v.named(m.Analyte), m.Per)
	for _, p := range m.Points {
		t.Line(1, "%s", p.words(&m))
	}
	write(&t, 1, m.Said())
	t.Line(1, "%s", blind)
	return t.String()
}

func (p *Rate) words(m *Made) string {
	run, rate := "", "-"
	if p.Run != nil {
		run = unit.Grouped(*p.Run) + " " + m.Meter
	}
	if p.Rate != nil {
		rate = english.Figures(*p.Rate)
	}
	s := fmt.Sprintf("%s  %-12s %12s  %8s %s  made %6s", p.Drawn, p.Number, run, p.Found(), english.Unit(m.Unit), rate)
	if left := p.LeftWords(); left != "" {
		s += "  (" + left + ")"
	}
	if side := p.Side(); side != "" {
		s += "  " + side
	}
	return strings.TrimRight(s, " ")
}

// Found is the result, "below 5" where that is its limit.
func (p *Rate) Found() string {
	value := english.Figures(p.Value)
	switch {
	case p.Below:
		return "below " + value
	case p.Above:
		return "above " + value
	}
	return value
}

// LeftWords say that fluid was changed since the sample before; "" where none was.
func (p *Rate) LeftWords() string {
	if p.Left == nil {
		return ""
	}
	return "drained before; it left " + english.Figures(*p.Left)
}

// Side says on which side of the band the rate lies; "" within it.
func (p *Rate) Side() string {
	return map[int]string{1: "over the band", -1: "under the band"}[p.Outside]
}

// Said is what is usual, what the latest rate means, and whether there is a trend.
func (m *Made) Said() []Part {
	out := add(add(nil, "usual here", m.band()), "", m.says())
	if m.Slope != nil {
		out = add(out, "", m.trend())
	}
	return out
}

func (m *Made) band() string {
	if m.High == nil {
		return fmt.Sprintf("not known yet: this needs four earlier rates, there are %d", m.Rates)
	}
	return fmt.Sprintf("%s to %s, middle %s, from %d of its own earlier rates", english.Figures(max(*m.Low, 0)), english.Figures(*m.High), english.Figures(*m.Centre), m.Rates)
}

// says is what the latest rate means.
func (m *Made) says() string {
	last := m.Points[len(m.Points)-1]
	switch {
	case m.High == nil:
		return "too few rates to say whether the latest is unusual"
	case last.Outside > 0:
		return "the latest is more than usual, by more than the method's error"
	case last.Outside < 0:
		return "the latest is less than usual, by more than the method's error"
	}
	return "the latest is within what is usual for it"
}

func (m *Made) trend() string {
	what := "rises"
	if *m.Slope < 0 {
		what = "falls"
	}
	if !m.SlopeIsReal {
		return "no steady rise or fall from sample to sample beyond chance"
	}
	return fmt.Sprintf("the rate %s from sample to sample, by about %s in each %s", what, english.Figures(max(*m.Slope, -*m.Slope)), m.Per)
}
