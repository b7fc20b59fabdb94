// Package chapters holds rule files that are ready to be used: each of its YAML files
// is a chapter, whole in itself, with the source of every figure and cases that show
// what it does. A fleet copies those it wants into its own folder of rules, and what
// it copied is its own to change.
package chapters

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"telltale/rules"
	"telltale/rules/source"
)

//go:embed *.yaml
var files embed.FS

// Chapter is one ready-made rule file.
type Chapter struct {
	Name  string // by which it is asked for: "engine-oil"
	About string // what it is about, in a sentence
	Text  []byte // the file
}

// All are the chapters, in order of name.
func All() []Chapter {
	entries, err := fs.ReadDir(files, ".")
	if err != nil {
		panic(err) // the folder is compiled in
	}
	var out []Chapter
	for _, e := range entries {
		text, err := files.ReadFile(e.Name())
		if err != nil {
			panic(err)
		}
		first, _, _ := strings.Cut(string(text), "\n")
		out = append(out, Chapter{
			Name:  strings.TrimSuffix(e.Name(), ".yaml"),
			About: strings.TrimPrefix(first, "# "),
			Text:  text,
		})
	}
	return out
}

// Unknown says that there is no chapter of that name, and which one was likely meant.
type Unknown struct {
	Name string
	Near string // "" where none is near
}

func (u Unknown) Error() string { return fmt.Sprintf("there is no chapter %q", u.Name) }

// Named finds a chapter; the error is an Unknown.
func Named(name string) (Chapter, error) {
	var names []string
	for _, c := range All() {
		if c.Name == name {
			return c, nil
		}
		names = append(names, c.Name)
	}
	return Chapter{}, Unknown{Name: name, Near: source.Near(name, names)}
}

// File is the name that the chapter has in a folder of rules.
func (c Chapter) File() string { return c.Name + ".yaml" }

// Book compiles the chapter alone. File is the name by which its places are called.
func (c Chapter) Book(file string) (*rules.Book, error) {
	return rules.Load([]rules.File{{Name: file, Text: c.Text}})
}

// Copy writes the chapter into a folder of rules, which is made where it is missing,
// and returns where it lies. It never overwrites: a file that is there is
// an error that wraps fs.ErrExist.
func (c Chapter) Copy(dir string) (path string, err error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", fmt.Errorf("copying the chapter %q: %w", c.Name, err)
	}
	path = filepath.Join(dir, c.File())
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return "", fmt.Errorf("copying the chapter %q: %w", c.Name, err)
	}
	_, err = f.Write(c.Text)
	if err = errors.Join(err, f.Close()); err != nil {
		return "", fmt.Errorf("copying the chapter %q: %w", c.Name, errors.Join(err, os.Remove(path)))
	}
	return path, nil
}
