package table

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// What a table may hold at most. A spreadsheet of 16 MiB has some 100,000 rows.
const (
	maxBytes   = 16 << 20
	maxRows    = 200_000
	maxColumns = 500
	maxCell    = 8 << 10
)

// row is one row with its number as a spreadsheet shows it.
type row struct {
	number int
	cells  []string
}

// readAll reads at most maxBytes.
func readAll(file string, r io.Reader) ([]byte, error) {
	raw, err := io.ReadAll(io.LimitReader(r, maxBytes+1))
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", file, err)
	}
	if len(raw) > maxBytes {
		return nil, Faults{{File: file, Text: fmt.Sprintf("it has more than %d MiB", maxBytes>>20), Hint: "split it into several files"}}
	}
	return raw, nil
}

// rows splits the text. Rows without any text are skipped; their numbers are not.
func (m *Mapping) rows(file, text string) (head row, body []row, faults Faults) {
	in := csv.NewReader(strings.NewReader(text))
	in.Comma, in.FieldsPerRecord = m.delimiter, -1
	folded := 0 // line ends within cells before this row
	for {
		cells, err := in.Read()
		if errors.Is(err, io.EOF) {
			return head, body, faults
		}
		if err != nil {
			return head, body, append(faults, m.csvFault(file, err, folded))
		}
		line, _ := in.FieldPos(0)
		r := row{line - folded, cells}
		for _, c := range cells {
			folded += strings.Count(c, "\n")
		}
		switch {
		case blankRow(cells) || r.number < m.heading:
			continue
		case len(cells) > maxColumns:
			return head, body, append(faults, Fault{File: file, Row: r.number, Col: maxColumns + 1, Text: fmt.Sprintf("%d columns, more than %d", len(cells), maxColumns)})
		case len(body) == maxRows:
			return head, body, append(faults, Fault{File: file, Row: r.number, Text: fmt.Sprintf("more than %d rows", maxRows), Hint: "split it into several files"})
		}
		if head.cells == nil {
			head = r
			continue
		}
		body = append(body, r)
	}
}

func blankRow(cells []string) bool {
	return !slices.ContainsFunc(cells, func(c string) bool { return strings.TrimFunc(c, isBlank) != "" })
}

// csvFault places a fault of the form; nothing after it can be trusted.
func (m *Mapping) csvFault(file string, err error, folded int) Fault {
	f := Fault{File: file, Text: err.Error()}
	var at *csv.ParseError
	if !errors.As(err, &at) {
		return f
	}
	f.Row, f.Col = at.StartLine-folded, 1
	switch {
	case errors.Is(at.Err, csv.ErrQuote):
		f.Text = "a quoted cell that goes on after its closing quote, or is never closed"
	case errors.Is(at.Err, csv.ErrBareQuote):
		f.Text = "a quote within a cell that is not quoted"
	}
	f.Text += fmt.Sprintf(" (line %d, byte %d)", at.Line, at.Column)
	f.Hint = `a cell with a quote is written "so ""quoted"" here"; nothing after it was read`
	return f
}
