package chart

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"telltale/engine/sample"
)

const tall = 8 * vg.Centimeter // an individuals chart

// MadeSVG draws the individuals chart of what a component makes of one analyte. It is nil
// without an error where fewer than two samples have a rate and a meter.
func MadeSVG(v sample.Verdict, m sample.Made) ([]byte, error) { return drawnMade(v, m).svg() }

// MadePNG is [MadeSVG] as PNG.
func MadePNG(v sample.Verdict, m sample.Made) ([]byte, error) { return drawnMade(v, m).png(pixels) }

func drawnMade(v sample.Verdict, m sample.Made) drawing {
	p := madePlot(v, m)
	if p == nil {
		return drawing{}
	}
	return drawing{width, tall, func(c draw.Canvas) { p.Draw(draw.Crop(c, margin, -margin, margin, -margin)) }}
}

// madePlot has a dot for each sample with a rate, the middle as a line and the band as
// dashed ones; what lies outside has a ring and the word for it.
func madePlot(v sample.Verdict, m sample.Made) *plot.Plot {
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
	p := blank(fmt.Sprintf("%s, %s: %s made in %s, sample by sample", v.Name, v.Component, m.Title, m.Per))
	meterAxis(p, from, to, 0.2, m.Meter)
	p.Y.Min, p.Y.Max = low-(high-low)*0.08, high+(high-low)*0.12
	p.Y.Label.Text = m.Unit
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
	taken := map[int]vg.Length{}
	for i, l := range []struct {
		name  string
		at    float64
		style draw.LineStyle
	}{{"lowest usual", *d.Low, dashed}, {"middle", *d.Centre, whole}, {"highest usual", *d.High, dashed}} {
		c.StrokeLine2(l.style, c.Min.X, y(l.at), end, y(l.at))
		taken[i] = apart(taken, y(l.at))
		words(c, end+3, taken[i], draw.XLeft, l.name, 8)
	}
}
