package cells

import (
	"strings"
	"testing"
)

func TestWrite(t *testing.T) {
	var b strings.Builder
	err := Write(&b, [][]string{{"what", "past by"}, {"=cmd()", "-12.5"}, {"a \"b\", c\u202e", "3"}, {"", ""}, {"+44", "-1"}, {"\n=1", "2"}}, 1)
	want := "what,past by\n'=cmd(),-12.5\n\"a \"\"b\"\", c\",3\n,\n'+44,-1\n\"'\n=1\",2\n"
	if err != nil || b.String() != want {
		t.Errorf("got %q, %v; want %q", b.String(), err, want)
	}
}
