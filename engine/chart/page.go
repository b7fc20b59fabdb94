package chart

import (
	"bytes"
	"fmt"
	"html"
	"regexp"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"telltale/engine/sample"
	"telltale/rules/english"
)

// A page shows a picture as a file of its own, wide on a desk and slim on a phone. Its
// policy allows no style within it, and a phone has none of our letters: so what a style
// says stands in attributes, and other letters without serifs may take the place of ours.

// Page draws the verdict for a page, slim for a phone, with our own words in the reader's
// spelling; nil where there is no baseline to draw against.
func Page(v sample.Verdict, s english.Spelling, slim bool) ([]byte, error) {
	return forPage(drawn(spelled(v, s), wide(slim)).svg())
}

// MadePage draws the individuals chart of an analyte for a page as [Page] does. It is nil
// without an error where fewer than two samples have a rate and a meter.
func MadePage(v sample.Verdict, m sample.Made, s english.Spelling, slim bool) ([]byte, error) {
	m.Title = s.Of(m.Title)
	return forPage(drawnMade(v, m, wide(slim)).svg())
}

func wide(slim bool) vg.Length {
	if slim {
		return narrow
	}
	return width
}

var (
	styles   = regexp.MustCompile(`style="([^"]*)"`)
	property = regexp.MustCompile(`([a-z-]+):([^;]*);?`)
	lettered = regexp.MustCompile(`font-size="([0-9.]+)px"[^>]*>([^<]+)</text>`)
)

func forPage(svg []byte, err error) ([]byte, error) {
	if svg == nil || err != nil {
		return nil, err
	}
	svg = styles.ReplaceAllFunc(svg, func(attr []byte) []byte {
		return bytes.TrimSpace(property.ReplaceAll(styles.FindSubmatch(attr)[1], []byte(`$1="$2" `)))
	})
	svg = lettered.ReplaceAllFunc(svg, fitted)
	return bytes.ReplaceAll(svg, []byte(`"Liberation Sans"`), []byte(`"Liberation Sans, Arial, Helvetica, sans-serif"`)), nil
}

// fitted has other letters take no more room than ours.
func fitted(text []byte) []byte {
	m := lettered.FindSubmatch(text)
	size, err := strconv.ParseFloat(string(m[1]), 64)
	if err != nil {
		return text
	}
	style := draw.TextStyle{Font: sans(vg.Length(size)), Handler: plot.DefaultTextHandler}
	width := style.Width(html.UnescapeString(string(m[2]))).Points()
	return fmt.Appendf(nil, `textLength="%.2f" lengthAdjust="spacingAndGlyphs" %s`, width, text)
}
