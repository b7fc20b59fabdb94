package table

import (
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestNumbers(t *testing.T) {
	german, us, plain := marks{",", "."}, marks{".", ","}, marks{}
	for _, c := range []struct {
		marks marks
		text  string
		want  float64
		wrong string
	}{
		{german, "1.234,5", 1234.5, ""},
		{german, "-1.234.567", -1234567, ""},
		{german, "0,5", 0.5, ""},
		{german, "1.5", 0, `"1.5" has a point between thousands, but not in groups of three digits; decimal mark: point`},
		{german, "1,2,3", 0, `"1,2,3" has two decimal marks; `},
		{german, "1,234.5", 0, `"1,234.5" has a mark between thousands after the decimal mark; `},
		{us, "1,234.5", 1234.5, ""},
		{us, "12,34", 0, `"12,34" has a comma between thousands, but not in groups of three digits; decimal mark: comma`},
		{us, ".5", 0, `".5" is neither a whole nor a decimal number; write the digits on both sides of the decimal mark`},
		{us, "5.", 0, `"5." is neither a whole nor a decimal number; write the digits on both sides of the decimal mark`},
		{marks{".", ""}, "1,234", 0, `"1,234" has a comma, but the decimal mark of the mapping is a point; decimal mark: comma, or thousands mark: comma`},
		{marks{".", ""}, "1,234.5", 0, `"1,234.5" has two marks, and the mapping names only the decimal point; thousands mark: comma`},
		{marks{",", " "}, "12\u00a0345,6", 12345.6, ""},
		{marks{".", "'"}, "12’345.6", 12345.6, ""},
		{plain, "007", 7, ""},
		{plain, "+12", 12, ""},
		{plain, "\u22125", -5, ""},
		{plain, "1.234", 0, `"1.234" could be 1234 or 1.234; decimal mark: point, or thousands mark: point`},
		{plain, "1.23", 0, `"1.23" has a point, and the mapping does not say what it is; decimal mark: point`},
		{plain, "1.234,5", 0, `"1.234,5" has a point and a comma, and the mapping does not say what they are; decimal mark: comma, and thousands mark: point`},
		{plain, "1,234.5", 0, `"1,234.5" has a point and a comma, and the mapping does not say what they are; decimal mark: point, and thousands mark: comma`},
		{plain, "1.234.567", 0, `"1.234.567" has more than one point, and the mapping does not say what it is; thousands mark: point`},
		{plain, "1 234", 0, `"1 234" has a blank between its digits; thousands mark: blank`},
		{plain, "1e3", 0, `"1e3" is shortened to an exponent, which loses digits; give the column a plain number format in the spreadsheet, and save it again`},
		{plain, "abc", 0, `"abc" is not a number; `},
		{plain, "--5", 0, `"--5" is not a number; `},
		{plain, "", 0, `"" is not a number; `},
		{plain, "NaN", 0, `"NaN" is not a number; `},
		{plain, "0x10", 0, `"0x10" is not a number; `},
		{plain, "٣", 0, `"٣" is not a number; `},
	} {
		got, w := c.marks.parse(c.text)
		said := ""
		if w.any() {
			said = w.text + "; " + w.cure
		}
		if got != c.want || said != c.wrong {
			t.Errorf("%q by %v: got %v, %s\nwant %v, %s", c.text, c.marks, got, said, c.want, c.wrong)
		}
	}
}

// A number written with any marks is read back by the same marks.
func TestNumbersReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.SampledFrom([]marks{{",", "."}, {".", ","}, {",", " "}, {".", "'"}, {".", ""}, {",", ""}}).Draw(t, "marks")
		v := float64(rapid.Int64Range(-1e11, 1e11).Draw(t, "thousandths")) / 1000
		text := written(v, m)
		if got, w := m.parse(text); got != v || w.any() {
			t.Fatalf("%v written %q by %v was read as %v (%s)", v, text, m, got, w.text)
		}
	})
}

// written is v by the marks, built from its end.
func written(v float64, m marks) string {
	s := strconv.FormatFloat(v, 'f', -1, 64)
	sign := ""
	if strings.HasPrefix(s, "-") {
		sign, s = "-", s[1:]
	}
	whole, part, _ := strings.Cut(s, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + m.thousands + whole[i:]
	}
	if part != "" {
		whole += m.decimal + part
	}
	return sign + whole
}
