package table

import (
	"fmt"
	"strconv"
	"strings"
)

// marks are how numbers are written in a file; each is "" where the mapping does not say.
type marks struct{ decimal, thousands string }

// markWords are the words for marks, of which some are hard to see or to write in YAML.
var markWords = map[string]string{
	"comma": ",", "point": ".", "blank": " ", "apostrophe": "'",
	",": ",", ".": ".", "'": "'",
}

var markNames = map[string]string{",": "comma", ".": "point", " ": "blank", "'": "apostrophe"}

// spelling writes the marks of a number in one way, however they were typed.
var spelling = strings.NewReplacer("\u00a0", " ", "\u202f", " ", "\u2009", " ", "\u2019", "'", "\u2212", "-")

// wrong is what keeps a cell from being used: what it is and the cure. The zero
// value is nothing wrong.
type wrong struct {
	text, cure string
	inTime     bool // of a date: the fault is in the cell with the time of day
}

func (w wrong) any() bool { return w.text != "" }

// bad is something wrong, with the cure first; "" where there is none to name.
func bad(cure, format string, args ...any) wrong {
	return wrong{text: fmt.Sprintf(format, args...), cure: cure}
}

const digits = "0123456789"

// parse reads a number. It takes the marks that the mapping names and no others,
// and thousands only in groups of three: "1.5" with a point between thousands is
// a mistake, and not fifteen.
func (m marks) parse(s string) (float64, wrong) {
	text := spelling.Replace(strings.TrimFunc(s, isBlank))
	body, negative := strings.TrimPrefix(text, "+"), false
	if body == text {
		body, negative = strings.CutPrefix(text, "-")
	}
	if w := m.form(text, body); w.any() {
		return 0, w
	}
	whole, part, _ := strings.Cut(body, orNever(m.decimal))
	if w := m.groups(text, whole, part); w.any() {
		return 0, w
	}
	plain := strings.ReplaceAll(whole, orNever(m.thousands), "")
	if part != "" {
		plain += "." + part
	}
	v, err := strconv.ParseFloat(plain, 64)
	if err != nil {
		return 0, bad("", "%q is not a number", text)
	}
	if negative {
		v = -v
	}
	return v, wrong{}
}

// orNever is the mark, or what no number holds where there is none.
func orNever(mark string) string {
	if mark == "" {
		return "\x00"
	}
	return mark
}

// form looks at which characters the number is made of.
func (m marks) form(text, body string) wrong {
	if body == "" || len(body) > 40 || !strings.ContainsAny(body, digits) {
		return bad("", "%q is not a number", short(text))
	}
	if mantissa, exponent, ok := strings.Cut(strings.ToLower(body), "e"); ok &&
		strings.Trim(mantissa, digits+".,") == "" && strings.Trim(exponent, digits+"+-") == "" {
		return bad("give the column a plain number format in the spreadsheet, and save it again", "%q is shortened to an exponent, which loses digits", text)
	}
	for _, r := range body {
		switch mark := string(r); {
		case strings.Contains(digits, mark), mark == m.decimal, mark == m.thousands:
		case markNames[mark] == "":
			return bad("", "%q is not a number", text)
		default:
			return m.unknownMark(text, body, mark)
		}
	}
	if m.decimal != "" && strings.Count(body, m.decimal) > 1 {
		return bad("", "%q has two decimal marks", text)
	}
	return wrong{}
}

// unknownMark says what a mark that the mapping does not name may be.
func (m marks) unknownMark(text, body, mark string) wrong {
	as := func(key string) string { return fmt.Sprintf("%s: %s", key, markNames[mark]) }
	switch {
	case mark == " " || mark == "'":
		return bad(as("thousands mark"), "%q has %s between its digits", text, articles[mark])
	case m.decimal != "" && strings.Contains(body, m.decimal):
		return bad(as("thousands mark"), "%q has two marks, and the mapping names only the decimal %s", text, markNames[m.decimal])
	case m.decimal != "":
		return bad(as("decimal mark")+", or "+as("thousands mark"), "%q has a %s, but the decimal mark of the mapping is a %s", text, markNames[mark], markNames[m.decimal])
	case m.thousands == "" && strings.Contains(body, ".") && strings.Contains(body, ","):
		last, first := ".", ","
		if strings.LastIndex(body, ",") > strings.LastIndex(body, ".") {
			last, first = first, last
		}
		return bad(fmt.Sprintf("decimal mark: %s, and thousands mark: %s", markNames[last], markNames[first]),
			"%q has a point and a comma, and the mapping does not say what they are", text)
	case strings.Count(body, mark) > 1:
		return bad(as("thousands mark"), "%q has more than one %s, and the mapping does not say what it is", text, markNames[mark])
	case m.thousands == "" && grouped(strings.Split(body, mark)):
		return bad(as("decimal mark")+", or "+as("thousands mark"), "%q could be %s or %s", text,
			strings.Replace(body, mark, "", 1), strings.Replace(body, mark, ".", 1))
	}
	return bad(as("decimal mark"), "%q has a %s, and the mapping does not say what it is", text, markNames[mark])
}

var articles = map[string]string{" ": "a blank", "'": "an apostrophe", ",": "a comma", ".": "a point"}

// groups looks at where the marks stand.
func (m marks) groups(text, whole, part string) wrong {
	switch {
	case strings.Trim(part, digits) != "":
		return bad("", "%q has a mark between thousands after the decimal mark", text)
	case whole == "" || strings.HasSuffix(text, orNever(m.decimal)):
		return bad("write the digits on both sides of the decimal mark", "%q is neither a whole nor a decimal number", text)
	case m.thousands == "" || !strings.Contains(whole, m.thousands) || grouped(strings.Split(whole, m.thousands)):
		return wrong{}
	}
	return bad("decimal mark: "+markNames[m.thousands], "%q has %s between thousands, but not in groups of three digits", text, articles[m.thousands])
}

// grouped reports whether the parts are those of a number with marks between its thousands.
func grouped(parts []string) bool {
	for i, p := range parts {
		if i == 0 && (p == "" || len(p) > 3) || i > 0 && len(p) != 3 || strings.Trim(p, digits) != "" {
			return false
		}
	}
	return len(parts) > 1
}

// short keeps what is quoted in a fault to a length that can be read.
func short(s string) string { return shortened(s, 40) }

func shortened(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n]) + "…"
	}
	return s
}

func isBlank(r rune) bool {
	return r == ' ' || r == '\t' || r == '\n' || r == '\u00a0' || r == '\u202f' || r == '\u2009' || r == '\ufeff'
}
