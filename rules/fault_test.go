package rules

import (
	"flag"
	"os"
	"slices"
	"strings"
	"testing"

	"golang.org/x/tools/txtar"

	"telltale/rules/source"
)

var update = flag.Bool("update", false, "write what the tests find as what they expect")

// TestFaults compares whole error texts. Each entry of the archive is one rule
// file (or several, parted by a line `=== name`), a line `---`, and the error.
func TestFaults(t *testing.T) {
	for _, path := range []string{"testdata/faults.txtar", "testdata/files.txtar"} {
		faults(t, path)
	}
}

func faults(t *testing.T, path string) {
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	archive := txtar.Parse(raw)
	if strings.HasSuffix(path, "faults.txtar") && len(archive.Files) < 60 {
		t.Errorf("only %d faults in the table", len(archive.Files))
	}
	for i, f := range archive.Files {
		text, want, _ := strings.Cut(string(f.Data), "---\n")
		got := "none"
		b, err := Load(filesOf(text))
		if err != nil {
			got = err.Error()
		} else if list := slices.Concat(b.Questions, b.Uncautioned); len(list) > 0 {
			got = source.Faults(list).Error()
		}
		got += "\n"
		archive.Files[i].Data = []byte(text + "---\n" + got)
		if got != want && !*update {
			t.Errorf("%s:\ngot\n%swant\n%s", f.Name, got, want)
		}
	}
	if *update {
		if err := os.WriteFile(path, txtar.Format(archive), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// filesOf splits a text at lines `=== name`; \u escapes of Go stand for
// characters that an archive cannot hold.
func filesOf(text string) []File {
	text = strings.NewReplacer(`\tab`, "\t", `\bad`, "\xff", `\bell`, "\a", `\nbsp`, "\u00a0", `\zwsp`, "\u200b").Replace(text)
	parts := strings.Split("=== a.yaml\n"+text, "=== ")
	var out []File
	for _, p := range parts[1:] {
		name, body, _ := strings.Cut(p, "\n")
		if body != "" {
			out = append(out, File{Name: name, Text: []byte(body)})
		}
	}
	return out
}
