package chapters_test

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"telltale/engine/cases"
	"telltale/rules"
	"telltale/rules/chapters"
)

func TestAll(t *testing.T) {
	var got []string
	for _, c := range chapters.All() {
		got = append(got, c.Name)
		if c.About == "" || strings.HasPrefix(c.About, "#") || !strings.HasSuffix(c.About, ".") {
			t.Errorf("%s is about %q: the first line of the file tells in a sentence", c.Name, c.About)
		}
	}
	if want := "[automatic-transmission data-quality engine-oil light-vehicle-schedule wear-parts]"; fmt.Sprint(got) != want {
		t.Errorf("chapters %v, want %s", got, want)
	}
}

// Each chapter is whole in itself, asks no question, names what to mind, and its
// cases raise and clear every stage. What waits for a figure is not judged, so no
// case can show it.
func TestCases(t *testing.T) {
	for _, c := range chapters.All() {
		t.Run(c.Name, func(t *testing.T) {
			book, err := c.Book(c.File())
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range append(book.Questions, book.Uncautioned...) {
				t.Error(f.String())
			}
			allShown(t, book)
		})
	}
}

// allShown asks for cases that all come out as expected, and raise and clear every stage.
func allShown(t *testing.T, book *rules.Book) {
	t.Helper()
	results, gaps := cases.Run(book, nil)
	if len(results) == 0 {
		t.Error("it has no cases")
	}
	for i := range results {
		if !results[i].OK() {
			t.Error(results[i].String())
		}
	}
	for _, g := range gaps {
		t.Error(g.String())
	}
}

// All of them together make a book, as in a fleet that copies all.
func TestTogether(t *testing.T) {
	var files []rules.File
	for _, c := range chapters.All() {
		files = append(files, rules.File{Name: c.File(), Text: c.Text})
	}
	book, err := rules.Load(files)
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range book.Questions {
		t.Error(q.String())
	}
}

// mark is what tells where a figure comes from: a publication with its section, page
// or table, or that there is none.
var mark = regexp.MustCompile(`common practice, no source|from memory|\b(p\.|para\.|table|CFR|SAE|ISO|ASTM) ?[0-9A-Z]|JOAP manual|as a public page quotes it`)

// A figure comes from something published, is common practice without a source,
// from memory, or is for the user to find where it says.
func TestEveryFigureHasASource(t *testing.T) {
	for _, c := range chapters.All() {
		book, err := c.Book(c.File())
		if err != nil {
			t.Fatal(err)
		}
		figures := book.Figures()
		if len(figures) == 0 {
			t.Errorf("%s has no figures", c.Name)
		}
		for _, f := range figures {
			if f.Source == "" {
				t.Errorf("%s: nobody says where %s of %s, %s, comes from", f.At, f.Key, f.Of, f.Value)
			}
			if f.Value != "fill in" && !mark.MatchString(f.Source) {
				t.Errorf("%s: %q names no section, and does not say that there is no source", f.At, f.Source)
			}
		}
	}
}

func TestNamed(t *testing.T) {
	c, err := chapters.Named("engine-oil")
	if err != nil || c.Name != "engine-oil" {
		t.Errorf("%q, %v", c.Name, err)
	}
	_, err = chapters.Named("engin-oil")
	if want := (chapters.Unknown{Name: "engin-oil", Near: "engine-oil"}); err != error(want) {
		t.Errorf("%#v, want %#v", err, want)
	}
	_, err = chapters.Named("sails and rigging")
	if want := (chapters.Unknown{Name: "sails and rigging"}); err != error(want) {
		t.Errorf("%#v, want %#v", err, want)
	}
}

func TestCopyNeverOverwrites(t *testing.T) {
	c, err := chapters.Named("data-quality")
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "fleet", "rules")
	path, err := c.Copy(dir)
	if err != nil || path != filepath.Join(dir, "data-quality.yaml") {
		t.Fatalf("%q, %v", path, err)
	}
	if got, err := os.ReadFile(path); err != nil || !bytes.Equal(got, c.Text) {
		t.Errorf("the copy differs: %v", err)
	}
	if err := os.WriteFile(path, []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := c.Copy(dir); !errors.Is(err, fs.ErrExist) {
		t.Errorf("%v, want fs.ErrExist", err)
	}
	if got, err := os.ReadFile(path); err != nil || string(got) != "mine" {
		t.Errorf("%q, %v: overwritten", got, err)
	}
}

// After fluid was let out, the work is looked at before the vehicle is released, and
// again some hundred kilometres after.
func TestDrainsAreLookedAtTwice(t *testing.T) {
	n := 0
	for _, c := range chapters.All() {
		book, err := c.Book(c.File())
		if err != nil {
			t.Fatal(err)
		}
		for _, task := range book.Tasks {
			if !slices.ContainsFunc(task.Needs, func(n rules.Need) bool { return n.Fluid != "" }) {
				continue
			}
			n++
			var release, later bool
			for _, f := range task.FollowUps {
				release = release || f.Within && strings.Contains(f.Title, "efore release") && strings.Contains(strings.ToLower(f.Title), "leak")
				later = later || !f.Within && f.At.Distance >= 100e3 && f.At.Distance <= 1000e3 && strings.Contains(strings.ToLower(f.Title), "leak")
				if len(f.Cautions) == 0 {
					t.Errorf("%s: %q names no cautions", c.Name, f.Name)
				}
			}
			if !release || !later {
				t.Errorf("%s: %q is looked at before release: %v, some hundred kilometres after: %v", c.Name, task.Name, release, later)
			}
		}
	}
	if n < 4 {
		t.Errorf("%d tasks let fluid out, want those of engine, transmission, brakes and cooling at least", n)
	}
}
