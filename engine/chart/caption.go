package chart

import (
	"cmp"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"telltale/engine/sample"
	"telltale/rules/english"
)

const (
	letters = 8                    // points, of the caption
	leading = 0.42 * vg.Centimeter // from line to line
)

// lines are words under the bars.
type lines []string

// legend explains the marks that are drawn, in lines no longer than the width.
func legend(rows []sample.Result, width vg.Length) lines {
	var marks []string
	if slices.ContainsFunc(rows, func(r sample.Result) bool { return len(r.Limits) > 0 }) {
		marks = append(marks, "Limits: a watch (advisory), c look (caution), w stop (warning).")
	}
	if slices.ContainsFunc(rows, belowDetection) {
		marks = append(marks, "Hollow dot: below the limit of detection.")
	}
	return wrapped(strings.Join(marks, " "), letters, width)
}

// caption says where the metals come from, in lines no longer than the width; none where
// no source can be told.
func caption(v sample.Verdict, width vg.Length) lines {
	if !v.Origin.Told() {
		return nil
	}
	return wrapped("Where it may come from: "+v.Origin.Words()+".", letters, width)
}

// Ratios are the bars of the picture in words, the greatest first.
func Ratios(v sample.Verdict) string {
	rows := slices.DeleteFunc(slices.Clone(v.Results), func(r sample.Result) bool { return r.Times == nil || *r.Times <= 0 })
	slices.SortStableFunc(rows, func(a, b sample.Result) int {
		return cmp.Or(cmp.Compare(*b.Times, *a.Times), strings.Compare(a.Analyte, b.Analyte))
	})
	var all []string
	for _, r := range rows {
		all = append(all, cmp.Or(r.Title, r.Analyte)+" "+english.Ratio(*r.Times))
	}
	return english.Ended(strings.Join(all, ", "))
}

// belowDetection reports whether only the ends are known between which a result lies.
func belowDetection(r sample.Result) bool { return r.Low != nil && r.High != nil && *r.Low != *r.High }

// wrapped is text in lines no longer than the width.
func wrapped(text string, size, width vg.Length) (out lines) {
	style := draw.TextStyle{Font: sans(size), Handler: plot.DefaultTextHandler}
	line := ""
	for _, word := range strings.Fields(text) {
		longer := strings.TrimSpace(line + " " + word)
		if line != "" && style.Width(longer) > width {
			out, longer = append(out, line), word
		}
		line = longer
	}
	if line == "" {
		return out
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
