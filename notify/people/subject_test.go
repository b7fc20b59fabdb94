package people

import (
	"strings"
	"testing"
)

func TestSubject(t *testing.T) {
	d := directory(t, "people: {ines: {subject: \"248289761001\"}, maud: {subject: A}, sam: {}}\n")
	for subject, want := range map[string]string{"248289761001": "ines", "A": "maud", "a": "", "": ""} {
		got := ""
		if p := d.Subject(subject); p != nil {
			got = p.ID
		}
		if got != want {
			t.Errorf("%q is %q, want %q", subject, got, want)
		}
	}
	for _, tt := range []struct{ text, says string }{
		{"people: {ines: {subject: A}, maud: {subject: A}}\n", `p:1:46: subject: "ines" is known by the same`},
		{"people: {ines: {subject: \"a\\tb\"}}\n", "p:1:26: a subject has at most 255 ASCII characters"},
		{"people: {ines: {subject: " + strings.Repeat("a", 256) + "}}\n", "p:1:26: a subject has at most 255 ASCII characters"},
	} {
		if _, err := Parse("p", []byte(tt.text)); err == nil || !strings.HasPrefix(err.Error(), tt.says) {
			t.Errorf("%s: %v, want %s", tt.text, err, tt.says)
		}
	}
}
