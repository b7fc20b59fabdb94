package rules

import (
	"os"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"telltale/rules/source"
)

// bits are what slips of the hand put into a file.
var bits = []string{"", " ", "  ", "\t", ":", ": ", "- ", "{", "}", "[", "]", "(", ")", `"`, "'", "“", "”", "#", " #", "!", "*a", "&a", "%", ",", "|", ">",
	"\u00a0", "\u200b", "е", "\n", "\n\n", "---\n", "1e400", "≥", " AND ", "=", "\xff", "\a", "\ufeff", "${", "oil", "caution"}

// TestBrokenBooks breaks good books in a few places: reading them ends soon, without a
// panic; each fault stands within its file, and each cure can be made there.
func TestBrokenBooks(t *testing.T) {
	chapter, err := os.ReadFile("chapters/engine-oil.yaml")
	if err != nil {
		t.Fatal(err)
	}
	longest := time.Duration(0)
	rapid.Check(t, func(t *rapid.T) {
		text := larkfell
		if rapid.IntRange(0, 9).Draw(t, "chapter") == 0 {
			text = string(chapter)
		}
		for range rapid.IntRange(1, 5).Draw(t, "slips") {
			at := rapid.IntRange(0, len(text)).Draw(t, "at")
			gone := min(rapid.SampledFrom([]int{0, 0, 1, 2, 5}).Draw(t, "gone"), len(text)-at)
			text = text[:at] + rapid.SampledFrom(bits).Draw(t, "bit") + text[at+gone:]
		}
		began := time.Now()
		_, faults := Draft([]File{{"a.yaml", []byte(text)}})
		took := time.Since(began)
		longest = max(longest, took)
		if took > 5*time.Second {
			t.Fatalf("it takes %v", took)
		}
		lines := sourceLines(text)
		for i := range faults {
			within(t, lines, &faults[i])
		}
	})
	t.Logf("the longest took %v", longest)
}

func sourceLines(text string) []string {
	return strings.Split(strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(strings.TrimPrefix(text, "\ufeff")), "\n")
}

// within checks that a fault and its cure stand in the file.
func within(t *rapid.T, lines []string, f *source.Fault) {
	if f.Line < 1 || f.Line > len(lines) || f.Col < 1 || f.Col > len([]rune(lines[f.Line-1]))+1 {
		t.Fatalf("outside the file: %+v", f)
	}
	if x := f.Fix; x != nil {
		if x.Line < 1 || x.Line > len(lines) || x.Col < 1 || x.Width < 0 || x.Col-1+x.Width > len([]rune(lines[x.Line-1])) {
			t.Fatalf("its cure is outside the file: %+v %+v", f, x)
		}
		x.Apply(lines)
	}
}
