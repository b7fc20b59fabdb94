package samples_test

import (
	"bytes"
	"image/png"
	"os"
	"strings"
	"testing"

	"telltale/engine/chart"
	"telltale/engine/sample"
)

// TestCharts holds the pictures of two stories to testdata: SVG byte by byte; PNG by
// its size alone, since rounding of edges is the machine's.
func TestCharts(t *testing.T) {
	read := sampleYear(t).read
	for story, name := range map[string]string{"half a drain: half a year later": "half-a-drain", "silicon from new sealant": "sealant"} {
		path := "testdata/" + name
		if len(read[story]) != 1 {
			t.Fatalf("%s: %d verdicts", story, len(read[story]))
		}
		vector, err := chart.SVG(read[story][0])
		if err != nil {
			t.Fatal(err)
		}
		raster, err := chart.PNG(read[story][0])
		if err != nil {
			t.Fatal(err)
		}
		if *update {
			if err := os.WriteFile(path+".svg", vector, 0o644); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path+".png", raster, 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		want, err := os.ReadFile(path + ".svg")
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(vector, want) {
			t.Errorf("%s.svg is drawn otherwise; look at it, then go test ./samples -update", path)
		}
		kept, err := os.ReadFile(path + ".png")
		if err != nil {
			t.Fatal(err)
		}
		old, err := png.DecodeConfig(bytes.NewReader(kept))
		if err != nil {
			t.Fatal(err)
		}
		if now, err := png.DecodeConfig(bytes.NewReader(raster)); err != nil || now.Width != old.Width || now.Height != old.Height {
			t.Errorf("%s.png is %v, was %v: %v", path, now, old, err)
		}
		if !strings.Contains(string(vector), "copper") {
			t.Errorf("%s.svg names no copper", path)
		}
	}
	if b, err := chart.SVG(sample.Verdict{}); b != nil || err != nil {
		t.Errorf("a sheet without a baseline is drawn: %v", err)
	}
}
