package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"

	"telltale/engine/alarm"
	"telltale/engine/sample"
	"telltale/rules/english"
)

func at(v float64) *float64 { return &v }

// verdict has a metal over its limits, one below a limit of detection, one reported
// twice, one without a ratio, and a past with a drain.
func verdict() sample.Verdict {
	return sample.Verdict{
		Name: "Bus 7", Component: "transmission", Number: "L-1042", Drawn: "2031-02-10",
		Results: []sample.Result{
			{Analyte: "Cu", Title: "copper", Low: at(131), High: at(131), Times: at(3.275), Limits: map[alarm.Stage]float64{"advisory": 2, "caution": 3, "warning": 5}},
			{Analyte: "Fe", Title: "iron", Low: at(60), High: at(60), Times: at(0.67)},
			{Analyte: "Pb", Title: "lead", Low: at(0), High: at(1), Times: at(0.125)},
			{Analyte: "Cu", Title: "copper", Low: at(131), High: at(131), Times: at(3.275)},
			{Analyte: "P", Title: "phosphorus"},
		},
		History: &sample.History{Unit: "km", Drains: []float64{90000}, Series: []sample.Series{
			{Analyte: "Cu", Title: "copper", Points: []sample.Point{{Run: 81000, Times: 2}, {Run: 95000, Times: 3.275}}},
			{Analyte: "Fe", Title: "iron", Points: []sample.Point{{Run: 81000, Times: 0.6}, {Run: 95000, Times: 0.67}}},
		}},
	}
}

// texts are the words of an SVG, in order.
func texts(t *testing.T, svg []byte) []string {
	t.Helper()
	var out []string
	d := xml.NewDecoder(bytes.NewReader(svg))
	inText := false
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			inText = tok.Name.Local == "text"
		case xml.EndElement:
			inText = false
		case xml.CharData:
			if inText {
				out = append(out, strings.TrimSpace(string(tok)))
			}
		}
	}
}

// A picture says which sample it is of, names each analyte that has a ratio once, marks
// each limit with its letter, and names the leading ones beside their lines.
func TestWhatIsDrawn(t *testing.T) {
	svg, err := SVG(verdict())
	if err != nil {
		t.Fatal(err)
	}
	count := map[string]int{}
	for _, s := range texts(t, svg) {
		count[s]++
	}
	for text, want := range map[string]int{
		"Bus 7, transmission: sample L-1042 of 2031-02-10": 1,
		"copper": 2, "iron": 2, // a row and the end of a line
		"lead": 1, "phosphorus": 0,
		"a": 1, "c": 1, "w": 1,
		"1×": 2, "8×": 1, "1/8": 1,
		"odometer, km (dashed lines: fluid changes)": 1,
	} {
		if count[text] != want {
			t.Errorf("%q is drawn %d times, want %d: %v", text, count[text], want, count)
		}
	}
	again, err := SVG(verdict())
	if err != nil || !bytes.Equal(svg, again) {
		t.Errorf("the same verdict gives other bytes: %v", err)
	}
}

// Nothing is told by colour: all that is drawn is a shade of grey, and what must be
// read is dark enough on white (4.5 to 1 for words, 3 to 1 for marks: WCAG 2.1, 1.4.3
// and 1.4.11, from memory).
func TestShadesOfGrey(t *testing.T) {
	for name, c := range map[string]struct {
		shade color.Gray
		least float64
	}{"words": {ink, 4.5}, "marks": {soft, 3}} {
		if got := contrast(c.shade); got < c.least {
			t.Errorf("%s have a contrast of %.2f to 1, want %v", name, got, c.least)
		}
	}
	raster, err := PNG(verdict())
	if err != nil {
		t.Fatal(err)
	}
	img := decoded(t, raster)
	b := img.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if r, g, bl, a := img.At(x, y).RGBA(); r != g || g != bl || a != 0xffff {
				t.Fatalf("the pixel at %d, %d is %04x %04x %04x %04x", x, y, r, g, bl, a)
			}
		}
	}
	svg, err := SVG(verdict())
	if err != nil {
		t.Fatal(err)
	}
	for _, hex := range regexp.MustCompile(`#[0-9A-Fa-f]{6}`).FindAll(svg, -1) {
		if s := string(hex[1:]); s[:2] != s[2:4] || s[2:4] != s[4:] {
			t.Errorf("the SVG has the colour %s", hex)
		}
	}
}

