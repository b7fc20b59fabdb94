package sample

import (
	"fmt"
	"strings"

	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/unit"
)

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
	t.Line(0, "%s, %s: %s made in %s, sample by sample", v.where(), v.Component, analytes.Named(m.Analyte), m.Per)
	for _, p := range m.Points {
		t.Line(1, "%s", p.words(&m))
	}
	t.Line(1, "usual here: %s", m.band())
	t.Line(1, "%s", m.says())
	if m.Slope != nil {
		t.Line(1, "%s", m.trend())
	}
	t.Line(1, "%s", blind)
	return t.String()
}

func (p *Rate) words(m *Made) string {
	value := english.Figures(p.Value)
	switch {
	case p.Below:
		value = "below " + value
	case p.Above:
		value = "above " + value
	}
	run, rate := "", "-"
	if p.Run != nil {
		run = unit.Grouped(*p.Run) + " " + m.Meter
	}
	if p.Rate != nil {
		rate = english.Figures(*p.Rate)
	}
	s := fmt.Sprintf("%s  %-12s %12s  %8s %s  made %6s", p.Drawn, p.Number, run, value, m.Unit, rate)
	if p.Left != nil {
		s += "  (drained before; it left " + english.Figures(*p.Left) + ")"
	}
	return strings.TrimRight(s+map[int]string{1: "  over the band", -1: "  under the band"}[p.Outside], " ")
}

func (m *Made) band() string {
	if m.High == nil {
		return fmt.Sprintf("not known yet: it takes four earlier rates, there are %d", m.Rates)
	}
	return fmt.Sprintf("%s to %s, in the middle %s, by %d earlier rates of its own", english.Figures(max(*m.Low, 0)), english.Figures(*m.High), english.Figures(*m.Centre), m.Rates)
}

// says is what the latest rate means.
func (m *Made) says() string {
	last := m.Points[len(m.Points)-1]
	switch {
	case m.High == nil:
		return "whether the latest is out of the ordinary cannot be told from that alone"
	case last.Outside > 0:
		return "the latest is more than usual, and more than the method alone accounts for"
	case last.Outside < 0:
		return "the latest is less than usual, and by more than the method alone accounts for"
	}
	return "the latest is nothing out of the ordinary for it"
}

func (m *Made) trend() string {
	what := "rises"
	if *m.Slope < 0 {
		what = "falls"
	}
	if !m.SlopeIsReal {
		return "no steady rise or fall from sample to sample can be told from chance"
	}
	return fmt.Sprintf("the rate %s from sample to sample, by about %s in each %s", what, english.Figures(max(*m.Slope, -*m.Slope)), m.Per)
}
