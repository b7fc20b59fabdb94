// Package chart draws what a sample says: each analyte against the baseline and
// its limits, and the leading ones over the component's life with its drains. It is
// told apart by place and shape, not by colour. The same verdict gives the same
// bytes on the same architecture.
package chart

import (
	"bytes"
	"cmp"
	"fmt"
	"image/color"
	"io"
	"maps"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"telltale/engine/sample"
	"telltale/rules/english"
)

const (
	width = 15 * vg.Centimeter
	// narrow is that of what a mail shows on a phone. There it is some 310 to 360 pixels
	// wide, and letters of 8 points are 11 pixels and more high (TestLettersOnAPhone).
	narrow = 7.5 * vg.Centimeter
	row    = 0.62 * vg.Centimeter
	frame  = 2.2 * vg.Centimeter // axes and captions of a part
	lower  = 5.6 * vg.Centimeter // the history
	margin = 0.3 * vg.Centimeter
	pixels = 110 // an inch
	fine   = 228 // an inch, for the screen of a phone
)

var (
	ink   = color.Gray{Y: 0x20}
	faint = color.Gray{Y: 0xB8}
	soft  = color.Gray{Y: 0x70}
)

// drawing is a picture yet to be painted; paint is nil where there is nothing to draw.
type drawing struct {
	width, height vg.Length
	paint         func(draw.Canvas)
}

// SVG draws the verdict for pages; nil where there is no baseline to draw against.
func SVG(v sample.Verdict) ([]byte, error) { return drawn(v, width).svg() }

// PNG draws the verdict as a file of its own; nil where there is no baseline to draw against.
func PNG(v sample.Verdict) ([]byte, error) { return drawn(v, width).png(pixels) }

// Narrow draws the verdict for a mail, to be read on a phone, with our own words in the
// reader's spelling; nil where there is no baseline to draw against.
func Narrow(v sample.Verdict, s english.Spelling) ([]byte, error) {
	return drawn(spelled(v, s), narrow).png(fine)
}

// spelled is the verdict with the names of what was measured in a spelling.
func spelled(v sample.Verdict, s english.Spelling) sample.Verdict {
	v.Results = slices.Clone(v.Results)
	for i := range v.Results {
		v.Results[i].Title = s.Of(v.Results[i].Title)
	}
	if v.History != nil {
		h := *v.History
		h.Series = slices.Clone(h.Series)
		for i := range h.Series {
			h.Series[i].Title = s.Of(h.Series[i].Title)
		}
		v.History = &h
	}
	return v
}

func drawn(v sample.Verdict, w vg.Length) drawing {
	rows, h := parts(v)
	if len(rows) == 0 {
		return drawing{}
	}
	told := slices.Concat(legend(rows, w-2*margin), caption(v, w-2*margin))
	return drawing{w, h + heading(v, w).height() + told.height(), func(c draw.Canvas) { paint(c, v, rows, told) }}
}

func (d drawing) svg() ([]byte, error) {
	if d.paint == nil {
		return nil, nil
	}
	c := vgsvg.New(d.width, d.height)
	d.paint(draw.New(c))
	return written(c)
}

func (d drawing) png(dpi int) ([]byte, error) {
	if d.paint == nil {
		return nil, nil
	}
	c := vgimg.NewWith(vgimg.UseWH(d.width, d.height), vgimg.UseDPI(dpi), vgimg.UseBackgroundColor(color.White))
	d.paint(draw.New(c))
	return written(vgimg.PngCanvas{Canvas: c})
}

func written(w io.WriterTo) ([]byte, error) {
	var b bytes.Buffer
	if _, err := w.WriteTo(&b); err != nil {
		return nil, fmt.Errorf("drawing a sample: %w", err)
	}
	return b.Bytes(), nil
}

// parts are the results that have a ratio, the greatest at the top, and the
// height of it all.
func parts(v sample.Verdict) ([]sample.Result, vg.Length) {
	var rows []sample.Result
	for _, r := range v.Results {
		again := func(o sample.Result) bool { return o.Analyte == r.Analyte }
		if r.Times != nil && *r.Times > 0 && !slices.ContainsFunc(rows, again) {
			rows = append(rows, r)
		}
	}
	slices.SortStableFunc(rows, func(a, b sample.Result) int { return cmp.Compare(*a.Times, *b.Times) })
	h := frame + vg.Length(len(rows))*row
	if hasPast(v) {
		h += lower
	}
	return rows, h
}

