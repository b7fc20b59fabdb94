package typed

import (
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestNumber(t *testing.T) {
	point, comma := Marks{".", ","}, Marks{",", "."}
	for _, c := range []struct {
		marks Marks
		text  string
		want  float64
		wrong Wrong
	}{
		{point, "4.5", 4.5, 0},
		{comma, "4,5", 4.5, 0},
		{point, "4,5", 0, NotThrees},
		{comma, "4.5", 0, NotThrees},
		{point, " 81,234.5\u00a0", 81234.5, 0},
		{comma, "81.234,5", 81234.5, 0},
		{Marks{",", " "}, "81\u202f234,5", 81234.5, 0},
		{Marks{".", ""}, "1,234", 0, UnknownMark},
		{point, "1.2.3", 0, TwoDecimals},
		{point, "1.234,567", 0, MarkInDigits},
		{point, "5.", 0, HalfNumber},
		{point, "5e3", 0, Exponent},
		{point, "\u22125", -5, 0},
		{point, "", 0, NoNumber},
		{point, "NaN", 0, NoNumber},
		{point, "٣", 0, NoNumber},
	} {
		got, f := c.marks.Number(c.text)
		wrong := Wrong(0)
		if f != nil {
			wrong = f.Wrong
		}
		if got != c.want || wrong != c.wrong {
			t.Errorf("%q by %v: got %v, %d; want %v, %d", c.text, c.marks, got, wrong, c.want, c.wrong)
		}
	}
}

// What strconv writes is read back, whatever the marks.
func TestNumberReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.SampledFrom([]Marks{{".", ","}, {",", "."}, {",", " "}, {".", "'"}, {".", ""}}).Draw(t, "marks")
		v := float64(rapid.Int64Range(-1e11, 1e11).Draw(t, "thousandths")) / 1000
		text := strings.Replace(strconv.FormatFloat(v, 'f', -1, 64), ".", m.Decimal, 1)
		if got, f := m.Number(text); got != v || f != nil {
			t.Fatalf("%q by %v: got %v, %+v", text, m, got, f)
		}
	})
}
