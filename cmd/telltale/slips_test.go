package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/tools/txtar"

	"telltale/rules/chapters"
)

// TestSlips: each slip of testdata/slips is named by the check. A file holds a fleet's
// folder, in which a line `@chapter` stands for the chapter of that file's name, and what
// the check says of it.
func TestSlips(t *testing.T) {
	files, err := filepath.Glob("testdata/slips/*.txtar")
	if err != nil || len(files) < 10 {
		t.Fatalf("%d slips (%v)", len(files), err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			ar, err := txtar.ParseFile(file)
			if err != nil {
				t.Fatal(err)
			}
			got, want := checkedSlip(t, ar), ar.Files[len(ar.Files)-1]
			if want.Name != "want" {
				t.Fatal("the last file is to be want")
			}
			if *update {
				ar.Files[len(ar.Files)-1].Data = []byte(got)
				if err := os.WriteFile(file, txtar.Format(ar), 0o644); err != nil {
					t.Fatal(err)
				}
			} else if string(want.Data) != got {
				t.Errorf("the check says\n%s\nwant\n%s", got, want.Data)
			}
		})
	}
}

// checkedSlip is what the check says of the folder.
func checkedSlip(t *testing.T, ar *txtar.Archive) string {
	dir := t.TempDir()
	for _, f := range ar.Files[:len(ar.Files)-1] {
		path := filepath.Join(dir, f.Name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if strings.TrimSpace(string(f.Data)) == "@chapter" {
			c, err := chapters.Named(strings.TrimSuffix(filepath.Base(f.Name), ".yaml"))
			if err != nil {
				t.Fatal(err)
			}
			f.Data = c.Text
		}
		if err := os.WriteFile(path, f.Data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	var out, said bytes.Buffer
	code := run(t.Context(), []string{"check", dir}, strings.NewReader(""), &out, &said)
	var kept []string
	for line := range strings.Lines(out.String() + said.String()) {
		if !strings.HasPrefix(line, "to fill in: ") {
			kept = append(kept, line)
		}
	}
	text := strings.ReplaceAll(strings.Join(kept, ""), dir, "fleet")
	return text + "exit code " + string(rune('0'+code)) + "\n"
}
