package source

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// likeLatin are letters of other scripts that look like Latin ones (confusables of
// Unicode Technical Standard 39, those of Cyrillic and Greek, from memory).
var likeLatin = func() map[rune]rune {
	m := map[rune]rune{}
	others, latin := []rune("АВЕЅІЈКМНОРСТУХаеѕіјкморстухһԁԛԝҮΑΒΕΖΗΙΚΜΝΟΡΤΥΧονρικυ"), []rune("ABESIJKMHOPCTYXaesijkmopctyxhdqwYABEZHIKMNOPTYXovpiku")
	for i, r := range others {
		m[r] = latin[i]
	}
	return m
}()

// latinised is the word with Latin letters for those that look like them, and without
// curly quotes around it.
func latinised(word string) string {
	return strings.Map(func(r rune) rune {
		if l, ok := likeLatin[r]; ok {
			return l
		}
		return r
	}, strings.Trim(word, "“”„‘’«»\"'`"))
}

// script names the script of a letter that looks like a Latin one.
func script(r rune) string {
	if unicode.Is(unicode.Greek, r) {
		return "Greek"
	}
	return "Cyrillic"
}

// lookAlike finds the first letter that only looks like a Latin one, among Latin letters;
// at counts bytes, -1 where there is none. A word with other letters of its script is none
// of them: it is written in that script.
func lookAlike(line string) (at int, r rune) {
	for from := 0; from < len(line); {
		first, size := utf8.DecodeRuneInString(line[from:])
		if !unicode.IsLetter(first) {
			from += size
			continue
		}
		end := strings.IndexFunc(line[from:], func(r rune) bool { return !unicode.IsLetter(r) })
		if end < 0 {
			end = len(line) - from
		}
		if at, r := mixed(line[from : from+end]); at >= 0 {
			return from + at, r
		}
		from += end
	}
	return -1, 0
}

func mixed(word string) (at int, found rune) {
	at, latin := -1, false
	for i, r := range word {
		switch _, like := likeLatin[r]; {
		case unicode.Is(unicode.Latin, r):
			latin = true
		case !like:
			return -1, 0
		case at < 0:
			at, found = i, r
		}
	}
	if !latin {
		return -1, 0
	}
	return at, found
}

// invisible are characters that nobody sees and that make two names of one, or turn text
// around; joiners, which some scripts need, are refused in names alone.
var invisible = map[rune]string{0xad: "a soft hyphen", 0x200b: "a zero-width space", 0x200e: "a mark of direction", 0x200f: "a mark of direction",
	0x2060: "a word joiner", 0x2066: "a mark of direction", 0x2067: "a mark of direction", 0x2068: "a mark of direction", 0x2069: "a mark of direction",
	0x202a: "a mark of direction", 0x202b: "a mark of direction", 0x202c: "a mark of direction", 0x202d: "a mark of direction", 0x202e: "a mark of direction",
	0x2028: "a line separator", 0x2029: "a paragraph separator", 0xfeff: "a byte order mark"}

// lettersLimit is how many of its characters are reported of a file; one with more is not
// read on.
const lettersLimit = 20

// letters reports the characters that no file should have, and reads each as what was
// meant, so that nothing else follows from it.
func (d *Document) letters() bool {
	left := lettersLimit
	for i := range d.lines {
		for f, ok := d.letter(i + 1); ok; f, ok = d.letter(i + 1) {
			d.Add(f)
			if left--; left == 0 {
				return false
			}
		}
	}
	return true
}

// letter finds the first wrong character of a line, and mends it.
func (d *Document) letter(n int) (f Fault, found bool) {
	line := d.lines[n-1]
	at, r, text, hint, with := -1, rune(0), "", "delete it", ""
	if !utf8.ValidString(line) {
		at = strings.IndexFunc(line, func(r rune) bool { return r == utf8.RuneError })
		text, hint, with = "a byte that is not UTF-8", "save the file as UTF-8", "?"
	} else if at = strings.IndexFunc(line, func(r rune) bool { return invisible[r] != "" || r != '\t' && unicode.IsControl(r) }); at >= 0 {
		r, _ = utf8.DecodeRuneInString(line[at:])
		text = fmt.Sprintf("a control character (%U)", r)
		if name := invisible[r]; name != "" {
			text = fmt.Sprintf("%s (%U), which nobody sees", name, r)
		}
	} else if at, r = foreignIndent(line); at >= 0 {
		text, hint, with = fmt.Sprintf("a space (%U) in the indentation that YAML does not know", r), "indent with plain spaces", " "
	} else if at, r = lookAlike(line); at >= 0 {
		with = string(likeLatin[r])
		text = fmt.Sprintf("the %s letter %c (%U) among Latin ones", script(r), r, r)
		hint = "write the Latin letter " + with
	}
	if at < 0 {
		return f, false
	}
	col := utf8.RuneCountInString(line[:at]) + 1
	f = d.FaultAt(n, col, 1, hint, text)
	fix := Fix{n, col, 1, with}
	if with != "?" {
		f.Fix = d.fix(n, col, 1, with)
	}
	d.mend(fix)
	return f, true
}

// foreignIndent finds a space in the indentation that is no plain one.
func foreignIndent(line string) (at int, r rune) {
	for i, r := range line {
		switch {
		case r == ' ' || r == '\t':
		case unicode.IsSpace(r) && !unicode.IsControl(r):
			return i, r
		default:
			return -1, 0
		}
	}
	return -1, 0
}
