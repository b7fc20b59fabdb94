package gauge

import (
	"math"
	"strconv"
	"strings"

	"telltale/engine/wear"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Text tells the measure: its last values, its pace and its limits, in lines.
func (g *Measured) Text() string {
	t := &english.Lines{}
	n := len(g.Points)
	if n == 0 {
		t.Line(0, "%s: not measured yet", g.Measure)
	} else {
		last := g.Points[n-1]
		t.Line(0, "%s: %s on %s, %s", g.Measure, last.value(g.Unit), last.On, g.place(last.Run))
	}
	if g.Renewed != "" {
		t.Line(1, "renewed on %s", g.Renewed)
	}
	for _, p := range g.Points[max(0, n-shown):max(0, n-1)] {
		t.Line(1, "before: %s on %s, %s", p.value(g.Unit), p.On, g.place(p.Run))
	}
	if n > shown {
		t.Line(1, "and %s before that", english.Plural(n-shown, "measurement"))
	}
	if g.Rate != nil {
		t.Line(1, "it changes by %s in %s", strings.TrimSpace(english.Figures(*g.Rate)+" "+g.Unit), g.Per)
	}
	for _, l := range g.Limits {
		t.Line(1, "%s, %s: %s", l.Of, l.Stage, l.Says)
	}
	return t.String()
}

// shown is how many of the values the text tells.
const shown = 5

func (p *Point) value(u string) string {
	s := wear.Said(p.Value, u)
	switch {
	case p.Below:
		return "below " + s
	case p.Above:
		return "above " + s
	}
	return s
}

// place is where the instrument stood, or how many days after the first value it was.
func (g *Measured) place(run *float64) string {
	switch {
	case run == nil:
		return "no meter read"
	case g.Meter == "days":
		return "day " + strconv.Itoa(int(math.Round(*run)))
	}
	return unit.Grouped(*run) + " " + g.Meter
}
