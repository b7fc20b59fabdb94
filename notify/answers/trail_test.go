package answers

import (
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"

	"telltale/engine/event"
	"telltale/engine/stream/audit"
	"telltale/notify"
	"telltale/notify/people"
)

// TestWhoAnswered writes down what people did by the links of mails, and which links opened
// nothing; never the links themselves, nor addresses whole.
func TestWhoAnswered(t *testing.T) {
	b, log := liveOn(t)
	trail, err := audit.Open(t.Context(), log)
	if err != nil {
		t.Fatal(err)
	}
	b.Audit = trail
	b.Person = func(id string) *people.Person {
		if id == "sam" {
			return nil
		}
		return people.Anyone(id)
	}
	link := Link{Person: "ines", Vehicle: "van-3", Rule: "oil change", Expires: now.AddDate(0, 0, 60).Unix()}
	gone, leave, old := link, Link{Person: "ines", Kind: notify.Lists, Expires: link.Expires}, link
	gone.Person, old.Expires = "sam", now.Unix()-1
	form := func(n int, answer string, more ...string) url.Values {
		v := url.Values{"form": {fmt.Sprintf("%020d", n)}, "answer": {answer}, "source": {"/people/tom"}, "id": {"forged"}, "by": {"tom"}}
		for i := 0; i < len(more); i += 2 {
			v.Set(more[i], more[i+1])
		}
		return v
	}
	var before int
	for _, c := range []struct {
		name, method, path string
		form               url.Values
		want               []string
	}{
		{"opened", "GET", "/a/" + key.Token(link), nil, nil},
		{"an old link", "POST", "/a/" + key.Token(old), form(9, "acknowledge"), nil},
		{"seen", "POST", "/a/" + key.Token(link), form(1, "acknowledge"), []string{"/people/ines answered an alarm of van-3. acknowledge [/people/ines answer-00000000000000000001]"}},
		{"a second press", "POST", "/a/" + key.Token(link), form(1, "acknowledge"), nil},
		{"seen again", "POST", "/a/" + key.Token(link), form(2, "acknowledge"), []string{"/people/ines wanted to answer an alarm of van-3 and was refused. \"oil change\" is acknowledged already; acknowledge []"}},
		{"a slip", "POST", "/a/" + key.Token(link), form(3, "done", "day", "2031-02-20", "meter0", "96O"), nil},
		{"work", "POST", "/a/" + key.Token(link), form(3, "done", "day", "2031-02-20", "meter0", "960"), []string{"/people/ines entered work on van-3.  [/people/ines answer-00000000000000000003]"}},
		{"no more lists", "POST", "/u/" + key.Token(leave), url.Values{"List-Unsubscribe": {"One-Click"}}, []string{"/people/ines changed something. no more mails of this kind: " + string(notify.Lists) + " []"}},
		{"lists again", "POST", "/u/" + key.Token(leave), url.Values{"again": {"1"}}, []string{"/people/ines changed something. mails of this kind again: " + string(notify.Lists) + " []"}},
		{"a forged link", "POST", "/a/" + Key(strings.Repeat("x", 32)).Token(link), form(4, "acknowledge"), []string{"Wanted to answer an alarm and was refused. the link is none of this service's []"}},
		{"who left", "POST", "/a/" + key.Token(gone), form(5, "acknowledge"), []string{"/people/sam wanted to answer an alarm of van-3 and was refused. the link is of somebody who is in people.yaml no more []"}},
	} {
		ask(b, c.method, c.path, c.form)
		p, err := trail.List(t.Context(), audit.Query{Limit: 100})
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, e := range slices.Backward(p.Entries[:len(p.Entries)-before]) {
			got = append(got, fmt.Sprintf("%s %s %s", e.Says(e.Who, e.Vehicle), e.Beside(), idsOf(e.Events)))
			if e.How != audit.MailLink || e.From != "192.0.2.0/24" {
				t.Errorf("%s: %+v", c.name, e)
			}
			text, err := json.Marshal(e)
			if err != nil || strings.Contains(string(text), c.path[3:20]) || strings.Contains(string(text), "192.0.2.1") || strings.Contains(string(text), "tom") {
				t.Errorf("%s: %s (%v)", c.name, text, err)
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
		before = len(p.Entries)
	}
}

func idsOf(list []event.ID) (out []string) {
	for _, id := range list {
		out = append(out, id.Source+" "+id.ID)
	}
	return out
}
