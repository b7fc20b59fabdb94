package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
)

// walk is a section of the README, step by step: files to write and commands to type.
type walk struct{ steps []step }

type step struct {
	file    string // to be written; "" for a command
	text    string // what is written, or typed
	shell   bool   // typed over several lines, for a shell
	printed []string
}

var (
	block  = regexp.MustCompile("(?s)(.*?)```([a-z]*)\n(.*?)```\n")
	ticked = regexp.MustCompile("`([^` ]+\\.[a-z]+)`")
	dated  = regexp.MustCompile(`\d{4}-\d\d-\d\d`)
)

// stepsOf reads a section. A block of YAML or CSV is the file that the text before it
// names last; a line that begins with $ is typed, and what follows it is printed; any
// other line is typed, and a block with a line that is continued is typed as one.
func stepsOf(section string) []step {
	var out []step
	for _, m := range block.FindAllStringSubmatch(section, -1) {
		before, lang, body := m[1], m[2], m[3]
		if lang == "go" {
			continue
		}
		if lang != "" {
			names := ticked.FindAllStringSubmatch(before, -1)
			out = append(out, step{file: names[len(names)-1][1], text: body})
			continue
		}
		if strings.Contains(body, "\\\n") {
			out = append(out, step{text: body, shell: true})
			continue
		}
		lines := strings.Split(strings.TrimSuffix(body, "\n"), "\n")
		if typed, ok := strings.CutPrefix(lines[0], "$ "); ok {
			out = append(out, step{text: typed, printed: lines[1:]})
			continue
		}
		for _, line := range lines {
			typed, _, _ := strings.Cut(line, "  #")
			out = append(out, step{text: strings.TrimSpace(typed)})
		}
	}
	return out
}

// readme SECTION [FOLDER] begins the walk through a section of the README, or of the
// one in a folder of the repository.
func cmdReadme(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 || len(args) > 2 {
		ts.Fatalf("usage: readme SECTION [FOLDER]")
	}
	folder := strings.Join(args[1:], "")
	text, err := os.ReadFile(filepath.Join(ts.Getenv("SAMPLES"), "..", folder, "README.md"))
	ts.Check(err)
	_, section, ok := strings.Cut(string(text), "\n## "+args[0]+"\n")
	if !ok {
		ts.Fatalf("README.md has no section %q", args[0])
	}
	section, _, _ = strings.Cut(section, "\n## ")
	w := ts.Value("walk").(*walk)
	if w.steps = stepsOf(section); len(w.steps) == 0 {
		ts.Fatalf("there is nothing to do in section %q", args[0])
	}
}

// step WHAT takes the README's next step, which is the file or begins with the command
// WHAT, and does what it says; what the README shows must be printed, and nothing else,
// but for its dates. until WHAT beside it types the command again until that is printed.
// reads WHAT takes the step without doing it.
func cmdStep(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 || len(args) > 2 || len(args) == 2 && args[0] != "until" && args[0] != "reads" {
		ts.Fatalf("usage: step [until|reads] WHAT")
	}
	w, what := ts.Value("walk").(*walk), args[len(args)-1]
	if len(w.steps) == 0 {
		ts.Fatalf("the README's section has no step after the last")
	}
	s := w.steps[0]
	w.steps = w.steps[1:]
	switch {
	case s.file != what && !strings.HasPrefix(s.text, what):
		ts.Fatalf("the README's next step is %q: %q", s.file, s.text)
	case args[0] == "reads":
		return
	case s.file != "":
		path := ts.MkAbs(s.file)
		ts.Check(os.MkdirAll(filepath.Dir(path), 0o755))
		ts.Check(os.WriteFile(path, []byte(s.text), 0o644))
		return
	}
	ts.Logf("%s", s.text)
	typed := words(s.text)
	if s.shell {
		typed = []string{"sh", "-c", s.text}
	}
	want := undated(strings.Join(s.printed, "\n"))
	said := func() string {
		ts.Check(ts.Exec(typed[0], typed[1:]...))
		if want == "" { // the README shows no answer
			return ""
		}
		return undated(strings.TrimSuffix(ts.ReadFile("stdout"), "\n"))
	}
	got := said()
	if args[0] == "until" {
		poll(patience, func() bool { got = said(); return got == want })
	}
	if got != want {
		ts.Fatalf("the README shows\n%s\nbut printed is\n%s", want, got)
	}
}

func undated(s string) string { return dated.ReplaceAllString(s, "2000-01-01") }

// walked asks that the README has no more steps in the section.
func cmdWalked(ts *testscript.TestScript, neg bool, args []string) {
	if w := ts.Value("walk").(*walk); neg || len(args) > 0 || len(w.steps) > 0 {
		ts.Fatalf("the README goes on: %+v", w.steps)
	}
}
