package notify

import (
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/notify/people"
	"telltale/testdata/hostile"
)

func TestHostileText(t *testing.T) {
	d := directory(t)
	for _, h := range hostile.Text {
		tr := coolantRaised()
		tr.Component, tr.Rule, tr.Title, tr.Message, tr.Advise = h, h, h, h, h
		tr.PointsTo, tr.Cautions, tr.FollowUps = []string{h}, []string{h}, []string{h}
		tr.Events = []event.ID{{Source: h, ID: h}}
		tr.Evidence[0].Of, tr.Evidence[0].Note, tr.Evidence[0].Unit = h, h, h
		reg := func(id string) people.Vehicle {
			return people.Vehicle{ID: id, Name: h, Kind: h, Tags: map[string]string{"depot": "north"}, People: []string{"ines"}}
		}
		all := Tell(d, reg, cause("e-"+h), outputs(tr))
		parts := winterList()
		for i := range parts[0].Items {
			it := &parts[0].Items[i]
			it.Name, it.Title, it.Why, it.Component, it.Needs, it.Cautions = h, h, h, h, []due.Need{{Fluid: h, Part: h}}, []string{h}
		}
		parts[0].Alarms[0].Transition = tr
		if list, _, ok := Digest(d, reg, d.Person("north"), Listing{Parts: parts, Of: 2}); ok {
			all = append(all, list)
		}
		if len(all) != 3 {
			t.Fatalf("%.30q: %d messages", h, len(all))
		}
		for _, m := range all {
			checkHarmless(t, h, m)
		}
	}
}

func checkHarmless(t *testing.T, h string, m Message) {
	t.Helper()
	switch {
	case utf8.RuneCountInString(m.Subject) > 121 || strings.IndexFunc(m.Subject, unicode.IsControl) >= 0:
		t.Errorf("%.30q: subject %.200q", h, m.Subject)
	case !utf8.ValidString(m.Text) || !utf8.ValidString(m.HTML):
		t.Errorf("%.30q: not UTF-8", h)
	case len(m.Text)+len(m.HTML) > 300_000:
		t.Errorf("%.30q: %d bytes", h, len(m.Text)+len(m.HTML))
	case strings.IndexFunc(m.Text+m.HTML, func(r rune) bool { return unicode.Is(unicode.Cf, r) || unicode.IsControl(r) && r != '\n' }) >= 0:
		t.Errorf("%.30q: a control or direction mark came through", h)
	case strings.Contains(m.Text, "\n[Cleared]"):
		t.Errorf("%.30q: a line of its own making:\n%s", h, m.Text)
	}
	// The page holds the tags that its template has, whatever the text.
	for _, tag := range []string{"script", "img", "onerror=alert(1)>", "iframe"} {
		if strings.Contains(m.HTML, "<"+tag) {
			t.Errorf("%.30q: <%s in the page", h, tag)
		}
	}
	if open, shut := strings.Count(m.HTML, "<div"), strings.Count(m.HTML, "</div"); open != shut || strings.Count(m.HTML, "</style") != 1 {
		t.Errorf("%.30q: %d <div and %d </div", h, open, shut)
	}
}
