package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules"
)

// Texts are those of files that an editor has open, by path. They stand in place of what
// lies there.
type Texts map[string]string

// Read is the text of a file as it is open, or else as it lies there.
func (t Texts) Read(path string) ([]byte, error) {
	if text, ok := t[path]; ok {
		return []byte(text), nil
	}
	return os.ReadFile(path)
}

// Has reports whether there is such a file.
func (t Texts) Has(path string) bool {
	_, open := t[path]
	return open || Exists(path)
}

// RuleFiles reads every rule file of a folder, in order of name.
func (t Texts) RuleFiles(dir string) (files []rules.File, err error) {
	paths, err := t.rulePaths(dir)
	if err != nil {
		return nil, Exit(2, fmt.Errorf("reading the rules: %w", err))
	}
	for _, path := range paths {
		if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
			return nil, Exit(2, fmt.Errorf("reading the rules: %s is not a file", path)) // a pipe would be waited for
		}
		text, err := t.Read(path)
		if err != nil {
			return nil, Exit(2, fmt.Errorf("reading the rules: %w", err))
		}
		files = append(files, rules.File{Name: path, Text: text})
	}
	if len(files) == 0 {
		return nil, Exit(2, Hint(fmt.Errorf("no rule files (*.yaml) in %s", dir), "a file that begins with `book: 1` is enough to start with"))
	}
	return files, nil
}

// rulePaths are the rule files that lie in a folder or are open of it.
func (t Texts) rulePaths(dir string) (paths []string, err error) {
	for path := range t {
		if filepath.Dir(path) == dir {
			paths = append(paths, path)
		}
	}
	entries, err := os.ReadDir(dir)
	if err != nil && len(paths) == 0 {
		return nil, err
	}
	for _, e := range entries {
		if !e.IsDir() {
			paths = append(paths, filepath.Join(dir, e.Name()))
		}
	}
	slices.Sort(paths)
	return slices.DeleteFunc(slices.Compact(paths), func(path string) bool {
		ext := filepath.Ext(path)
		return ext != ".yaml" && ext != ".yml"
	}), nil
}

// Book reads and checks the rules of a folder; faults come all at once.
func Book(dir string) (*rules.Book, error) {
	files, err := Texts{}.RuleFiles(dir)
	if err != nil {
		return nil, err
	}
	return Load(files)
}

// Load checks the rules in files; faults come all at once.
func Load(files []rules.File) (*rules.Book, error) {
	book, err := rules.Load(files)
	if err != nil {
		return nil, Exit(2, fmt.Errorf("the rules have faults:\n%w", err))
	}
	return book, nil
}

// Register reads a register of vehicles as the events that register them.
func Register(path string, at time.Time) ([]event.Event, error) { return Texts{}.Register(path, at) }

// Register reads a register as the function of that name does.
func (t Texts) Register(path string, at time.Time) ([]event.Event, error) {
	text, err := t.Read(path)
	if err != nil {
		return nil, Exit(2, fmt.Errorf("reading the register: %w", err))
	}
	events, err := intake.Register(path, text, at)
	if err != nil {
		return nil, Exit(2, fmt.Errorf("the register has faults:\n%w", err))
	}
	return events, nil
}

// Exists reports whether there is such a file or folder.
func Exists(path string) bool {
	_, err := os.Stat(path)
	return !errors.Is(err, fs.ErrNotExist)
}
