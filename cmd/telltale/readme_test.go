package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// fenced gives the body of the first code block after a mark in the README.
func fenced(t *testing.T, readme, mark string) string {
	t.Helper()
	_, rest, ok := strings.Cut(readme, mark)
	m := regexp.MustCompile("(?s)```[a-z]*\n(.*?)```").FindStringSubmatch(rest)
	if !ok || m == nil {
		t.Fatalf("the README has no code block after %q", mark)
	}
	return m[1]
}

// words splits a command line; a part in double quotes is one word.
func words(line string) []string {
	var out []string
	for _, w := range regexp.MustCompile(`"[^"]*"|\S+`).FindAllString(line, -1) {
		out = append(out, strings.Trim(w, `"`))
	}
	return out
}

func command(t *testing.T, line string) (stdout, stderr string) {
	t.Helper()
	var out, err bytes.Buffer
	args := words(line)
	if args[0] != "telltale" {
		t.Fatalf("%q is no command of this program", line)
	}
	if code := run(t.Context(), args[1:], strings.NewReader(""), &out, &err); code != 0 {
		t.Fatalf("%s: exit code %d\n%s%s", line, code, out.String(), err.String())
	}
	return out.String(), err.String()
}

// TestReadmeFirstRule follows "Write your first rule" to the letter.
func TestReadmeFirstRule(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	readme := string(text)
	t.Chdir(t.TempDir())
	command(t, "telltale demo --files fleet")
	if err := os.Mkdir("trial", 0o755); err != nil {
		t.Fatal(err)
	}
	rule := fenced(t, readme, "`trial/mine.yaml`")
	if err := os.WriteFile(filepath.Join("trial", "mine.yaml"), []byte(rule), 0o644); err != nil {
		t.Fatal(err)
	}
	var said string
	for line := range strings.Lines(fenced(t, readme, "Try it on events that have happened:")) {
		out, _ := command(t, strings.TrimSpace(line))
		said += out
	}
	for _, name := range []string{"oil level check", "iron in a van's engine"} {
		if !strings.Contains(said, name) {
			t.Errorf("nothing is said of %q:\n%s", name, said)
		}
	}
}

// TestReadmeWhy holds the README's example to what the program says.
func TestReadmeWhy(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	line, want, _ := strings.Cut(fenced(t, string(text), "## Ask why"), "\n")
	t.Chdir("../..")
	if got, _ := command(t, strings.TrimPrefix(line, "$ ")); got != want {
		t.Errorf("the README is stale; it should say:\n%s", got)
	}
}
