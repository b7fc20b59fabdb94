package operator

import (
	"bytes"
	"encoding/csv"
	"strings"

	"telltale/notify/board/frame"
)

// table is a CSV file to save (RFC 4180).
type table struct {
	b bytes.Buffer
	w *csv.Writer
}

func newTable(head ...string) *table {
	t := &table{}
	t.w = csv.NewWriter(&t.b)
	t.w.UseCRLF = true
	t.row(head...)
	return t
}

// row adds a line. A cell that a spreadsheet would take for a formula gets an apostrophe
// before it: names come from outside.
func (t *table) row(cells ...string) {
	for i, c := range cells {
		if c != "" && strings.ContainsRune("=+-@\t\r", rune(c[0])) {
			cells[i] = "'" + c
		}
	}
	_ = t.w.Write(cells) // a buffer takes all
}

func (t *table) page(name string) *frame.Page {
	t.w.Flush()
	return &frame.Page{File: &frame.File{Type: "text/csv; charset=utf-8", Name: name, Body: t.b.Bytes()}}
}
