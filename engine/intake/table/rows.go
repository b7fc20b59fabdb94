package table

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"unicode/utf8"

	"telltale/engine/intake/typed"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
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
	return !slices.ContainsFunc(cells, func(c string) bool { return strings.TrimFunc(c, typed.IsBlank) != "" })
}

// csvFault places a fault of the form; nothing after it can be trusted.
func (m *Mapping) csvFault(file string, err error, folded int) Fault {
	f := Fault{File: file, Text: err.Error()}
	at, ok := errors.AsType[*csv.ParseError](err)
	if !ok {
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

// encodings are the names that a mapping may give. A byte order mark is dropped
// wherever there is one; utf-16 needs it, to know which byte comes first.
var encodings = map[string]encoding.Encoding{
	"utf-8":        nil,
	"utf-16":       unicode.UTF16(unicode.BigEndian, unicode.ExpectBOM),
	"utf-16le":     unicode.UTF16(unicode.LittleEndian, unicode.UseBOM),
	"utf-16be":     unicode.UTF16(unicode.BigEndian, unicode.UseBOM),
	"windows-1250": charmap.Windows1250, "windows-1251": charmap.Windows1251, "windows-1252": charmap.Windows1252,
	"windows-1253": charmap.Windows1253, "windows-1254": charmap.Windows1254, "windows-1257": charmap.Windows1257,
	"iso-8859-1": charmap.ISO8859_1, "iso-8859-2": charmap.ISO8859_2, "iso-8859-15": charmap.ISO8859_15,
	"ibm437": charmap.CodePage437, "ibm850": charmap.CodePage850, "macintosh": charmap.Macintosh,
}

var encodingNames = slices.Sorted(maps.Keys(encodings))

var (
	bomUTF8 = []byte("\xEF\xBB\xBF")
	bomLE   = []byte("\xFF\xFE")
	bomBE   = []byte("\xFE\xFF")
)

// decode gives the file as text with one sort of line end. A fault stands at
// the row and column where the first byte is that cannot be read.
func (m *Mapping) decode(file string, raw []byte) (string, *Fault) {
	enc := encodings[m.encoding]
	if utf16 := bytes.HasPrefix(raw, bomLE) || bytes.HasPrefix(raw, bomBE); utf16 && !strings.HasPrefix(m.encoding, "utf-16") {
		return "", &Fault{File: file, Row: 1, Col: 1, Text: "the file begins as UTF-16 does, but is to be read as " + m.encoding, Hint: m.cure("encoding: utf-16")}
	}
	if bytes.HasPrefix(raw, bomUTF8) {
		if m.encoding != "utf-8" {
			return "", &Fault{File: file, Row: 1, Col: 1, Text: "the file begins as UTF-8 does, but is to be read as " + m.encoding, Hint: m.cure("encoding: utf-8")}
		}
		raw = raw[len(bomUTF8):]
	}
	text := string(raw)
	if enc != nil {
		b, err := enc.NewDecoder().Bytes(raw)
		if err != nil {
			return "", &Fault{File: file, Row: 1, Col: 1, Text: fmt.Sprintf("reading it as %s: %v", m.encoding, err), Hint: m.cure("encoding: utf-16le")}
		}
		text = string(b)
	}
	text = strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(text)
	if at := strings.IndexFunc(text, unreadable); at >= 0 || !utf8.ValidString(text) {
		return "", m.notText(file, text)
	}
	return text, nil
}

// unreadable are the characters that no table of texts and numbers holds; the
// replacement character stands for a byte that is none of the encoding.
func unreadable(r rune) bool {
	return r == utf8.RuneError || r < ' ' && r != '\n' && r != '\t' || r == 0x7f
}

func (m *Mapping) notText(file, text string) *Fault {
	at := strings.IndexFunc(text, unreadable)
	line := strings.Count(text[:at], "\n") + 1
	before := text[strings.LastIndexByte(text[:at], '\n')+1 : at]
	f := &Fault{File: file, Row: line, Col: strings.Count(before, string(m.delimiter)) + 1}
	if r, _ := utf8.DecodeRuneInString(text[at:]); r == 0 && m.encoding == "utf-8" {
		f.Text, f.Hint = "a zero byte: the file is not UTF-8", m.cure("encoding: utf-16le")
		return f
	}
	last := []rune(before)
	f.Text = fmt.Sprintf("a character that is not in %s, after %q", m.encoding, string(last[max(0, len(last)-20):]))
	if m.encoding == "utf-8" {
		f.Hint = m.cure("encoding: windows-1252") + " (or " + strings.Join(encodingNames, ", ") + ")"
	}
	return f
}
