package post

import (
	"fmt"
	"runtime"
	"strings"
	"testing"
)

// A batch of four million pieces is refused without taking them in, and one that is cut, goes
// on behind its end or holds a bomb stores nothing.
func TestBatchesAsWeapons(t *testing.T) {
	h, token, log := start(t)
	before := last(t, log)
	one := fmt.Sprintf(reading, 1, "bus-07")
	for name, c := range map[string]struct {
		body string
		want int
	}{
		"four million":       {"[" + strings.Repeat("1,", maxBody/2-2) + "1]", 413},
		"no end":             {"[" + one, 400},
		"a comma at the end": {"[" + one + ",]", 400},
		"no comma":           {"[" + one + one + "]", 400},
		"two arrays":         {"[" + one + "][" + one + "]", 400},
		"more behind it":     {"[" + one + "] x", 400},
		"an object":          {`{"0":` + one + `}`, 400},
		"in itself":          {"[[" + one + "]]", 422},
		"deep":               {"[" + strings.Repeat("[", maxBody/2) + "]", 400},
		"deep, and ended":    {"[" + strings.Repeat("[", 5000) + strings.Repeat("]", 5000) + "]", 422},
		"a mark before it":   {"\ufeff[" + one + "]", 400},
		"NUL":                {"\x00", 400},
		"nothing":            {"", 400},
	} {
		var was, is runtime.MemStats
		runtime.ReadMemStats(&was)
		status, said := posted(t, h, "Bearer "+token, batch, c.body)
		runtime.ReadMemStats(&is)
		if taken := (is.TotalAlloc - was.TotalAlloc) >> 20; status != c.want || taken > 100 || len(said) > 10_000 {
			t.Errorf("%s: %d, want %d; %d MiB\n%.300s", name, status, c.want, taken, said)
		}
	}
	if now := last(t, log); now != before {
		t.Errorf("the log grew by %d", now-before)
	}
}
