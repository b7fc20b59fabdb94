package operator

import (
	"bytes"
	"encoding/csv"

	"telltale/notify/board/frame"
	"telltale/notify/cells"
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

// row adds a line. Names come from outside.
func (t *table) row(row ...string) {
	for i, c := range row {
		row[i] = cells.Harmless(c)
	}
	_ = t.w.Write(row) // a buffer takes all
}

func (t *table) page(name string) *frame.Page {
	t.w.Flush()
	return &frame.Page{File: &frame.File{Type: "text/csv; charset=utf-8", Name: name, Body: t.b.Bytes()}}
}
