package chart

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"telltale/engine/gauge"
	"telltale/rules/english"
)

// WearSVG draws what was measured by hand over the meter, with the limits and the forecast
// of the first. It is nil without an error where fewer than two values have a place.
func WearSVG(m gauge.Measured) ([]byte, error) { return drawnWear(m).svg() }

// WearPNG is [WearSVG] as PNG.
func WearPNG(m gauge.Measured) ([]byte, error) { return drawnWear(m).png(pixels) }

func drawnWear(m gauge.Measured) drawing {
	p := wearPlot(m)
	if p == nil {
		return drawing{}
	}
	return drawing{width, tall, func(c draw.Canvas) { p.Draw(draw.Crop(c, margin, -margin, margin, -margin)) }}
}

// wearPlot has a dot for each value, its limits as dashed lines with their names, and from
// the last value a cone to where the first limit is reached.
func wearPlot(m gauge.Measured) *plot.Plot {
	d := worn{Measured: m}
	low, high, from, to := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	see := func(v float64) { low, high = math.Min(low, v), math.Max(high, v) }
	for _, pt := range m.Points {
		if pt.Run != nil {
			d.shown = append(d.shown, pt)
			see(pt.Value)
			from, to = math.Min(from, *pt.Run), math.Max(to, *pt.Run)
		}
	}
	if len(d.shown) < 2 {
		return nil
	}
	for i := range m.Limits {
		see(m.Limits[i].At)
		if l := &m.Limits[i]; l.Likely != nil && (d.first == nil || *l.Likely < *d.first.Likely) {
			d.first = l
		}
	}
	if d.first != nil {
		to = math.Max(to, *d.first.Likely)
		if most := d.first.Most; most != nil && *most < from+3*(*d.first.Likely-from) {
			to = math.Max(to, *most)
		}
	}
	p := blank(fmt.Sprintf("%s: %s", m.Name, m.Measure))
	d.to = to
	meterAxis(p, from, to, 0.35, m.Meter, width)
	p.X.Label.Text = map[string]string{"h": "hour meter, h", "days": "days since the first"}[m.Meter]
	if p.X.Label.Text == "" {
		p.X.Label.Text = "odometer, " + m.Meter
	}
	p.Y.Min, p.Y.Max = math.Min(low, 0), high+(high-low)*0.12
	if low > high/2 { // as of a voltage, of which nothing is seen from nought
		p.Y.Min = low - (high-low)*0.12
	}
	p.Y.Label.Text = english.Unit(m.Unit)
	p.Add(d)
	return p
}

type worn struct {
	gauge.Measured
	shown []gauge.Point
	first *gauge.Limit // that is reached first; nil where none is in sight
	to    float64      // where names begin
}

// Plot draws the chart.
func (d worn) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	last := d.shown[len(d.shown)-1]
	at := vg.Point{X: x(*last.Run), Y: y(last.Value)}
	end := x(d.to) + 6
	dashed := draw.LineStyle{Color: ink, Width: 0.8, Dashes: []vg.Length{6, 3}}
	lines := make([]vg.Length, len(d.Limits))
	for i, l := range d.Limits {
		lines[i] = y(l.At)
	}
	names := apart(lines)
	for i, l := range d.Limits {
		c.StrokeLine2(dashed, c.Min.X, lines[i], end, lines[i])
		words(c, end+3, names[i], draw.XLeft, strings.TrimSpace(fmt.Sprintf("%s, %s", l.Of, l.Stage)), 8)
	}
	if d.first != nil {
		for _, to := range []*float64{d.first.Least, d.first.Likely, d.first.Most} {
			if to != nil && *to <= p.X.Max {
				style := draw.LineStyle{Color: soft, Width: 0.7, Dashes: []vg.Length{2, 2}}
				if to == d.first.Likely {
					style = draw.LineStyle{Color: ink, Width: 0.9, Dashes: []vg.Length{2, 2}}
				}
				c.StrokeLine2(style, at.X, at.Y, x(*to), y(d.first.At))
			}
		}
	}
	line := make([]vg.Point, len(d.shown))
	for i, pt := range d.shown {
		line[i] = vg.Point{X: x(*pt.Run), Y: y(pt.Value)}
		shape := draw.GlyphDrawer(draw.CircleGlyph{})
		if pt.Below || pt.Above {
			shape = draw.RingGlyph{}
		}
		c.DrawGlyph(draw.GlyphStyle{Color: ink, Radius: 2.8, Shape: shape}, line[i])
	}
	c.StrokeLines(draw.LineStyle{Color: ink, Width: 0.9}, line)
}
