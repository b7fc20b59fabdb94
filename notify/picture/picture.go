// Package picture draws a sample for a mail, and says in words what the picture shows.
package picture

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"telltale/engine/chart"
	"telltale/engine/event"
	"telltale/engine/sample"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/rules/english"
	"telltale/rules/unit"
)

const (
	labelTimes  = "Times the baseline"
	labelOrigin = "Where it may come from"
	labelPast   = "%s, times the baseline"

	// maxBytes bounds a picture, so that a message with one fits into the store.
	maxBytes = 256 << 10
	// maxPast bounds the samples of one analyte that are told in words; the
	// picture shows them all.
	maxPast = 6
)

// Of draws what a sample says for a person, under an id, where the events that an alarm
// rests on name it; nil where they do not, or there is nothing to draw. The verdict was
// asked for in the person's units.
func Of(who *people.Person, v sample.Verdict, on []event.ID, id string) *page.Picture {
	if !slices.Contains(on, v.Sample) {
		return nil
	}
	v.Drawn = who.Date(v.Drawn)
	png, err := chart.Narrow(v, who.Spelling)
	if err != nil || png == nil || len(png) > maxBytes {
		return nil
	}
	return &page.Picture{ID: id, PNG: png, Lines: Lines(who, v)}
}

// Lines say what the picture shows.
func Lines(who *people.Person, v sample.Verdict) (out []page.Line) {
	ours := func(text string) string { return who.Spelling.Of(text) }
	if text := ours(chart.Ratios(v)); text != "" {
		out = append(out, page.Line{Label: labelTimes, Text: text})
	}
	if v.Origin.Told() {
		out = append(out, page.Line{Label: labelOrigin, Text: ours(v.Origin.Words()) + "."})
	}
	if v.History != nil {
		for _, s := range v.History.Series {
			if text := pastOf(s, v.History.Unit); text != "" {
				out = append(out, page.Line{Label: english.Capital(ours(fmt.Sprintf(labelPast, cmp.Or(s.Title, s.Analyte)))), Text: text})
			}
		}
	}
	return out
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
