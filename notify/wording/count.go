package wording

import (
	"fmt"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/notify/stages"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Group is a group of a list: what stands at one stage.
type Group struct {
	Stage   alarm.Stage
	Heading string
	Weight  int // how much it stands out, 0 to 3
}

// Groups are those of a list of what to do, the first first.
var Groups = []Group{
	{alarm.Warning, groupStop, 3}, group(alarm.Overdue), group(alarm.Due), {alarm.Caution, groupLook, stages.Of(alarm.Caution).Weight},
	group(alarm.Soon), {alarm.Advisory, groupWatch, stages.Of(alarm.Advisory).Weight}, {alarm.Normal, stages.Ahead, 0},
}

func group(s alarm.Stage) Group { return Group{s, stages.Of(s).Head, stages.Of(s).Weight} }

// GroupOf is the group of what stands at a stage.
func GroupOf(s alarm.Stage) Group {
	return Groups[slices.IndexFunc(Groups, func(g Group) bool { return g.Stage == s })]
}

// Counts is "1 to stop, 2 overdue, 1 due"; "" for none.
func Counts(n map[alarm.Stage]int) string {
	var all []string
	for _, name := range stages.Order {
		if s := stages.Of(name); n[name] > 0 {
			all = append(all, english.Counted(n[name], s.One, s.Many))
		}
	}
	return strings.Join(all, ", ")
}

// CountSince is "12 (3 more than on 2 Feb 2031)".
func CountSince(now, before int, when string) string {
	s := unit.Grouped(float64(now))
	switch {
	case when == "" || now == before && now == 0:
	case now > before:
		s += fmt.Sprintf(" (%s more than on %s)", unit.Grouped(float64(now-before)), when)
	case now < before:
		s += fmt.Sprintf(" (%s fewer than on %s)", unit.Grouped(float64(before-now)), when)
	default:
		s += fmt.Sprintf(" (no change since %s)", when)
	}
	return s + "."
}