// hasPast reports whether some analyte was measured twice.
func hasPast(v sample.Verdict) bool {
	return v.History != nil && slices.ContainsFunc(v.History.Series, func(s sample.Series) bool { return len(s.Points) > 1 })
}

func paint(c draw.Canvas, v sample.Verdict, rows []sample.Result, told lines) {
	upper := c
	if hasPast(v) {
		upper = draw.Crop(c, 0, 0, lower, 0)
		historyPlot(v, c.Size().X).Draw(draw.Crop(c, margin, -margin, 0, lower-margin-c.Size().Y))
	}
	told.draw(draw.Crop(upper, margin, -margin, 0, 0))
	upper = draw.Crop(upper, 0, 0, told.height(), 0)
	ratioPlot(v, rows, c.Size().X).Draw(draw.Crop(upper, margin, -margin, 0, -margin/2))
}

// sans is the font of all words, of a size in points.
func sans(size vg.Length) font.Font {
	return font.Font{Typeface: "Liberation", Variant: "Sans", Size: size}
}

// blank is a plot in this package's look.
func blank(title string) *plot.Plot {
	p := plot.New()
	p.Title.Text = title
	p.Title.TextStyle.Font = sans(9)
	p.Title.Padding = 4
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.LineStyle.Color, a.Tick.LineStyle.Color = soft, soft
		a.Label.TextStyle.Font, a.Tick.Label.Font = sans(letters), sans(letters)
	}
	return p
}

// words are text at a point, in the middle of its height.
func words(c draw.Canvas, x, y vg.Length, align text.XAlignment, s string, size vg.Length) {
	style := draw.TextStyle{Color: ink, Font: sans(size),
		XAlign: align, YAlign: draw.YCenter, Handler: plot.DefaultTextHandler}
	c.FillText(style, vg.Point{X: x, Y: y}, s)
}

// ratioAxis is an axis from low to high of which each tick is twice the one before.
func ratioAxis(a *plot.Axis, low, high float64) {
	from, to := math.Floor(math.Log2(math.Max(low, 1.0/16))), math.Ceil(math.Log2(high))
	var ticks plot.ConstantTicks
	for e := from; e <= to; e++ {
		v := math.Exp2(e)
		label := fmt.Sprintf("%g×", v)
		if e < 0 {
			label = fmt.Sprintf("1/%g", 1/v)
		}
		ticks = append(ticks, plot.Tick{Value: v, Label: label})
	}
	a.Scale, a.Tick.Marker, a.Min, a.Max = plot.LogScale{}, ticks, math.Exp2(from), math.Exp2(to)
}

// shape marks a point so that it needs no colour.
func shape(i int) draw.GlyphDrawer {
	return []draw.GlyphDrawer{draw.CircleGlyph{}, draw.SquareGlyph{}, draw.PyramidGlyph{}, draw.CrossGlyph{}}[i%4]
}

// heading names the sample, in lines no longer than the width.
func heading(v sample.Verdict, w vg.Length) lines {
	return wrapped(fmt.Sprintf("%s, %s: sample %s of %s", v.Name, v.Component, v.Number, v.Drawn), 9, w-2*margin)
}

// ratioPlot has a row for each analyte: a dot where the result lies on the ratio
// axis, the baseline as the line at 1, and the limits as ticks with their letter.
func ratioPlot(v sample.Verdict, rows []sample.Result, w vg.Length) *plot.Plot {
	p := blank(strings.Join(heading(v, w), "\n"))
	low, high := 0.5, 2.0
	var names plot.ConstantTicks
	for i, r := range rows {
		low, high = math.Min(low, *r.Times), math.Max(high, *r.Times)
		for _, l := range r.Limits {
			high = math.Max(high, l)
		}
		names = append(names, plot.Tick{Value: float64(i), Label: r.Title})
	}
	ratioAxis(&p.X, low, high)
	p.X.Label.Text = "times the baseline"
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
			words(c, x(l), at+9, draw.XCenter, string(stage[:1]), letters)
		}
		v := x(math.Max(*r.Times, p.X.Min))
		c.StrokeLine2(draw.LineStyle{Color: soft, Width: 3}, x(1), at, v, at)
		style := draw.GlyphStyle{Color: ink, Radius: 3.2, Shape: draw.CircleGlyph{}}
		if belowDetection(r) {
			style.Shape = draw.RingGlyph{}
		}
		c.DrawGlyph(style, vg.Point{X: v, Y: at})
	}
}
