package chart

import (
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"telltale/engine/sample"
)

const (
	letters = 8                    // points, of the caption
	leading = 0.42 * vg.Centimeter // from line to line
)

// lines are words under the bars.
type lines []string

// caption says where the metals come from, in lines no longer than the width; none where
// no source can be told.
func caption(v sample.Verdict, width vg.Length) lines {
	if !v.Origin.Told() {
		return nil
	}
	style := draw.TextStyle{Font: font.Font{Typeface: "Liberation", Variant: "Sans", Size: letters}, Handler: plot.DefaultTextHandler}
	var out lines
	line := ""
	for _, word := range strings.Fields("Where it may come from: " + v.Origin.Words() + ".") {
		longer := strings.TrimSpace(line + " " + word)
		if line != "" && style.Width(longer) > width {
			out, longer = append(out, line), word
		}
		line = longer
	}
	return append(out, line)
}

func (l lines) height() vg.Length {
	if len(l) == 0 {
		return 0
	}
	return vg.Length(len(l))*leading + margin
}

// draw writes the lines at the foot of the canvas.
func (l lines) draw(c draw.Canvas) {
	for i, s := range l {
		words(c, c.Min.X, c.Min.Y+l.height()-(vg.Length(i)+0.5)*leading, text.XLeft, s, letters)
	}
}
