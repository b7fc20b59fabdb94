package table

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"
)

// Writing is how the cells of a file are written, in the words of a mapping.
type Writing struct {
	Encoding, Delimiter string // "utf-8", "comma"
	Heading             int    // the row of the headings, from 1
}

// Looked is a table of which nobody has said yet what it means.
type Looked struct {
	Headings []string   // as a mapping names them: without line ends and double blanks
	First    [][]string // the first rows, each with as many cells as there are headings
	Rows     int        // with anything in them, below the headings
}

// delimiterWords are the marks between cells and what a mapping calls them.
var delimiterWords = []string{"comma", "semicolon", "tab", "bar"}

// maxHeading bounds a heading that people are shown to say what it means.
const maxHeading = 1 << 10

const delimiterRunes = ",;\t|"

// Encodings are the words for how letters are written.
func Encodings() []string { return slices.Clone(encodingNames) }

// Delimiters are the words for the marks between cells.
func Delimiters() []string { return slices.Clone(delimiterWords) }

// Look reads the columns of a file and its first rows, at most most. A file that is not
// written so is a Faults.
func Look(file string, in io.Reader, w Writing, most int) (*Looked, error) {
	m := &Mapping{name: "the way in which it is written", encoding: w.Encoding, heading: w.Heading}
	d := slices.Index(delimiterWords, w.Delimiter)
	if d < 0 || !slices.Contains(encodingNames, w.Encoding) || w.Heading < 1 {
		return nil, fmt.Errorf("reading %s: no file is written as %+v", file, w)
	}
	m.delimiter = rune(delimiterRunes[d])
	text, err := m.text(file, in)
	if err != nil {
		return nil, err
	}
	head, body, faults := m.rows(file, text)
	if len(faults) == 0 && head.cells == nil {
		faults = Faults{{File: file, Text: fmt.Sprintf("it has no row %d with headings", w.Heading)}}
	}
	if len(faults) > 0 {
		return nil, faults
	}
	out := &Looked{Rows: len(body)}
	for i, c := range head.cells {
		if len(c) > maxHeading {
			return nil, Faults{{File: file, Row: head.number, Col: i + 1, Text: fmt.Sprintf("a heading of %d bytes; the limit is %d", len(c), maxHeading)}}
		}
		out.Headings = append(out.Headings, oneBlank(c))
	}
	for _, r := range body[:min(most, len(body))] {
		cells := make([]string, len(head.cells))
		copy(cells, r.cells)
		out.First = append(out.First, cells)
	}
	return out, nil
}

// Seems is how a file seems to be written, for a person to look at what comes of it: by
// its first bytes, and by the mark that parts its first rows into the most cells.
func Seems(raw []byte) Writing {
	w := Writing{Encoding: "utf-8", Delimiter: delimiterWords[0], Heading: 1}
	switch {
	case bytes.HasPrefix(raw, bomLE), bytes.HasPrefix(raw, bomBE):
		w.Encoding = "utf-16"
	case bytes.IndexByte(raw[:min(len(raw), 200)], 0) >= 0:
		w.Encoding = "utf-16le"
	case !utf8.Valid(raw):
		w.Encoding = "windows-1252"
	}
	text, fault := (&Mapping{encoding: w.Encoding}).decode("", raw)
	if fault != nil {
		return w
	}
	most := 1
	for i, word := range delimiterWords {
		if n := parted(text, rune(delimiterRunes[i])); n > most {
			most, w.Delimiter = n, word
		}
	}
	return w
}

// parted is the fewest cells of the first rows; 0 where the mark parts none.
func parted(text string, mark rune) int {
	in := csv.NewReader(strings.NewReader(text))
	in.Comma, in.FieldsPerRecord = mark, -1
	least := 0
	for i := 0; i < 5; i++ {
		cells, err := in.Read()
		if err != nil {
			break
		}
		if n := len(cells); !blankRow(cells) && (least == 0 || n < least) {
			least = n
		}
	}
	return least
}
