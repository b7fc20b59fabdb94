package main

import (
	"fmt"
	"maps"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// TestReadmeMails holds the table of mails in notify/README.md to what a preview of the sample
// year counts, and the keepers of one vehicle to two a month and twelve in the year.
func TestReadmeMails(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../../notify/README.md")
	if err != nil {
		t.Fatal(err)
	}
	counts := map[string]*[13]int{}
	for _, m := range regexp.MustCompile(`(?m)^(\w+)  2031-(\d\d)  (\d+) messages?$`).FindAllStringSubmatch(sampleYear(t).printed, -1) {
		month, _ := strconv.Atoi(m[2])
		n, _ := strconv.Atoi(m[3])
		if counts[m[1]] == nil {
			counts[m[1]] = new([13]int)
		}
		counts[m[1]][month-1] += n
		counts[m[1]][12] += n
	}
	var want strings.Builder
	for _, who := range slices.Sorted(maps.Keys(counts)) {
		fmt.Fprintf(&want, "| %s |", who)
		for _, n := range counts[who] {
			fmt.Fprintf(&want, " %d |", n)
		}
		want.WriteByte('\n')
	}
	before, table, _ := strings.Cut(string(text), "| mails in 2031 |")
	head, rows, _ := strings.Cut(table, " --- |\n")
	rows, after, _ := strings.Cut(rows, "\n\n")
	switch {
	case rows+"\n" == want.String():
	case *update:
		text := before + "| mails in 2031 |" + head + " --- |\n" + want.String() + "\n" + after
		if err := os.WriteFile("../../notify/README.md", []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	default:
		t.Errorf("notify/README.md is stale (write it anew with -update); it should say:\n%s", &want)
	}
	for _, who := range []string{"maud", "tobias"} {
		if n := counts[who][12]; n > 12 {
			t.Errorf("%s gets %d mails in the year, want twelve at most", who, n)
		}
		for month, n := range counts[who][:12] {
			if n > 2 {
				t.Errorf("%s gets %d mails in month %d, want two at most", who, n, month+1)
			}
		}
	}
}
