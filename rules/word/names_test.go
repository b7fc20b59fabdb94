package word

import (
	"encoding/csv"
	"slices"
	"strings"
	"testing"
)

// TestNamesTable: a name stands once in the table, so that each is another name of one
// thing alone.
func TestNamesTable(t *testing.T) {
	rows, err := csv.NewReader(strings.NewReader(namesTable)).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%d rows: %v", len(rows), err)
	}
	firsts, seen := map[string]bool{}, map[string]bool{}
	for _, row := range rows[1:] {
		firsts[row[0]] = true
		if seen[row[1]] || row[0] == row[1] || row[0] == "" || row[1] == "" {
			t.Errorf("%q is given twice, or as another name of itself", row)
		}
		seen[row[1]] = true
	}
	for name := range seen {
		if firsts[name] {
			t.Errorf("%q is one of the chapters' names and another's other name", name)
		}
	}
}

func TestOtherNames(t *testing.T) {
	for _, name := range []string{"petrol engine", "gasoline engine"} {
		if got := Names(name); !slices.Equal(got, []string{"petrol engine", "gasoline engine"}) {
			t.Errorf("%s is called %q", name, got)
		}
	}
	if got := Names("steam engine"); !slices.Equal(got, []string{"steam engine"}) {
		t.Errorf("a steam engine is called %q", got)
	}
}
