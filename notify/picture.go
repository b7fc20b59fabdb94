package notify

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/chart"
	"telltale/engine/sample"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/rules/english"
	"telltale/rules/unit"
)

const (
	// maxChart bounds a picture, so that a message with one fits into the store.
	maxChart = 256 << 10
	// maxCharts bounds the pictures of one message.
	maxCharts = 2
	// maxPast bounds the samples of one analyte that are told in words; the
	// picture shows them all.
	maxPast = 6
)

// pictures draws the samples that the telling is about, by component. The
// transitions were judged on them: a sample that has come since is not shown.
func (n *Notifier) pictures(t telling) map[string]*page.Picture {
	if n.Sample == nil || t.way != people.Mail {
		return nil
	}
	out := map[string]*page.Picture{}
	for _, one := range t.mine {
		if one.Task || one.Component == "" || one.To == alarm.Normal || out[one.Component] != nil || len(out) == maxCharts {
			continue
		}
		who := t.p.on(one.Reads)
		n.guard("drawing a sample of "+one.Vehicle, "the message goes without", func() {
			for _, v := range n.Sample(one.Vehicle, one.Component, who.units()) {
				if p := pictureOf(who, v, one.Transition); p != nil {
					out[one.Component] = p
				}
			}
		})
	}
	return out
}

func pictureOf(who reader, v sample.Verdict, t *alarm.Transition) *page.Picture {
	if !slices.Contains(t.Events, v.Sample) {
		return nil
	}
	v.Drawn = who.Date(v.Drawn)
	png, err := chart.Narrow(v, who.Spelling)
	if err != nil || png == nil || len(png) > maxChart {
		return nil
	}
	p := &page.Picture{ID: key("chart", v.Sample.Source, v.Sample.ID, v.Component) + "@telltale", PNG: png}
	if text := who.ours(chart.Ratios(v)); text != "" {
		p.Lines = append(p.Lines, page.Line{Label: labelTimes, Text: text})
	}
	if v.Origin.Told() {
		p.Lines = append(p.Lines, page.Line{Label: labelOrigin, Text: who.ours(v.Origin.Words()) + "."})
	}
	if v.History != nil {
		for _, s := range v.History.Series {
			if text := pastOf(s, v.History.Unit); text != "" {
				p.Lines = append(p.Lines, page.Line{Label: english.Capital(who.ours(fmt.Sprintf(labelPast, cmp.Or(s.Title, s.Analyte)))), Text: text})
			}
		}
	}
	return p
}

// pastOf is one curve of the picture in words: where the meter stood, and the ratio.
func pastOf(s sample.Series, u string) string {
	points := s.Points
	if len(points) < 2 {
		return ""
	}
	var all []string
	for _, pt := range points[max(0, len(points)-maxPast):] {
		ratio := english.Ratio(pt.Times)
		if pt.Below {
			ratio = "below " + ratio
		}
		all = append(all, fmt.Sprintf("%s at %s %s", ratio, unit.Grouped(pt.Run), u))
	}
	return english.Ended(strings.Join(all, ", "))
}
