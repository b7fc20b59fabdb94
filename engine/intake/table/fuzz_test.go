package table

import (
	"errors"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"golang.org/x/tools/txtar"

	"telltale/engine/intake"
	"telltale/rules/source"
)

// FuzzRead reads any file by any mapping: it ends, all or nothing, with faults that
// have a place, and what it makes are events that any other way in would take.
func FuzzRead(f *testing.F) {
	names, _ := filepath.Glob("testdata/*.txtar")
	for _, name := range names {
		ar, err := txtar.ParseFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(part(ar, "map.yaml"), part(ar, "file.csv"))
	}
	f.Fuzz(func(t *testing.T, mapping, file string) {
		m, err := ReadMapping("map.yaml", []byte(mapping))
		if err != nil {
			if !errors.As(err, new(source.Faults)) {
				t.Fatalf("a mapping's fault has no place: %v", err)
			}
			return
		}
		table, err := m.Read("file.csv", strings.NewReader(file), nil)
		if err != nil {
			faults := Faults(nil)
			if !errors.As(err, &faults) || len(faults) == 0 || table != nil {
				t.Fatalf("table %v, error %v", table, err)
			}
			return
		}
		for _, ev := range table.Events {
			text, err := intake.Encode(ev)
			if err != nil {
				t.Fatal(err)
			}
			read, err := intake.Decode(text)
			read.Line = ev.Line
			if err != nil || !reflect.DeepEqual(read, ev) {
				t.Fatalf("%s: %v", text, err)
			}
		}
	})
}
