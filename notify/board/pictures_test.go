package board_test

import (
	"bytes"
	"crypto/sha256"
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
)

var update = flag.Bool("update", false, "make the README's pictures of the board again, with chromium")

const picturesDir = "../../samples/pictures"

// pictured are the README's pictures of the board: the sample fleet on the morning of the
// tests, down to so many pixels.
var pictured = []struct {
	name, path    string
	width, height int
	typed         string // into the odometer's field, before the form is sent
}{
	{"board-due", "/due", 360, 1180, ""},
	{"board-vehicle", "/v/bus-03", 1280, 1010, ""},
	{"board-asks", "/v/bus-02/reading", 360, 1246, "112400"},
	{"board-today", "/", 1280, 1010, ""},
}

// TestPictures holds the pictures to what the pages say: beside them stands of which page
// each was made, and that page is made anew here. Those that are stale are made with
//
//	go test ./notify/board -run Pictures -update
//
// which needs chromium, and are to be looked at.
func TestPictures(t *testing.T) {
	h := board.Handler(boardtest.Sample(t).Frame)
	var made strings.Builder
	for _, p := range pictured {
		file := filepath.Join(picturesDir, p.name+".png")
		if *update {
			tab := browser.Open(t, p.width)
			tab.Go(served(t, h) + p.path)
			if p.typed != "" {
				tab.Type("Odometer", p.typed)
				tab.Press("Enter it")
			}
			kept(t, file, tab.Picture(), p.height)
		}
		picture, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if len(picture) > 150<<10 {
			t.Errorf("%s has %d bytes, too many for a page that is read over a telephone", file, len(picture))
		}
		fmt.Fprintf(&made, "%s.png %x\nmade of %x\n", p.name, sha256.Sum256(picture), sha256.Sum256(shown(t, h, p.path, p.typed)))
	}
	file := filepath.Join(picturesDir, "board-made-of.txt")
	if *update {
		if err := os.WriteFile(file, []byte(made.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if want, err := os.ReadFile(file); err != nil || string(want) != made.String() {
		t.Errorf("the README's pictures show what the board no longer says (%v): go test ./notify/board -run Pictures -update makes them again, with chromium; look at them", err)
	}
}

// ofAVisit is what a page has for one visit alone: the identity of its form; and the names
// of the style sheet and of the script, which say nothing.
var ofAVisit = regexp.MustCompile(`name="form" value="[^"]*"|/s/board\.[0-9a-f]+\.`)

// shown is the page as it is pictured.
func shown(t *testing.T, h http.Handler, path, typed string) []byte {
	t.Helper()
	w := boardtest.Get(t, h, path)
	if typed != "" {
		form := url.Values{"form": {"00000000000000000000"}, "meter0": {typed}, "meter0-in": {"km"}, "day": {"2031-06-06"}, "do": {"enter"}}
		if w = boardtest.Post(t, h, path, form); w.Code != http.StatusUnprocessableEntity {
			t.Fatalf("%s with %s is not asked back: %d", path, typed, w.Code)
		}
	} else if w.Code != http.StatusOK {
		t.Fatalf("%s: %d", path, w.Code)
	}
	return ofAVisit.ReplaceAll(w.Body.Bytes(), nil)
}

// inks are what the pages are made of: greys, the red of a warning and the amber of a
// caution, each with its way to the paper.
func inks() (out color.Palette) {
	for i := range 32 {
		out = append(out, color.Gray{uint8(i * 255 / 31)})
	}
	for _, ink := range []color.RGBA{{0xb3, 0x00, 0x1b, 255}, {0xff, 0xbf, 0x00, 255}, {0xc2, 0x8e, 0x00, 255}} {
		for i := range 10 {
			mixed := func(of uint8) uint8 { return uint8((int(of)*(10-i) + 255*i) / 10) }
			out = append(out, color.RGBA{mixed(ink.R), mixed(ink.G), mixed(ink.B), 255})
		}
	}
	return out
}

// kept keeps the upper part of a picture.
func kept(t *testing.T, file string, picture []byte, height int) {
	t.Helper()
	full, err := png.Decode(bytes.NewReader(picture))
	if err != nil {
		t.Fatal(err)
	}
	r := full.Bounds()
	small := image.NewPaletted(image.Rect(0, 0, r.Dx(), min(height, r.Dy())), inks())
	draw.Draw(small, small.Bounds(), full, r.Min, draw.Src)
	var b bytes.Buffer
	err = (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&b, small)
	if err == nil {
		err = os.WriteFile(file, b.Bytes(), 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
}
