// Package typed reads numbers and days as people write them: in a table that somebody
// saved, in a form that somebody filled in. It reads by the marks and the order that
// somebody named, guesses nothing, and leaves to whoever asks in which words to say
// what is wrong.
package typed

import (
	"strconv"
	"strings"
)

// Marks are the decimal mark of numbers and the one between their thousands, which
// stands between groups of three digits alone. A mark that nobody named is "".
type Marks struct{ Decimal, Thousands string }

// Wrong is what keeps a text from being the number that it may be meant for.
type Wrong uint8

// What can be wrong with a number.
const (
	NoNumber     Wrong = iota + 1 // letters, nothing, two signs
	Exponent                      // 1e3: shortened by a spreadsheet
	TwoDecimals                   // the decimal mark stands there twice
	UnknownMark                   // a mark that nobody named
	MarkInDigits                  // a mark between thousands behind the decimal mark
	HalfNumber                    // no digits on one side of the decimal mark
	NotThrees                     // a mark between thousands, but not in groups of three
)

// Fault is what is wrong with a text, and where.
type Fault struct {
	Wrong Wrong
	Text  string // as read, without blanks around it and with marks spelled in one way
	Mark  string // of UnknownMark
}

// Digits are those of numbers.
const Digits = "0123456789"

// Known are the marks that a number may have at all.
const Known = ",. '"

// spelling writes the marks of a number in one way, however they were typed.
var spelling = strings.NewReplacer("\u00a0", " ", "\u202f", " ", "\u2009", " ", "\u2019", "'", "\u2212", "-")

// IsBlank reports what is no more than room between words, however a program wrote it.
func IsBlank(r rune) bool {
	return r == ' ' || r == '\t' || r == '\n' || r == '\u00a0' || r == '\u202f' || r == '\u2009' || r == '\ufeff'
}

// Number reads a number. It takes the marks that are named and no others, and thousands
// only in groups of three: "1.5" with a point between thousands is a mistake, and not
// fifteen.
func (m Marks) Number(s string) (float64, *Fault) {
	text := spelling.Replace(strings.TrimFunc(s, IsBlank))
	body, negative := strings.TrimPrefix(text, "+"), false
	if body == text {
		body, negative = strings.CutPrefix(text, "-")
	}
	whole, part, _ := strings.Cut(body, orNever(m.Decimal))
	f := m.form(body)
	if f == nil {
		f = m.groups(body, whole, part)
	}
	if f != nil {
		f.Text = text
		return 0, f
	}
	plain := strings.ReplaceAll(whole, orNever(m.Thousands), "")
	if part != "" {
		plain += "." + part
	}
	v, err := strconv.ParseFloat(plain, 64)
	if err != nil {
		return 0, &Fault{Wrong: NoNumber, Text: text}
	}
	if negative {
		v = -v
	}
	return v, nil
}

// orNever is the mark, or what no number holds where there is none.
func orNever(mark string) string {
	if mark == "" {
		return "\x00"
	}
	return mark
}

// form looks at which characters the number is made of.
func (m Marks) form(body string) *Fault {
	if body == "" || len(body) > 40 || !strings.ContainsAny(body, Digits) {
		return &Fault{Wrong: NoNumber}
	}
	if mantissa, exponent, ok := strings.Cut(strings.ToLower(body), "e"); ok &&
		strings.Trim(mantissa, Digits+".,") == "" && strings.Trim(exponent, Digits+"+-") == "" {
		return &Fault{Wrong: Exponent}
	}
	for _, r := range body {
		switch mark := string(r); {
		case strings.Contains(Digits, mark), mark == m.Decimal, mark == m.Thousands:
		case !strings.Contains(Known, mark):
			return &Fault{Wrong: NoNumber}
		default:
			return &Fault{Wrong: UnknownMark, Mark: mark}
		}
	}
	if m.Decimal != "" && strings.Count(body, m.Decimal) > 1 {
		return &Fault{Wrong: TwoDecimals}
	}
	return nil
}

// groups looks at where the marks stand.
func (m Marks) groups(body, whole, part string) *Fault {
	switch {
	case strings.Trim(part, Digits) != "":
		return &Fault{Wrong: MarkInDigits}
	case whole == "" || strings.HasSuffix(body, orNever(m.Decimal)):
		return &Fault{Wrong: HalfNumber}
	case m.Thousands == "" || !strings.Contains(whole, m.Thousands) || InThrees(whole, m.Thousands):
		return nil
	}
	return &Fault{Wrong: NotThrees}
}

// InThrees reports whether the mark parts the text into groups of three digits, as it
// stands between thousands.
func InThrees(text, mark string) bool {
	parts := strings.Split(text, mark)
	for i, p := range parts {
		if i == 0 && (p == "" || len(p) > 3) || i > 0 && len(p) != 3 || strings.Trim(p, Digits) != "" {
			return false
		}
	}
	return len(parts) > 1
}
