package chart

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"telltale/engine/sample"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// historyPlot follows the leading analytes over the meter, each with a shape and a
// dash of its own, and its shape and name at its end; drains are dashed uprights.
func historyPlot(v sample.Verdict, w vg.Length) *plot.Plot {
	p := blank("")
	h := v.History
	low, high, from, to := 0.5, 2.0, math.Inf(1), math.Inf(-1)
	for _, s := range h.Series {
		for _, pt := range s.Points {
			low, high = math.Min(low, pt.Times), math.Max(high, pt.Times)
			from, to = math.Min(from, pt.Run), math.Max(to, pt.Run)
		}
	}
	ratioAxis(&p.Y, low, high)
	names := 0.28 // of the width
	if w < width {
		names = 0.55
	}
	meterAxis(p, from, to, names, h.Unit, w)
	p.Y.Label.Text = "times the baseline"
	p.Add(past{h})
	return p
}

// meterAxis lays the meter across the plot, with room at the right, a share of what was
// sampled, for names.
func meterAxis(p *plot.Plot, from, to, names float64, in string, w vg.Length) {
	room := math.Max(to-from, 1)
	p.X.Min, p.X.Max, p.X.Tick.Marker = from-room*0.05, to+room*names, meterTicks{from, to, 5}
	if w < width {
		p.X.Tick.Marker = meterTicks{from, to, 3}
	}
	name := "odometer"
	if in == "h" {
		name = "hour meter"
	}
	p.X.Label.Text = fmt.Sprintf("%s, %s (dashed lines: fluid changes)", name, in)
}

// uprights draws the drains.
func uprights(c draw.Canvas, p *plot.Plot, drains []float64) {
	x, _ := p.Transforms(&c)
	for _, at := range drains {
		if at >= p.X.Min && at <= p.X.Max {
			c.StrokeLine2(draw.LineStyle{Color: soft, Width: 0.8, Dashes: []vg.Length{3, 3}}, x(at), c.Min.Y, x(at), c.Max.Y)
		}
	}
}

// meterTicks are a few round numbers within what was sampled, most steps between them.
type meterTicks struct{ from, to, most float64 }

func (m meterTicks) Ticks(_, _ float64) []plot.Tick {
	step := math.Pow10(int(math.Log10(math.Max(m.to-m.from, 1))))
	for (m.to-m.from)/step > m.most {
		step *= 2
	}
	if (m.to-m.from)/step < 1.5 {
		step /= 2
	}
	var out []plot.Tick
	for v := math.Ceil(m.from/step) * step; v <= m.to; v += step {
		out = append(out, plot.Tick{Value: v, Label: unit.Grouped(v)})
	}
	return out
}

type past struct{ *sample.History }

// to is where the last sample was drawn.
func (h past) to() float64 {
	to := math.Inf(-1)
	for _, s := range h.Series {
		to = math.Max(to, s.Points[len(s.Points)-1].Run)
	}
	return to
}

var dashes = [][]vg.Length{nil, {6, 2}, {2, 2}, {8, 2, 2, 2}}

// Plot draws the series.
func (h past) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	c.StrokeLine2(draw.LineStyle{Color: ink, Width: 0.8}, c.Min.X, y(1), x(h.to()), y(1))
	uprights(c, p, h.Drains)
	lines := make([][]vg.Point, len(h.Series))
	tips := make([]vg.Length, len(h.Series))
	for i, s := range h.Series {
		var line []vg.Point
		for _, pt := range s.Points {
			at := vg.Point{X: x(pt.Run), Y: y(math.Max(pt.Times, p.Y.Min))}
			line = append(line, at)
			c.DrawGlyph(draw.GlyphStyle{Color: ink, Radius: 2.8, Shape: shape(i)}, at)
		}
		c.StrokeLines(draw.LineStyle{Color: ink, Width: 0.9, Dashes: dashes[i%len(dashes)]}, line)
		lines[i], tips[i] = line, line[len(line)-1].Y
	}
	ends := apart(tips)
	for i, s := range h.Series {
		x := lines[i][len(lines[i])-1].X
		c.DrawGlyph(draw.GlyphStyle{Color: ink, Radius: 2.8, Shape: shape(i)}, vg.Point{X: x + 12, Y: ends[i]})
		words(c, x+18, ends[i], draw.XLeft, s.Title, 8)
	}
}

