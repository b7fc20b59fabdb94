package enter

import (
	"os/exec"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"telltale/testdata/quick"
)

// TestWordsAsTheShell: a line is split as a shell splits it, of which this is the oracle.
func TestWordsAsTheShell(t *testing.T) {
	shell, err := exec.LookPath("sh")
	if err != nil {
		if quick.CI() {
			t.Fatal("no sh to compare with")
		}
		t.Skip("no sh to compare with")
	}
	for _, line := range []string{
		`van-1 "engine oil" --odometer 81200km`, `'Van 1' a\ b "say \"soon\""`, `a#b # the rest`, `  `, `"" ''`, `a"b c"d'e f'`, `'\'`, `"it's"`, `--note='x # y'`,
	} {
		compare(t, shell, line)
	}
	// What a shell would expand, or take for an operator, is not drawn.
	drawn := rapid.StringOfN(rapid.RuneFrom([]rune(`ab -"'\#=`)), 0, 12, -1)
	for seed := range 40 {
		if line := drawn.Example(seed); !strings.HasSuffix(line, `\`) { // the shell would read on
			compare(t, shell, line)
		}
	}
}

func compare(t *testing.T, shell, line string) {
	t.Helper()
	got, bad := words(line)
	out, err := exec.Command(shell, "-c", `for a in `+line+`
do printf '%s\n' "<$a>"
done`).Output()
	if bad != nil || err != nil {
		if (bad != nil) != (err != nil) {
			t.Errorf("%q: %v, the shell says %v", line, bad, err)
		}
		return
	}
	var want []string
	for w := range strings.Lines(string(out)) {
		want = append(want, strings.TrimSuffix(strings.TrimPrefix(strings.TrimSuffix(w, "\n"), "<"), ">"))
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%q is split into %q, by the shell into %q", line, got, want)
	}
}
