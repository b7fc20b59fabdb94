package sheet

import (
	"cmp"
	"fmt"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/chart"
	"telltale/engine/sample"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/picture"
	"telltale/notify/stages"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// chartView is a picture with what it shows in words.
type chartView struct {
	Wide, Slim, Alt string
	Lines           []page.Line
}

func (w *writer) picture(lines []page.Line, more ...string) *chartView {
	at := path(w.vehicle.ID, w.line(), more...)
	slim := "?"
	if strings.Contains(at, "?") {
		slim = "&"
	}
	return &chartView{Wide: at, Slim: at + slim + slimQuery + "=1", Alt: (&page.Picture{}).Alt(), Lines: lines}
}

// chart is the picture of the sample; nil where there is nothing to draw.
func (w *writer) chart() *chartView {
	if chart.Ratios(*w.of) == "" || !frame.InPath(w.of.Number) {
		return nil
	}
	of := *w.of
	of.Origin = nil // the page says it already
	lines := picture.Lines(w.Person, of)
	for i := range lines {
		lines[i].Text = w.text(lines[i].Text)
	}
	return w.picture(lines, "chart.svg")
}

// result is one of the sheet's.
type result struct {
	Name, Value string
	Beside      []string
}

func (w *writer) results() (out []result) {
	for i := range w.of.Results {
		r := &w.of.Results[i]
		row := result{Name: english.Capital(w.ours(r.Named())), Value: w.text(r.Reported)}
		for _, s := range r.Beside() {
			row.Beside = append(row.Beside, english.Sentence(w.ours(s)))
		}
		if s := limits(r); s != "" {
			row.Beside = append(row.Beside, s)
		}
		out = append(out, row)
	}
	return out
}

// limits are what the picture shows of a result's limits.
func limits(r *sample.Result) string {
	var all []string
	for _, s := range []alarm.Stage{alarm.Advisory, alarm.Caution, alarm.Warning} {
		if l, ok := r.Limits[s]; ok {
			all = append(all, stageWord(s)+" from "+english.Short(l))
		}
	}
	if all == nil {
		return ""
	}
	return fmt.Sprintf(wordLimits, english.List("and", all))
}

// stageWord is what people call a stage within a sentence.
func stageWord(s alarm.Stage) string { return strings.ToLower(stages.Of(s).Head) }

// madeView is how much of an analyte was made up to each sample.
type madeView struct {
	Title string
	Lines []page.Line
	Chart *chartView
	// Unit is that of the results, Per what the rates are for.
	Unit, Per string
	Points    []point
	Left      string // how many are in the picture alone
}

type point struct{ Drawn, Number, Run, Found, Made, Note string }

// mostPoints bounds the samples of one analyte that a page lists.
const mostPoints = 12

func (w *writer) made() (out []madeView) {
	for i := range w.of.Made {
		m := &w.of.Made[i]
		v := madeView{Title: english.Capital(w.ours(fmt.Sprintf("%s made in %s", cmp.Or(m.Title, m.Analyte), m.Per))),
			Lines: w.says.lines(m.Said()), Unit: english.Unit(m.Unit), Per: m.Per}
		if drawnOf(m) > 1 && frame.InPath(w.of.Number) {
			v.Chart = w.picture(nil, "made", m.Analyte)
		}
		from := max(0, len(m.Points)-mostPoints)
		if from > 0 {
			v.Left = fmt.Sprintf(wordLeft, english.Counted(from, "earlier sample is", "earlier samples are"))
		}
		for k := len(m.Points) - 1; k >= from; k-- {
			v.Points = append(v.Points, w.point(m, &m.Points[k]))
		}
		out = append(out, v)
	}
	return out
}

// drawnOf is how many of the samples the picture has room for.
func drawnOf(m *sample.Made) (n int) {
	for _, p := range m.Points {
		if p.Rate != nil && p.Run != nil {
			n++
		}
	}
	return n
}

func (w *writer) point(m *sample.Made, p *sample.Rate) point {
	out := point{Drawn: w.Date(p.Drawn), Number: w.text(p.Number), Found: p.Found() + " " + english.Unit(m.Unit), Made: "–"}
	if p.Run != nil {
		out.Run = unit.Grouped(*p.Run) + " " + m.Meter
	}
	if p.Rate != nil {
		out.Made = english.Figures(*p.Rate)
	}
	out.Note = english.Sentences(p.LeftWords(), p.Side())
	return out
}

// line is a sample in the list of all.
type line struct {
	frame.Badge
	Drawn, Number, Path string
	This                bool
	Run, Age, From      string
	Says                string
}

func (w *writer) listed() (out []line) {
	for i := range w.lines {
		l := &w.lines[i]
		row := line{Badge: frame.BadgeOf(l.Stage), Drawn: w.Date(l.Drawn), Number: w.text(l.Number), Path: path(w.vehicle.ID, l), This: l.Sample == w.of.Sample,
			From: w.text(l.Laboratory), Says: english.Capital(w.text(l.Found(stageWord)))}
		if l.Stage == alarm.Normal {
			row.Badge = frame.Badge{}
		}
		if l.Run != nil {
			row.Run = english.Quantity(l.Run)
		}
		if l.FluidAge != nil {
			row.Age = english.Quantity(l.FluidAge)
		}
		if l.Corrected {
			row.Says = english.Sentences(row.Says, fmt.Sprintf(wordCorrected, l.Revision))
		}
		out = append(out, row)
	}
	return out
}