// apart is where names stand that belong at those heights: moved up so that none covers
// another, and in the order of what they name, lest one be read at the line of another.
func apart(at []vg.Length) []vg.Length {
	order := make([]int, len(at))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(at[a], at[b]) })
	out, free := make([]vg.Length, len(at)), vg.Length(math.Inf(-1))
	for _, i := range order {
		out[i] = max(at[i], free)
		free = out[i] + 9.01
	}
	return out
}

const tall = 8 * vg.Centimeter // an individuals chart

// MadeSVG draws the individuals chart of what a component makes of one analyte. It is nil
// without an error where fewer than two samples have a rate and a meter.
func MadeSVG(v sample.Verdict, m sample.Made) ([]byte, error) { return drawnMade(v, m, width).svg() }

// MadePNG is [MadeSVG] as PNG.
func MadePNG(v sample.Verdict, m sample.Made) ([]byte, error) {
	return drawnMade(v, m, width).png(pixels)
}

func drawnMade(v sample.Verdict, m sample.Made, w vg.Length) drawing {
	p := madePlot(v, m, w)
	if p == nil {
		return drawing{}
	}
	return drawing{w, tall, func(c draw.Canvas) { p.Draw(draw.Crop(c, margin, -margin, margin, -margin)) }}
}

// madePlot has a dot for each sample with a rate, the middle as a line and the band as
// dashed ones; what lies outside has a ring and the word for it.
func madePlot(v sample.Verdict, m sample.Made, w vg.Length) *plot.Plot {
	d := made{Made: m}
	low, high, from, to := 0.0, math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, pt := range m.Points {
		if pt.Rate == nil || pt.Run == nil {
			continue
		}
		d.shown = append(d.shown, pt)
		low, high = math.Min(low, *pt.Rate), math.Max(high, *pt.Rate)
		from, to = math.Min(from, *pt.Run), math.Max(to, *pt.Run)
	}
	if len(d.shown) < 2 {
		return nil
	}
	if m.High != nil {
		low, high = math.Min(low, *m.Low), math.Max(high, *m.High)
	}
	title := fmt.Sprintf("%s, %s: %s made in %s, sample by sample", v.Name, v.Component, m.Title, m.Per)
	p := blank(strings.Join(wrapped(title, 9, w-2*margin), "\n"))
	names := 0.2 // of the width
	if w < width {
		names = 0.5
	}
	meterAxis(p, from, to, names, m.Meter, w)
	p.Y.Min, p.Y.Max = low-(high-low)*0.08, high+(high-low)*0.12
	p.Y.Label.Text = english.Unit(m.Unit)
	p.Add(d)
	return p
}

type made struct {
	sample.Made
	shown []sample.Rate
}

// Plot draws the chart.
func (d made) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	uprights(c, p, d.Drains)
	end := x(*d.shown[len(d.shown)-1].Run) + 8
	if d.High != nil {
		d.band(c, y, end)
	}
	line := make([]vg.Point, len(d.shown))
	for i, pt := range d.shown {
		line[i] = vg.Point{X: x(*pt.Run), Y: y(*pt.Rate)}
	}
	c.StrokeLines(draw.LineStyle{Color: ink, Width: 0.9}, line)
	for i, pt := range d.shown {
		c.DrawGlyph(draw.GlyphStyle{Color: ink, Radius: 2.8, Shape: draw.CircleGlyph{}}, line[i])
		if pt.Outside != 0 {
			c.DrawGlyph(draw.GlyphStyle{Color: ink, Radius: 6, Shape: draw.RingGlyph{}}, line[i])
			words(c, line[i].X-9, line[i].Y, draw.XRight, map[int]string{1: "over", -1: "under"}[pt.Outside], 8)
		}
	}
}

// band draws what is usual, with its names beside it.
func (d made) band(c draw.Canvas, y func(float64) vg.Length, end vg.Length) {
	whole, dashed := draw.LineStyle{Color: ink, Width: 0.8}, draw.LineStyle{Color: ink, Width: 0.8, Dashes: []vg.Length{6, 3}}
	names := apart([]vg.Length{y(*d.Low), y(*d.Centre), y(*d.High)})
	for i, l := range []struct {
		name  string
		at    float64
		style draw.LineStyle
	}{{"lowest usual", *d.Low, dashed}, {"middle", *d.Centre, whole}, {"highest usual", *d.High, dashed}} {
		c.StrokeLine2(l.style, c.Min.X, y(l.at), end, y(l.at))
		words(c, end+3, names[i], draw.XLeft, l.name, 8)
	}
}
