package chart

import (
	"bytes"
	"flag"
	"os"
	"slices"
	"testing"

	"telltale/engine/sample"
)

var update = flag.Bool("update", false, "draw the pictures in testdata anew; look at them")

func individuals() sample.Made {
	m := sample.Made{Analyte: "Cu", Title: "copper", Unit: "mg/kg", Per: "1,000 km", Meter: "km", Rates: 4,
		Centre: at(1), Low: at(0.6), High: at(1.4), Drains: []float64{102500, 9e9}}
	for i, r := range []float64{1, 1.1, 0.9, 1, 5, 0.1} {
		m.Points = append(m.Points, sample.Rate{Run: at(101000 + 1000*float64(i)), Rate: &r})
	}
	m.Points[4].Outside, m.Points[5].Outside = 1, -1
	m.Points = append(m.Points, sample.Rate{Rate: at(3)}, sample.Rate{Run: at(110000)}) // no place in it
	return m
}

// An individuals chart names its band beside it, without one name over another, and
// what lies outside.
func TestMade(t *testing.T) {
	svg, err := MadeSVG(verdict(), individuals())
	if err != nil {
		t.Fatal(err)
	}
	got := texts(t, svg)
	for _, want := range []string{"Bus 7, transmission: copper made in 1,000 km, sample by sample", "lowest usual", "middle", "highest usual", "over", "under",
		"mg/kg", "odometer, km (dashed lines: fluid changes)"} {
		if !slices.Contains(got, want) {
			t.Errorf("%q is not drawn: %q", want, got)
		}
	}
	const kept = "testdata/made.svg"
	if *update {
		if err := os.WriteFile(kept, svg, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if want, err := os.ReadFile(kept); err != nil || !bytes.Equal(svg, want) {
		t.Errorf("%s is drawn otherwise (%v); look at it, then go test ./engine/chart -update", kept, err)
	}
	raster, err := MadePNG(verdict(), individuals())
	if err != nil {
		t.Fatal(err)
	}
	if b := decoded(t, raster).Bounds(); b.Dx() < 500 || b.Dy() < 250 {
		t.Errorf("it is %v", b)
	}
	m := individuals()
	m.High, m.Low, m.Centre = nil, nil, nil
	if svg, err = MadeSVG(verdict(), m); err != nil || slices.Contains(texts(t, svg), "middle") || bytes.Contains(svg, []byte("NaN")) {
		t.Errorf("without a band: %v, %s", err, svg)
	}
	m.Points = m.Points[5:]
	for _, draw := range []func(sample.Verdict, sample.Made) ([]byte, error){MadeSVG, MadePNG} {
		if b, err := draw(verdict(), m); b != nil || err != nil {
			t.Errorf("of one rate: %d bytes, %v", len(b), err)
		}
	}
}
