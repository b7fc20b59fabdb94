package people

import (
	"strings"
	"testing"
)

func TestWaysFaults(t *testing.T) {
	_, err := Parse("people.yaml", []byte(`people:
  a: {webhook: {url: "file:///etc/passwd"}}
  b: {nats: "telltale.in.x"}
  c: {mail: c@larkfell.example, quiet: "21 to 7"}
groups: {a: [c], d: []}
tell:
  e: {who: [c], when: digest, remind after: 2 days}
  f: {who: [c], stand-in: [c]}
  g: {who: [c], remind after: 1 min}
`))
	want := []string{
		`webhook url "file:///etc/passwd" cannot be called`, `webhook has no secret file to sign with`,
		`nats "telltale.in.x" is not a subject of your own`, `quiet "21 to 7" is not a range of times`,
		`group "a" has the same name as a person`, `group "d" must name people`,
		"reminders and stand-ins go with `when: at once`", `stand-in and stand-in after go together`, `remind after must be from 1 h to 366 days`,
	}
	for _, w := range want {
		if err == nil || !strings.Contains(err.Error(), w) {
			t.Errorf("%q is not said in:\n%v", w, err)
		}
	}
}
