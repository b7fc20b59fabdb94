package english

import (
	"encoding/json"
	"testing"

	"pgregory.net/rapid"

	"telltale/rules/unit"
)

var kinds = []unit.Kind{unit.Distance, unit.Time, unit.Volume, unit.Temperature, unit.Pressure}

// What was written for one reader is written anew for another as if it had been from the
// start, also when it was stored in between.
func TestWrittenAnew(t *testing.T) {
	systems := []unit.System{{}, unit.Metric, overseas}
	rapid.Check(t, func(t *rapid.T) {
		text := ""
		for range rapid.IntRange(0, 4).Draw(t, "quantities") {
			text += rapid.StringMatching("[a-z0-9 é]{0,9}").Draw(t, "words") + anyMark(t).String()
		}
		text += rapid.StringMatching("[a-z ]*").Draw(t, "end")
		first, other := rapid.SampledFrom(systems).Draw(t, "first"), rapid.SampledFrom(systems).Draw(t, "other")
		plain, all := Written(text, first)
		if want := Worded(text, first); plain != want {
			t.Fatalf("written %q, want %q", plain, want)
		}
		stored, err := json.Marshal(all)
		if err != nil {
			t.Fatal(err)
		}
		var kept []Span
		if err := json.Unmarshal(stored, &kept); err != nil {
			t.Fatal(err)
		}
		again, _ := Written(Marked(plain, kept), other)
		if want := Worded(text, other); again != want {
			t.Fatalf("again %q, want %q: %s", again, want, stored)
		}
	})
}

func anyMark(t *rapid.T) mark {
	m := mark{rapid.Float64Range(-1e9, 1e9).Draw(t, "base"), rapid.SampledFrom(kinds).Draw(t, "kind"), rapid.IntRange(typed, 4).Draw(t, "digits")}
	if m.digits == rate || m.digits == per {
		m.kind = unit.Distance
	}
	if m.digits == per {
		m.base = 0
	}
	return m
}

// A text that somebody changed keeps the words that it has.
func TestMarkedLeavesWhatWasChanged(t *testing.T) {
	r := Reader{Marked: true}
	plain, all := Written("due at "+r.Amount(88514000, unit.Distance)+", in "+r.Amount(5e6, unit.Distance), unit.Metric)
	if plain != "due at 88,514 km, in 5,000 km" {
		t.Fatalf("wrote %q", plain)
	}
	for text, want := range map[string]string{
		plain:                           "due at 55,000 mi, in 3,107 mi",
		"due at 88,514 km":              "due at 55,000 mi",
		"due at 90,000 km, in 5,000 km": "due at 90,000 km, in 3,107 mi",
		"due":                           "due",
	} {
		if got := Worded(Marked(text, all), overseas); got != want {
			t.Errorf("%q became %q, want %q", text, got, want)
		}
	}
}

func TestOtherWays(t *testing.T) {
	for _, c := range []struct{ marked, metric, elsewhere string }{
		{Reader{Marked: true}.Figures(4.25, unit.Volume), "4.25 L", "4.49 qt"},
		{Reader{Marked: true}.Rate(3.2e-6) + " in " + Reader{Marked: true}.Per(), "3.2 in 1,000 km", "5.15 in 1,000 mi"},
		{Reader{Marked: true}.Typed(81234567, unit.Distance), "81234.6km", "50476.8mi"},
	} {
		if got := Worded(c.marked, unit.Metric); got != c.metric {
			t.Errorf("got %q, want %q", got, c.metric)
		}
		if got := Worded(c.marked, overseas); got != c.elsewhere {
			t.Errorf("got %q, want %q", got, c.elsewhere)
		}
	}
}
