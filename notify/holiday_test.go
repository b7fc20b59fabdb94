package notify

import (
	"strings"
	"testing"

	"telltale/notify/people"
)

// TestDigestAfterHolidays: the list after holidays says for which days it stands.
func TestDigestAfterHolidays(t *testing.T) {
	for free, want := range map[string]string{
		"[2031-02-02]":               "No list was sent on 2 Feb 2031, a holiday; this one covers that day too.",
		"[2031-01-31 to 2031-02-02]": "No list was sent from 31 Jan 2031 to 2 Feb 2031 (holidays); this one covers those days too.",
		"[2031-01-31]":               "",
	} {
		d, err := people.Parse("people.yaml", []byte("holidays: "+free+`
people: {north: {mail: north@larkfell.example, zone: Europe/London, digest: "0 6 * * *"}}
tell: {all: {who: north, when: digest}}
`))
		if err != nil {
			t.Fatal(err)
		}
		m, _, ok := Digest(d, register, d.Person("north"), Listing{Parts: winterList(), Of: 2})
		said := strings.Contains(strings.Join(strings.Fields(m.Text), " "), "No list was sent")
		if !ok || said != (want != "") || want != "" && !strings.Contains(strings.Join(strings.Fields(m.Text), " "), want) {
			t.Errorf("holidays %s: want %q in\n%s", free, want, m.Text)
		}
	}
}
