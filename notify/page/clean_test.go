package page

import (
	"strings"
	"testing"
)

func TestClean(t *testing.T) {
	for in, want := range map[string]string{
		" a \r\n\tb ": "a b", "\xffx": "\uFFFDx", "a\u202eb\u200bc": "abc", "ab\x00c": "abc", "schön 10 µm": "schön 10 µm",
		strings.Repeat("é", 30): strings.Repeat("é", 20) + "…", strings.Repeat("x", 20): strings.Repeat("x", 20),
	} {
		if got := Clean(in, 20); got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
}
