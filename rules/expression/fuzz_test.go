package expression

import (
	"os"
	"strings"
	"testing"

	"telltale/rules/english"
	"telltale/rules/word"
	"telltale/testdata/bounded"
)

// FuzzExpression feeds single expressions: nothing panics or hangs; what compiles
// runs, and runs the same again.
func FuzzExpression(f *testing.F) {
	raw, err := os.ReadFile("../testdata/faults.txtar")
	if err != nil {
		f.Fatal(err)
	}
	for _, line := range strings.Split(string(raw), "\n") {
		if _, expression, ok := strings.Cut(line, "raise: "); ok {
			f.Add(expression)
		}
	}
	for _, w := range word.All() {
		f.Add(w.Example)
	}
	f.Add(`reduce(1..40, #acc+#acc, "aaaaaaaa")`)
	f.Add(`sum(1..1000, sum(1..1000, #)) > 1`)
	f.Add(`let a = "x"; let b = a + a; b + b == "xxxx"`)
	f.Add(`1 < (1 < (1 < 2 < 3) < 2) < 1`)
	f.Fuzz(func(t *testing.T, text string) {
		c, err := compiled(text, Any)
		if (c == nil) != (err != nil) {
			t.Fatalf("compiled: %v, faults: %v", c != nil, err)
		}
		if c == nil {
			return
		}
		run := func() string {
			s := NewRunner(english.Reader{})
			s.Begin(sheet{`value("Fe")`: 2}, c.asks)
			s.stage = "normal"
			return s.print(part{value: c})
		}
		bounded.Run(t, func() {
			if a, b := run(), run(); a != b {
				t.Errorf("%s: %s, then %s", text, a, b)
			}
		})
	})
}
