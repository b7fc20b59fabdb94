package table

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

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

func encodingNames() []string { return slices.Sorted(maps.Keys(encodings)) }

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
	f.Text = fmt.Sprintf("a character that is none of %s, after %q", m.encoding, short(lastRunes(before, 20)))
	if m.encoding == "utf-8" {
		f.Hint = m.cure("encoding: windows-1252") + " (or " + strings.Join(encodingNames(), ", ") + ")"
	}
	return f
}

func lastRunes(s string, n int) string {
	r := []rune(s)
	return string(r[max(0, len(r)-n):])
}
