package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/tools/txtar"

	"telltale/cmd/telltale/internal/language"
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
	for path, text := range slipFiles(t, ar, dir) {
		writeFile(t, path, text)
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

// slipFiles are the texts of a slip's folder, by path.
func slipFiles(t *testing.T, ar *txtar.Archive, dir string) map[string]string {
	t.Helper()
	texts := map[string]string{}
	for _, f := range ar.Files[:len(ar.Files)-1] {
		if strings.TrimSpace(string(f.Data)) == "@chapter" {
			c, err := chapters.Named(strings.TrimSuffix(filepath.Base(f.Name), ".yaml"))
			if err != nil {
				t.Fatal(err)
			}
			f.Data = c.Text
		}
		texts[filepath.Join(dir, f.Name)] = string(f.Data)
	}
	return texts
}

// TestLookAt: an editor is told of each slip what the check says of the files, whatever
// lies on the disk in place of the texts that it has open. What comes of running the cases
// is left to the check.
func TestLookAt(t *testing.T) {
	files, err := filepath.Glob("testdata/slips/*.txtar")
	if err != nil || len(files) < 10 {
		t.Fatalf("%d slips (%v)", len(files), err)
	}
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".txtar")
		if name == "listen" || name == "secrets" || name == "certificate" {
			continue // the files are right; what they name is not there
		}
		t.Run(name, func(t *testing.T) {
			ar, err := txtar.ParseFile(file)
			if err != nil {
				t.Fatal(err)
			}
			dir := t.TempDir()
			texts := slipFiles(t, ar, dir)
			for path := range texts {
				writeFile(t, path, "changed since: [")
			}
			shown := lookAt(dir, texts)
			for path, text := range texts {
				writeFile(t, path, text)
			}
			got, want := shownFindings(shown), placedFindings(t, dir)
			if len(want["fault"]) > 0 { // the check stops there
				got, want = map[string][]string{"fault": got["fault"]}, map[string][]string{"fault": want["fault"]}
			}
			if !maps.EqualFunc(got, want, slices.Equal) {
				t.Errorf("the editor is told\n%q\nthe check says\n%q", got, want)
			}
		})
	}
}

// shownFindings are what an editor is told, by its weight.
func shownFindings(c language.Checked) map[string][]string {
	out := map[string][]string{}
	for _, f := range c.Findings {
		weight := "fault"
		switch {
		case f.Question:
			weight = "question"
		case f.ToFill:
			weight = "note"
		}
		out[weight] = append(out[weight], fmt.Sprintf("%s: %s", f.Place, f.Text))
	}
	return out
}

// placedFindings are what the check says of files but for their cases, by its weight to an
// editor.
func placedFindings(t *testing.T, dir string) map[string][]string {
	t.Helper()
	var stdout, stderr bytes.Buffer
	run(t.Context(), []string{"check", dir, "--json"}, strings.NewReader(""), &stdout, &stderr)
	out := map[string][]string{}
	for line := range strings.Lines(stdout.String()) {
		var f finding
		if err := json.Unmarshal([]byte(line), &f); err != nil {
			t.Fatal(err)
		}
		weight := map[severity]string{isFault: "fault", isQuestion: "question", isNote: "note", isToFill: "note"}[f.Severity]
		if f.File != "" && weight != "" && !strings.Contains(f.Text, `in case "`) {
			out[weight] = append(out[weight], fmt.Sprintf("%s:%d:%d: %s", f.File, f.Line, f.Column, f.Text))
		}
	}
	return out
}
