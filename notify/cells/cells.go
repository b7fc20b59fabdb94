// Package cells writes tables for spreadsheets and other programs.
package cells

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strings"

	"telltale/rules/english"
)

// Write writes rows, the heading first, as RFC 4180 has them. No cell begins as a formula
// does: what would has an apostrophe before it, which spreadsheets take for text. Those of
// the columns named are numbers, which may be negative, and are written as they are.
func Write(w io.Writer, rows [][]string, numbers ...int) error {
	for _, row := range rows {
		for i := range row {
			if !slices.Contains(numbers, i) {
				row[i] = Harmless(row[i])
			}
		}
	}
	if err := csv.NewWriter(w).WriteAll(rows); err != nil {
		return fmt.Errorf("writing the list: %w", err)
	}
	return nil
}

// Harmless is a cell that a spreadsheet does not run, whatever someone wrote into a note, and
// that turns no direction of writing.
func Harmless(s string) string {
	if s = english.Printable(s); s != "" && strings.ContainsRune("=+-@\t\r\n|%", rune(s[0])) {
		return "'" + s
	}
	return s
}
