package files

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"telltale/engine/intake/table"
	mailpage "telltale/notify/page"
)

// folder is the fleet's, in which the mappings are.
type folder struct{ dir string }

// mostMappings is how many mappings of the folder are offered.
const mostMappings = 200

func (f folder) mappings() string { return filepath.Join(f.dir, "mappings") }

// offered is a mapping of the folder.
type offered struct {
	Name  string
	Is    string // what it reads
	Fault string // why it cannot be read; "" where it can
}

// list are the mappings of the folder, by name.
func (f folder) list() ([]offered, error) {
	if f.dir == "" {
		return nil, nil
	}
	entries, err := os.ReadDir(f.mappings())
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading the folder's mappings: %w", err)
	}
	var out []offered
	for _, e := range entries {
		if ext := filepath.Ext(e.Name()); ext != ".yaml" && ext != ".yml" || len(out) == mostMappings {
			continue
		}
		one := offered{Name: e.Name()}
		text, err := f.read(e.Name())
		if err == nil {
			var m *table.Mapping
			if m, err = table.ReadMapping(e.Name(), text); err == nil {
				one.Is = m.Imports()
			}
		}
		if err != nil {
			one.Fault = err.Error()
		}
		out = append(out, one)
	}
	return out, nil
}

// read is the text of a mapping that the folder has.
func (f folder) read(name string) ([]byte, error) {
	if f.dir == "" || name != filepath.Base(name) {
		return nil, fs.ErrNotExist
	}
	file, err := os.Open(filepath.Join(f.mappings(), name))
	if err != nil {
		return nil, err
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, maxMapping+1))
	if err == nil && len(text) > maxMapping {
		err = fmt.Errorf("it has more than %d KiB", maxMapping>>10)
	}
	return text, err
}

// saveable is how a mapping of the folder may be called.
var saveable = regexp.MustCompile(`^[a-z0-9][a-z0-9_-]{0,59}$`)

// save writes a mapping into the folder, as a file that is not there yet.
func (f folder) save(name string, text []byte) error {
	if err := os.MkdirAll(f.mappings(), 0o755); err != nil {
		return fmt.Errorf("saving the mapping: %w", err)
	}
	path := filepath.Join(f.mappings(), name)
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return fmt.Errorf("saving the mapping: %w", err)
	}
	_, err = file.Write(text)
	if err = errors.Join(err, file.Close()); err != nil {
		return fmt.Errorf("saving the mapping: %w", errors.Join(err, os.Remove(path)))
	}
	return nil
}

// plainName is the name of a file that somebody sent, without a path, of a length that a
// fault can begin with.
func plainName(name, or string) string {
	name = filepath.Base(strings.ReplaceAll(name, `\`, "/"))
	name = mailpage.Clean(name, 200)
	if r := []rune(name); len(r) > 60 {
		name = string(r[len(r)-60:])
	}
	if strings.Trim(name, "./ ") == "" {
		return or
	}
	return name
}
