package main

import (
	"bytes"
	"crypto/sha256"
	"flag"
	"fmt"
	"image"
	"image/color"
	imagedraw "image/draw"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "make the README's pictures again, with chromium")

const picturesDir = "../../samples/pictures"

// pictured are the README's pictures: what the sample year has this person told on
// this day.
var pictured = []struct {
	name, to, day string
	list          bool
}{
	{"mail", "tobias", "2031-02-19", false},
	{"list", "north.workshop", "2031-06-06", true},
}

// TestPictures holds the pictures to what the program says: beside them stands of
// which page each was made, and that page is made anew here. Those that are stale are
// made with
//
//	go test ./cmd/telltale -run Pictures -update
//
// which needs chromium, and are to be looked at.
func TestPictures(t *testing.T) {
	t.Parallel()
	var made strings.Builder
	for _, p := range pictured {
		page := pageTold(t, p.to, p.day, p.list)
		path := filepath.Join(picturesDir, p.name+".png")
		if *update {
			photograph(t, page, path)
		}
		picture, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if len(picture) > 100<<10 {
			t.Errorf("%s has %d bytes, too many for a page that is read over a telephone", path, len(picture))
		}
		fmt.Fprintf(&made, "%s.png %x\nmade of %x\n", p.name, sha256.Sum256(picture), sha256.Sum256(page))
	}
	path := filepath.Join(picturesDir, "made-of.txt")
	if *update {
		if err := os.WriteFile(path, []byte(made.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if want, err := os.ReadFile(path); err != nil || string(want) != made.String() {
		t.Errorf("the README's pictures show what is no longer said (%v): go test ./cmd/telltale -run Pictures -update makes them again, with chromium; look at them", err)
	}
}

// pageTold is the page of the person's only list of the day, or only other message.
func pageTold(t *testing.T, to, day string, list bool) []byte {
	t.Helper()
	var pages [][]byte
	for _, l := range sampleLetters(t) {
		if l.to == to && l.date == day && l.list == list {
			pages = append(pages, l.page)
		}
	}
	if len(pages) != 1 {
		t.Fatalf("%d messages to %s on %s, want one to take a picture of", len(pages), to, day)
	}
	return pages[0]
}

// photograph has chromium draw the page, cuts off what is empty below it, and keeps
// 32 greys, which is what the pages are made of.
func photograph(t *testing.T, page []byte, path string) {
	t.Helper()
	dir := t.TempDir()
	html, raw := filepath.Join(dir, "page.html"), filepath.Join(dir, "page.png")
	if err := os.WriteFile(html, page, 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("chromium", "--headless", "--no-sandbox", "--hide-scrollbars", "--screenshot="+raw, "--window-size=640,3000", "file://"+html)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("drawing the page: %v\n%s", err, out)
	}
	file, err := os.Open(raw)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	full, err := png.Decode(file)
	if err != nil {
		t.Fatal(err)
	}
	var greys color.Palette
	for i := range 32 {
		greys = append(greys, color.Gray{uint8(i * 255 / 31)})
	}
	small := image.NewPaletted(written(full), greys)
	imagedraw.Draw(small, small.Bounds(), full, image.Point{}, imagedraw.Src)
	var b bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&b, small); err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

// written is the part of the picture down to the last row that is not white, and a margin.
func written(m image.Image) image.Rectangle {
	r := m.Bounds()
	for y := r.Max.Y - 1; y > r.Min.Y; y-- {
		for x := r.Min.X; x < r.Max.X; x++ {
			if c := color.GrayModel.Convert(m.At(x, y)).(color.Gray); c.Y < 250 {
				return image.Rect(r.Min.X, r.Min.Y, r.Max.X, min(y+16, r.Max.Y))
			}
		}
	}
	return r
}