// contrast is that of a shade on white.
func contrast(c color.Gray) float64 {
	v := math.Pow((float64(c.Y)/255+0.055)/1.055, 2.4)
	return 1.05 / (v + 0.05)
}

func decoded(t *testing.T, b []byte) image.Image {
	t.Helper()
	img, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	return img
}

// On a phone the picture of a mail is as wide as the screen leaves it, 310 pixels of 360
// at the least, and all its letters are 11 pixels high or more.
func TestLettersOnAPhone(t *testing.T) {
	svg, err := drawn(verdict(), narrow).svg()
	if err != nil {
		t.Fatal(err)
	}
	sizes := regexp.MustCompile(`font-size:([0-9.]+)px|font-size="([0-9.]+)`).FindAllSubmatch(svg, -1)
	if len(sizes) < 10 {
		t.Fatalf("%d sizes of letters in\n%s", len(sizes), svg)
	}
	for _, m := range sizes {
		points, err := strconv.ParseFloat(string(m[1])+string(m[2]), 64)
		if err != nil {
			t.Fatal(err)
		}
		if px := points * 310 / narrow.Points(); px < 11 {
			t.Errorf("letters of %v points are %.1f pixels high", points, px)
		}
	}
}

func TestNarrow(t *testing.T) {
	b, err := Narrow(verdict(), english.British)
	if err != nil {
		t.Fatal(err)
	}
	wide, err := PNG(verdict())
	if err != nil {
		t.Fatal(err)
	}
	n, w := decoded(t, b).Bounds(), decoded(t, wide).Bounds()
	if want := int(math.Round(float64(narrow) / float64(vg.Inch) * fine)); n.Dx() < want-1 || n.Dx() > want+1 {
		t.Errorf("it is %d pixels wide, want %d", n.Dx(), want)
	}
	if n.Dy() <= n.Dx() || w.Dx() < n.Dx()*9/10 {
		t.Errorf("narrow %v, wide %v", n, w)
	}
}

// Each line has a shape of its own, and no two of the four that are followed share a
// dash; names at the ends do not cover each other.
func TestToldApart(t *testing.T) {
	seen := map[string]bool{}
	for i := range 4 {
		seen[fmt.Sprintf("%T", shape(i))] = true
	}
	if len(seen) != 4 || len(dashes) != 4 {
		t.Errorf("shapes %v, %d dashes", seen, len(dashes))
	}
	// of limits at 3, 2 and 1.6 mm, the lowest is named lowest
	for _, at := range [][]vg.Length{{100, 100, 100, 100}, {86, 57, 46}, {46, 86, 50}, {}} {
		names := apart(at)
		for i := range at {
			for k := range i {
				if d := names[i] - names[k]; d > -9 && d < 9 || at[i] != at[k] && (at[i] < at[k]) != (names[i] < names[k]) {
					t.Errorf("names of what is at %v are at %v", at, names)
				}
			}
		}
	}
}

// What there is nothing to draw of gives no picture and no error.
func TestNothingToDraw(t *testing.T) {
	v := verdict()
	v.Results = v.Results[4:]
	for name, draw := range map[string]func(sample.Verdict) ([]byte, error){"SVG": SVG, "PNG": PNG, "Narrow": func(v sample.Verdict) ([]byte, error) { return Narrow(v, english.American) }} {
		if b, err := draw(v); b != nil || err != nil {
			t.Errorf("%s: %d bytes, %v", name, len(b), err)
		}
	}
	// One sample has no past: the lower part is left out.
	v = verdict()
	_, whole := parts(v)
	v.History.Series = v.History.Series[:1]
	v.History.Series[0].Points = v.History.Series[0].Points[:1]
	if _, h := parts(v); whole-h != lower {
		t.Errorf("with a past %v, without %v", whole, h)
	}
	// Values far out stay on the paper.
	v = verdict()
	v.Results[0].Times, v.Results[1].Times = at(5000), at(1e-9)
	if b, err := SVG(v); err != nil || bytes.Contains(b, []byte("NaN")) || bytes.Contains(b, []byte("Inf")) {
		t.Errorf("far out: %v", err)
	}
}
