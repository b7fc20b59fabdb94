package witness

import (
	"regexp"
	"testing"

	"pgregory.net/rapid"
)

// TestWitnesses holds the automata to package regexp, and the texts that they find to all
// outcomes that any text has.
func TestWitnesses(t *testing.T) {
	pattern := rapid.SampledFrom([]string{"^ab", "ba$", "ab", "^(?:a|ba)$", "^a.*b$", `\bb`, "(?i)^AB?$", "[^a]{2}", "a+b?", "^$", ""})
	text := rapid.StringOfN(rapid.SampledFrom([]rune("abAB c")), 0, 6, -1)
	rapid.Check(t, func(t *rapid.T) {
		tests := rapid.SliceOfN(pattern, 1, 4).Draw(t, "tests")
		p := Compile(tests)
		has := map[uint64]bool{}
		for _, w := range p.Texts(nil) {
			has[p.Outcome(w)] = true
		}
		for range 10 {
			s := text.Draw(t, "text")
			var want uint64
			for i, test := range tests {
				if regexp.MustCompile(test).MatchString(s) {
					want |= 1 << i
				}
			}
			if got := p.Outcome(s); got != want {
				t.Fatalf("%q by %q: got %b, want %b", s, tests, got, want)
			}
			if !has[want] {
				t.Fatalf("%q: no text was found that comes out as %q does", tests, s)
			}
		}
	})
}
