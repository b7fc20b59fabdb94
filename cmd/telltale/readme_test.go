package main

import (
	"bytes"
	"io"
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

// TestReadmeTrial follows "Trying a rule before it is in force" to the letter.
func TestReadmeTrial(t *testing.T) {
	text, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, _ := strings.Cut(string(text), "## Trying a rule before it is in force\n")
	t.Chdir(t.TempDir())
	command(t, "telltale demo --files sample")
	if err := os.Mkdir("trial", 0o755); err != nil {
		t.Fatal(err)
	}
	rule := fenced(t, section, "`trial/mine.yaml`")
	if err := os.WriteFile(filepath.Join("trial", "mine.yaml"), []byte(rule), 0o644); err != nil {
		t.Fatal(err)
	}
	var said []string
	for line := range strings.Lines(fenced(t, section, rule+"```\n")) {
		out, _ := command(t, strings.TrimSpace(line))
		said = append(said, out)
	}
	if len(said) != 3 || !strings.Contains(said[1], "oil level check") || !strings.Contains(said[2], "new, ") {
		t.Errorf("nothing is said of the trial, or of how it differs:\n%q", said)
	}
}

// TestReadmeWhy holds the page's example to what the program says.
func TestReadmeWhy(t *testing.T) {
	page, err := filepath.Abs("README.md")
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	line, want, _ := strings.Cut(fenced(t, string(text), "## Why"), "\n")
	t.Chdir("../..")
	got, _ := command(t, strings.TrimPrefix(line, "$ "))
	if got != want && *update {
		if err := os.WriteFile(page, []byte(strings.Replace(string(text), want, got, 1)), 0o644); err != nil {
			t.Fatal(err)
		}
	} else if got != want {
		t.Errorf("%s is stale (write it anew with -update); it should say:\n%s", page, got)
	}
}

var inline = regexp.MustCompile("`(telltale [^`]+)`")

// commandsOf are the commands that a page names, in its blocks and in its sentences.
func commandsOf(t *testing.T, page string) (typed []string) {
	t.Helper()
	text, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	prose := string(text)
	for _, m := range block.FindAllStringSubmatch(prose, -1) {
		for line := range strings.Lines(m[3]) {
			if line = strings.TrimPrefix(line, "$ "); m[2] == "" && strings.HasPrefix(line, "telltale ") {
				line, _, _ = strings.Cut(strings.TrimSpace(line), "  #")
				typed = append(typed, line)
			}
		}
		prose = strings.Replace(prose, "```"+m[2]+"\n"+m[3]+"```", "", 1)
	}
	for _, m := range inline.FindAllStringSubmatch(prose, -1) {
		typed = append(typed, m[1])
	}
	return typed
}

// TestReadmeCommands holds every command that the pages name to the commands, flags
// and arguments that there are.
func TestReadmeCommands(t *testing.T) {
	var typed []string
	for _, page := range []string{"../../README.md", "README.md", "../../notify/README.md", "../../engine/sample/README.md"} {
		typed = append(typed, commandsOf(t, page)...)
	}
	if len(typed) < 50 {
		t.Errorf("only %d commands were found", len(typed))
	}
	for _, line := range typed {
		cmd, rest, err := root(strings.NewReader(""), io.Discard, io.Discard).Find(words(line)[1:])
		if err == nil {
			err = cmd.ParseFlags(rest)
		}
		if err == nil && len(rest) > 0 { // a command alone is only spoken of
			err = cmd.ValidateArgs(cmd.Flags().Args())
		}
		if err != nil || !cmd.Runnable() {
			t.Errorf("%s: %v", line, err)
		}
	}
}
