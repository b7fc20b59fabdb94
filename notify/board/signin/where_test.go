package signin_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"telltale/engine/stream/audit"
	"telltale/engine/stream/sessions"
	"telltale/notify/board/boardtest"
	"telltale/notify/people"
)

var endable = regexp.MustCompile(`name="end" value="([0-9a-f]{64})"`)

// TestMine ends a session of one's own elsewhere, then all others.
func TestMine(t *testing.T) {
	h := build(t)
	b := boardtest.SignedIn(t, h.Fleet, h, "maud")
	h.pass(time.Minute)
	others := []*boardtest.Browser{boardtest.SignedIn(t, h.Fleet, h, "maud"), boardtest.SignedIn(t, h.Fleet, h, "maud"), boardtest.SignedIn(t, h.Fleet, h, "maud")}
	ines := boardtest.SignedIn(t, h.Fleet, h, "ines")
	w := b.Get("/me")
	boardtest.Lacks(t, w, 200, "Where you are signed in", "A phone This device Signed in by a link in a mail, 6 Jun 2031, 06:31 Last used 6 Jun 2031, 06:31", "Sign out all but this one")
	if strings.Contains(boardtest.Says(w), "Look as somebody else") || !strings.Contains(w.Body.String(), `action="/sign-out"`) {
		t.Error("one can look as somebody else, or not sign out")
	}
	ids := endable.FindAllStringSubmatch(w.Body.String(), -1)
	if len(ids) != 3 {
		t.Fatalf("%d can be ended, want 3", len(ids))
	}
	leads(t, b.Post("/me/sessions", url.Values{"end": {ids[0][1]}}), "/me")
	n := 0
	for _, o := range others {
		if open(o) {
			n++
		}
	}
	if n != 2 || !open(b) {
		t.Errorf("%d of the others are left, want 2", n)
	}
	hers, err := h.door.Sessions.Of(t.Context(), "/people/ines", h.wall())
	if err != nil {
		t.Fatal(err)
	}
	leads(t, b.Post("/me/sessions", url.Values{"end": {hers[0].ID}}), "/me")
	if !open(ines) {
		t.Error("somebody else's session was ended")
	}
	h.pass(15 * time.Minute)
	w = b.Post("/me/sessions", url.Values{"all": {"1"}})
	boardtest.Lacks(t, w, http.StatusForbidden, "Before you sign out another device, sign in again here")
	if got := hidden(w, "/me/sessions"); got.Get("all") != "1" {
		t.Errorf("what was pressed is lost: %v", got)
	}
	again := boardtest.SignedIn(t, h.Fleet, h, "maud")
	leads(t, again.Post("/me/sessions", url.Values{"all": {"1"}}), "/me")
	if open(b) || !open(again) || !open(ines) {
		t.Error("another session of hers is left, or this one or another's ended")
	}
}

