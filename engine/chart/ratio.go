package chart

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"telltale/engine/sample"
)

// ratioPlot has a row for each analyte: a dot where the result lies on the ratio
// axis, the baseline as the line at 1, and the limits as ticks with their letter.
func ratioPlot(v sample.Verdict, rows []sample.Result) *plot.Plot {
	p := blank(fmt.Sprintf("%s, %s: sample %s of %s", v.Name, v.Component, v.Number, v.Drawn))
	low, high := 0.5, 2.0
	var names plot.ConstantTicks
	for i, r := range rows {
		low, high = math.Min(low, *r.Times), math.Max(high, *r.Times)
		for _, l := range r.Limits {
			high = math.Max(high, l)
		}
		names = append(names, plot.Tick{Value: float64(i), Label: r.Title})
	}
	low = math.Max(low, 1.0/16)
	p.X.Scale, p.X.Tick.Marker = plot.LogScale{}, octaves(low, high)
	p.X.Min, p.X.Max = math.Exp2(math.Floor(math.Log2(low))), math.Exp2(math.Ceil(math.Log2(high)))
	p.X.Label.Text = "times the baseline; limits: a advisory, c caution, w warning\nhollow dot: below a limit of detection"
	p.Y.Min, p.Y.Max, p.Y.Tick.Marker = -0.6, float64(len(rows))-0.4, names
	p.Y.Tick.LineStyle.Width, p.Y.LineStyle.Width = 0, 0
	p.Add(ratioRows(rows))
	return p
}

type ratioRows []sample.Result

// Plot draws the rows.
func (rows ratioRows) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	c.StrokeLine2(draw.LineStyle{Color: ink, Width: 0.8}, x(1), y(p.Y.Min), x(1), y(p.Y.Max))
	for i, r := range rows {
		at := y(float64(i))
		c.StrokeLine2(draw.LineStyle{Color: faint, Width: 0.4}, c.Min.X, at, c.Max.X, at)
		for _, stage := range slices.Sorted(maps.Keys(r.Limits)) {
			l := r.Limits[stage]
			c.StrokeLine2(draw.LineStyle{Color: ink, Width: 1}, x(l), at-4, x(l), at+4)
			words(c, x(l), at+7, draw.XCenter, string(stage[:1]), 6)
		}
		v := x(math.Max(*r.Times, p.X.Min))
		c.StrokeLine2(draw.LineStyle{Color: soft, Width: 3}, x(1), at, v, at)
		style := draw.GlyphStyle{Color: ink, Radius: 3.2, Shape: draw.CircleGlyph{}}
		if r.Low != nil && r.High != nil && *r.Low != *r.High {
			style.Shape = draw.RingGlyph{}
		}
		c.DrawGlyph(style, vg.Point{X: v, Y: at})
	}
}
