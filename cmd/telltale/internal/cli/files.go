package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules"
)

// RuleFiles reads every rule file of a folder, in order of name.
func RuleFiles(dir string) ([]rules.File, error) {
	var files []rules.File
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, Exit(2, fmt.Errorf("reading the rules: %w", err))
	}
	for _, e := range entries {
		if ext := filepath.Ext(e.Name()); e.IsDir() || ext != ".yaml" && ext != ".yml" {
			continue
		}
		path := filepath.Join(dir, e.Name())
		if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
			return nil, Exit(2, fmt.Errorf("reading the rules: %s is not a file", path)) // a pipe would be waited for
		}
		text, err := os.ReadFile(path)
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

// Book reads and checks the rules of a folder; faults come all at once.
func Book(dir string) (*rules.Book, error) {
	files, err := RuleFiles(dir)
	if err != nil {
		return nil, err
	}
	book, err := rules.Load(files)
	if err != nil {
		return nil, Exit(2, fmt.Errorf("the rules have faults:\n%w", err))
	}
	return book, nil
}

// Register reads a register of vehicles as the events that register them.
func Register(path string, at time.Time) ([]event.Event, error) {
	text, err := os.ReadFile(path)
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