// TestTheirs has an operator end somebody's sessions: with two factors shown lately.
func TestTheirs(t *testing.T) {
	h := build(t)
	maud, weak := boardtest.SignedIn(t, h.Fleet, h, "maud"), boardtest.SignedIn(t, h.Fleet, h, "ines")
	if w := maud.Get("/people/sessions"); w.Code != http.StatusForbidden {
		t.Errorf("a keeper sees who is signed in: %d", w.Code)
	}
	if w := maud.Post("/people/sessions", url.Values{"who": {"/people/ines"}}); w.Code != http.StatusForbidden || !open(weak) {
		t.Errorf("a keeper ends an operator's sessions: %d", w.Code)
	}
	boardtest.Lacks(t, weak.Get("/people"), 200, "Who is signed in")
	boardtest.Lacks(t, weak.Get("/people/sessions"), 200, "Who is signed in", "Ines Thornbeck", "Maud Ashgrove Last used 6 Jun 2031, 05:31 A phone", "Sign out Maud Ashgrove everywhere")
	end := url.Values{"who": {"/people/maud"}}
	w := weak.Post("/people/sessions", end)
	boardtest.Lacks(t, w, http.StatusForbidden, "A link in a mail is not enough for it.")
	if got := hidden(w, "/people/sessions"); got.Encode() != end.Encode() || !open(maud) {
		t.Errorf("without two factors: %v is left, or it was done", got)
	}
	ines := boardtest.SignedInAs(t, h.Fleet, h, sessions.Session{Who: "/people/ines", How: sessions.Passkey, Strong: h.wall()})
	h.pass(15 * time.Minute)
	boardtest.Lacks(t, ines.Post("/people/sessions", end), http.StatusForbidden, "A link in a mail is not enough for it.")
	ines = boardtest.SignedInAs(t, h.Fleet, h, sessions.Session{Who: "/people/ines", How: sessions.Passkey, Strong: h.wall()})
	leads(t, ines.Post("/people/sessions", end), "/people/sessions")
	if open(maud) || !open(ines) {
		t.Error("her sessions were not ended, or the operator's own was")
	}
	leads(t, ines.Post("/people/sessions", url.Values{"who": {"/people/ines"}}), "/people/sessions")
	if open(weak) || !open(ines) {
		t.Error("of the operator's own another is left, or this one ended")
	}
	if w := ines.Post("/people/sessions", url.Values{"who": {"all"}}); w.Code != http.StatusNotFound {
		t.Errorf("nobody's sessions: %d", w.Code)
	}
}

// TestTablet is signed in as what it was paired for, until that is written no more.
func TestTablet(t *testing.T) {
	h := build(t)
	const workshop = folk + "rights:\n  the office: {who: [ines], may: operator}\n  the north workshop: {who: [maud], may: workshop}\n"
	written := directory(t, workshop)
	h.Frame.People = func() *people.Directory { return written }
	tablet := boardtest.SignedInAs(t, h.Fleet, h, sessions.Session{Who: "/devices/north-1", How: sessions.Pairing, Entry: "the north workshop", Name: "North bay 1"})
	boardtest.Lacks(t, tablet.Get("/me"), 200, "North bay 1")
	h.pass(29 * 24 * time.Hour)
	if !open(tablet) {
		t.Error("a tablet's session ended within a month")
	}
	h.Frame.People = func() *people.Directory {
		return directory(t, strings.Replace(workshop, "the north workshop", "the south workshop", 1))
	}
	if open(tablet) {
		t.Error("what it was paired for is gone, and it is let in")
	}
}

func directory(t *testing.T, text string) *people.Directory {
	t.Helper()
	d, err := people.Parse("people.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// TestTrail reads who did what: no secret is in it.
func TestTrail(t *testing.T) {
	h := build(t)
	trail, err := audit.Open(t.Context(), h.Log)
	if err != nil {
		t.Fatal(err)
	}
	h.Frame.Audit = trail
	b := boardtest.Stranger(h)
	l := h.ask(t, b, "maud@larkfell.example")
	h.ask(t, boardtest.Stranger(h), "nobody@larkfell.example")
	b.Post("/sign-in/sent", url.Values{"code": {"000000"}})
	boardtest.Stranger(h).Post(l.path, nil)
	b.Post(l.path, nil)
	b.Post("/sign-out", nil)
	page, err := trail.List(t.Context(), audit.Query{})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range page.Entries {
		got = append(got, strings.Join([]string{string(e.What), e.Who, string(e.How), string(e.Outcome), e.Why, e.Words}, "|"))
	}
	want := "sign-out|/people/maud|link|done||\nsign-in|/people/maud|link|done||\nsign-in||link|refused|wrong, used, or over|\n" +
		"sign-in||code|refused|wrong, used, or over|for maud\nlink-asked|||done||for an address that is nobody's\nlink-asked|||done||for maud"
	if strings.Join(got, "\n") != want {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), want)
	}
}
