// Package buses reads a real series of odometers for tests: 126 buses, one reading a month
// (Rust 1987; from the public replication repository OpenSourceEconomics/zurcher-data,
// MIT). It lies beside this repository; without it a test says so and skips, which in CI is
// a failure.
package buses

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

// Rows are the rows of the series, each by the headings of its columns.
func Rows(t *testing.T) (out []map[string]string) {
	t.Helper()
	f, err := os.Open(path(t))
	if err != nil {
		if os.Getenv("TELLTALE_CI") != "" {
			t.Fatal(err)
		}
		t.Skip("the real bus series is not here; TELLTALE_CI makes this a failure: ", err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		named := map[string]string{}
		for i, name := range rows[0] {
			named[name] = row[i]
		}
		out = append(out, named)
	}
	return out
}

// path is where the series lies, from any package of the repository.
func path(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	for err == nil && dir != filepath.Dir(dir) {
		if _, missing := os.Stat(filepath.Join(dir, "go.mod")); missing == nil {
			break
		}
		dir = filepath.Dir(dir)
	}
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "..", "shared", "references", "tables", "bus_odometer_1987.csv")
}

// Bus is one of them, with its readings in order.
type Bus struct {
	Group, ID string
	Readings  []Reading
}

// Reading is what the odometer showed, taken as of the first of its month.
type Reading struct {
	At    int64 // Unix seconds
	Miles float64
}

// Series are the buses in the order of the file.
func Series(t *testing.T) (out []Bus) {
	t.Helper()
	for _, row := range Rows(t) {
		number := func(column string) int {
			n, err := strconv.Atoi(row[column])
			if err != nil {
				t.Fatal(err)
			}
			return n
		}
		if n := len(out); n == 0 || out[n-1].ID != row["bus_id"] || out[n-1].Group != row["group"] {
			out = append(out, Bus{Group: row["group"], ID: row["bus_id"]})
		}
		b := &out[len(out)-1]
		at := time.Date(number("year"), time.Month(number("month")), 1, 0, 0, 0, 0, time.UTC).Unix()
		b.Readings = append(b.Readings, Reading{at, float64(number("odometer_mi"))})
	}
	return out
}
