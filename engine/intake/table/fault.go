package table

import (
	"fmt"
	"strings"
)

// Fault is one thing in a table that cannot be used. Row and Col are from 1, as a
// spreadsheet counts them; Row is 0 where the whole file is at fault.
type Fault struct {
	File     string
	Row, Col int
	Text     string // what is wrong, without a full stop
	Hint     string // the line of the mapping that would have worked, or another cure; empty where there is none
}

// shownFaults bounds how many faults of a file are written out: a wrong mark is
// wrong in every row.
const shownFaults = 20

// Faults are all faults of a file, by row and column.
type Faults []Fault

// Error gives each fault as `file:row:column: text` and its hint, the first twenty
// in full and the number of the others.
func (fs Faults) Error() string {
	var lines []string
	for i := range fs[:min(len(fs), shownFaults)] {
		lines = append(lines, fs[i].String())
	}
	if n := len(fs) - shownFaults; n > 0 {
		lines = append(lines, fmt.Sprintf("… and %d more of the same file", n))
	}
	return strings.Join(lines, "\n")
}

// String gives one fault as Faults.Error does.
func (f *Fault) String() string {
	at := f.File
	if f.Row > 0 {
		at = fmt.Sprintf("%s:%d:%d", f.File, f.Row, max(f.Col, 1))
	}
	s := at + ": " + f.Text
	if f.Hint != "" {
		s += "\nhint: " + f.Hint
	}
	return s
}
