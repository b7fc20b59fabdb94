package rules

import (
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/tools/txtar"

	"telltale/rules/source"
)

// TestBroken is the bench of broken files: of each, the check is to name the place of the
// slip and its cure, and nothing that only follows from it.
func TestBroken(t *testing.T) {
	const path = "testdata/broken.txtar"
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	archive, good := txtar.Parse(raw), 0
	for i, f := range archive.Files {
		text, want, _ := strings.Cut(string(f.Data), "---\n")
		found := checked(filesOf(text))
		if why := judged(f.Name, found); why == "" {
			good++
		} else {
			t.Errorf("%s: %s", f.Name, why)
		}
		got := found.Error() + "\n"
		archive.Files[i].Data = []byte(text + "---\n" + got)
		if got != want && !*update {
			t.Errorf("%s:\ngot\n%swant\n%s", f.Name, got, want)
		}
	}
	t.Logf("%d of %d broken files are told with place and cure, and nothing besides", good, len(archive.Files))
	if *update {
		if err := os.WriteFile(path, txtar.Format(archive), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// checked is all that the check has to say of the files.
func checked(files []File) source.Faults {
	b, faults := Draft(files)
	return slices.Concat(faults, b.Questions, b.Uncautioned).Sorted()
}

var placed = regexp.MustCompile(`^(\d+:\d+)(?: (\d+) slips:)? `)

// judged says what is wrong with what was found of the slip that a name tells.
func judged(name string, found source.Faults) string {
	m, slips := placed.FindStringSubmatch(name), 1
	if m[2] != "" {
		fmt.Sscan(m[2], &slips)
	}
	switch {
	case len(found) == 0:
		return "nothing was found"
	case len(found) != slips:
		return fmt.Sprintf("%d were found, not %d", len(found), slips)
	}
	for _, f := range found {
		if f.Hint == "" {
			return "no cure: " + f.String()
		}
	}
	if at := fmt.Sprintf("%d:%d", found[0].Line, found[0].Col); at != m[1] {
		return "found at " + at
	}
	return ""
}

// TestFixes: the cure that comes as data is one. When all those of a file are made, last
// first, none of the faults that had one is found again.
func TestFixes(t *testing.T) {
	raw, err := os.ReadFile("testdata/broken.txtar")
	if err != nil {
		t.Fatal(err)
	}
	fixed, faults := 0, 0
	for _, f := range txtar.Parse(raw).Files {
		text, _, _ := strings.Cut(string(f.Data), "---\n")
		file := filesOf(text)[0]
		found := checked([]File{file})
		lines := strings.Split(string(file.Text), "\n")
		var told []string
		for _, fault := range slices.Backward(found) {
			if faults++; fault.Fix != nil {
				fixed++
				lines, told = fault.Fix.Apply(lines), append(told, fault.Text)
			}
		}
		for _, again := range checked([]File{{file.Name, []byte(strings.Join(lines, "\n"))}}) {
			if slices.Contains(told, again.Text) {
				t.Errorf("%s: made as told, there is again\n%s", f.Name, again.String())
			}
		}
	}
	t.Logf("%d of %d faults can be mended by an editor", fixed, faults)
	if fixed < 50 {
		t.Error("too few")
	}
}
