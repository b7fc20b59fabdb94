package board_test

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
	"telltale/rules/english"
)

// Sheets of paper as a PDF has them, in points of 1/72 inch, rounded: ISO 216 gives A4 as
// 210 mm by 297 mm, ANSI/ASME Y14.1 gives A, which is letter, as 8.5 in by 11 in.
const (
	a4     = "595x842"
	letter = "612x792"
)

var mediaBox = regexp.MustCompile(`/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]`)

// formats are those of the sheets of a PDF.
func formats(pdf []byte) (out []string) {
	for _, m := range mediaBox.FindAllStringSubmatch(string(pdf), -1) {
		out = append(out, rounded(m[1])+"x"+rounded(m[2]))
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// TestOnPaper: what is meant for paper comes on so many sheets of it.
func TestOnPaper(t *testing.T) {
	f := boardtest.Sample(t)
	url := served(t, board.Handler(f.Frame))
	tab := browser.Open(t, 1280)
	for path, sheets := range map[string]int{
		"/due/print": 2, "/vehicles/print": 2, "/labels": 1, "/v/bus-07": 3, "/v/bus-07/handover": 3, "/v/bus-03/samples/transmission": 3,
	} {
		tab.Go(url + path)
		pdf, n := tab.Print()
		if got := formats(pdf); !slices.Equal(got, []string{a4}) {
			t.Errorf("%s is printed on %q, want A4", path, got)
		}
		if n != sheets {
			t.Errorf("%s is printed on %d sheets, want %d", path, n, sheets)
		}
	}
}

// TestOnLetterPaper: whoever reads American English prints on letter paper.
func TestOnLetterPaper(t *testing.T) {
	files, err := boardtest.SampleFiles()
	if err != nil {
		t.Fatal(err)
	}
	files.People = strings.Replace(files.People, "    mail: ines@", "    spelling: en-US\n    mail: ines@", 1)
	f := boardtest.New(t, files)
	if p := f.People().Person("ines"); p.Spelling != english.American {
		t.Fatalf("Ines reads %v", p.Spelling)
	}
	url := served(t, board.Handler(f.Frame))
	tab := browser.Open(t, 1280)
	for _, path := range []string{"/due/print", "/labels", "/v/bus-07/handover"} {
		tab.Go(url + path)
		pdf, n := tab.Print()
		if got := formats(pdf); !slices.Equal(got, []string{letter}) || n == 0 {
			t.Errorf("%s is printed on %d sheets of %q, want letter", path, n, got)
		}
	}
}

// rounded is a length of a PDF in whole points.
func rounded(points string) string {
	whole, part, _ := strings.Cut(points, ".")
	if part == "" || part[0] < '5' {
		return whole
	}
	return whole[:len(whole)-1] + string(whole[len(whole)-1]+1)
}
