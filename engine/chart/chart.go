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
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"telltale/engine/sample"
)

const (
	width  = 15 * vg.Centimeter
	narrow = 9 * vg.Centimeter // of what a mail shows on a phone at the width of its screen
	row    = 0.52 * vg.Centimeter
	frame  = 2.6 * vg.Centimeter // axes and captions of a part
	lower  = 5.6 * vg.Centimeter // the history
	margin = 0.3 * vg.Centimeter
	pixels = 110 // an inch
	fine   = 190 // an inch, for the screen of a phone
)

var (
	ink   = color.Gray{Y: 0x20}
	faint = color.Gray{Y: 0xB8}
	soft  = color.Gray{Y: 0x70}
)

// SVG draws the verdict for pages; nil where there is no baseline to draw against.
func SVG(v sample.Verdict) ([]byte, error) {
	rows, h := parts(v)
	if len(rows) == 0 {
		return nil, nil
	}
	c := vgsvg.New(width, h)
	paint(draw.New(c), v, rows)
	return written(c)
}

// PNG draws the verdict as a file of its own; nil where there is no baseline to draw against.
func PNG(v sample.Verdict) ([]byte, error) { return raster(v, width, pixels) }

// Narrow draws the verdict for a mail, to be read on a phone; nil where there is
// no baseline to draw against.
func Narrow(v sample.Verdict) ([]byte, error) { return raster(v, narrow, fine) }

func raster(v sample.Verdict, w vg.Length, dpi int) ([]byte, error) {
	rows, h := parts(v)
	if len(rows) == 0 {
		return nil, nil
	}
	c := vgimg.NewWith(vgimg.UseWH(w, h), vgimg.UseDPI(dpi), vgimg.UseBackgroundColor(color.White))
	paint(draw.New(c), v, rows)
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
		if r.Times != nil && *r.Times > 0 {
			if !slices.ContainsFunc(rows, func(o sample.Result) bool { return o.Analyte == r.Analyte }) {
				rows = append(rows, r)
			}
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

func paint(c draw.Canvas, v sample.Verdict, rows []sample.Result) {
	upper := c
	if hasPast(v) {
		upper = draw.Crop(c, 0, 0, lower, 0)
		historyPlot(v, c.Size().X).Draw(draw.Crop(c, margin, -margin, 0, lower-margin-c.Size().Y))
	}
	ratioPlot(v, rows).Draw(draw.Crop(upper, margin, -margin, 0, -margin/2))
}

// blank is a plot in this package's look.
func blank(title string) *plot.Plot {
	p := plot.New()
	p.Title.Text = title
	p.Title.TextStyle.Font = font.Font{Typeface: "Liberation", Variant: "Sans", Size: 9}
	p.Title.Padding = 4
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.LineStyle.Color, a.Tick.LineStyle.Color = soft, soft
		a.Label.TextStyle.Font = font.Font{Typeface: "Liberation", Variant: "Sans", Size: 8}
		a.Tick.Label.Font = font.Font{Typeface: "Liberation", Variant: "Sans", Size: 8}
	}
	return p
}

// words are text at a point, in the middle of its height.
func words(c draw.Canvas, x, y vg.Length, align text.XAlignment, s string, size vg.Length) {
	style := draw.TextStyle{Color: ink, Font: font.Font{Typeface: "Liberation", Variant: "Sans", Size: size},
		XAlign: align, YAlign: draw.YCenter, Handler: plot.DefaultTextHandler}
	c.FillText(style, vg.Point{X: x, Y: y}, s)
}

// octaves are the ticks of a ratio axis: each is twice the one before.
func octaves(low, high float64) plot.ConstantTicks {
	var out plot.ConstantTicks
	for e := math.Floor(math.Log2(low)); e <= math.Ceil(math.Log2(high)); e++ {
		v := math.Exp2(e)
		label := fmt.Sprintf("%g×", v)
		if e < 0 {
			label = fmt.Sprintf("1/%g", 1/v)
		}
		out = append(out, plot.Tick{Value: v, Label: label})
	}
	return out
}

// shape marks a point so that it needs no colour.
func shape(i int) draw.GlyphDrawer {
	return []draw.GlyphDrawer{draw.CircleGlyph{}, draw.SquareGlyph{}, draw.PyramidGlyph{}, draw.CrossGlyph{}}[i%4]
}
