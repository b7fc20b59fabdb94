package table

import (
	"fmt"
	"strings"

	"telltale/engine/intake/typed"
)

// marks are how numbers are written in a file; each is "" where the mapping does not say.
type marks struct{ decimal, thousands string }

// markWords are the words for marks, of which some are hard to see or to write in YAML.
var markWords = map[string]string{
	"comma": ",", "point": ".", "blank": " ", "apostrophe": "'",
	",": ",", ".": ".", "'": "'",
}

var markNames = map[string]string{",": "comma", ".": "point", " ": "blank", "'": "apostrophe"}

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

const digits = typed.Digits

// parse reads a number by the marks that the mapping names.
func (m marks) parse(s string) (float64, wrong) {
	v, f := typed.Marks{Decimal: m.decimal, Thousands: m.thousands}.Number(s)
	if f == nil {
		return v, wrong{}
	}
	return 0, m.words(f)
}

// words say what is wrong with a number, and what of the mapping would put it right.
func (m marks) words(f *typed.Fault) wrong {
	switch f.Wrong {
	case typed.Exponent:
		return bad("give the column a plain number format in the spreadsheet, and save it again", "%q is shortened to an exponent, which loses digits", f.Text)
	case typed.TwoDecimals:
		return bad("", "%q has two decimal marks", f.Text)
	case typed.UnknownMark:
		return m.unknownMark(f.Text, f.Mark)
	case typed.MarkInDigits:
		return bad("", "%q has a mark between thousands after the decimal mark", f.Text)
	case typed.HalfNumber:
		return bad("write the digits on both sides of the decimal mark", "%q is neither a whole nor a decimal number", f.Text)
	case typed.NotThrees:
		return bad("decimal mark: "+markNames[m.thousands], "%q has %s between thousands, but not in groups of three digits", f.Text, articles[m.thousands])
	}
	return bad("", "%q is not a number", short(f.Text))
}

// unknownMark says what a mark that the mapping does not name may be.
func (m marks) unknownMark(text, mark string) wrong {
	body := strings.TrimLeft(text, "+-")
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
	case m.thousands == "" && typed.InThrees(body, mark):
		return bad(as("decimal mark")+", or "+as("thousands mark"), "%q could be %s or %s", text,
			strings.Replace(body, mark, "", 1), strings.Replace(body, mark, ".", 1))
	}
	return bad(as("decimal mark"), "%q has a %s, and the mapping does not say what it is", text, markNames[mark])
}

var articles = map[string]string{" ": "a blank", "'": "an apostrophe", ",": "a comma", ".": "a point"}

// short keeps what is quoted in a fault to a length that can be read.
func short(s string) string { return shortened(s, 40) }

func shortened(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n]) + "…"
	}
	return s
}
