package english

import (
	"strconv"

	"telltale/rules/unit"
)

// Plural counts what takes an s: "1 sample", "3 samples".
func Plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}

// Days is "1 day" or "3 days".
func Days(n int) string { return Plural(n, "day") }

// Counted counts by either word, with commas: "1 advisory", "1,200 advisories".
func Counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return unit.Grouped(float64(n)) + " " + many
}
