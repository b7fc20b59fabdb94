package signin_test

import (
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"telltale/engine/stream/sessions"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
	"telltale/testdata/quick"
)

func TestMain(m *testing.M) {
	quick.Start()
	code := m.Run()
	browser.Close()
	boardtest.Stop()
	os.Exit(code)
}

// looked is what is wrong with a page on a phone: it is wider, axe-core finds something, or
// it asks for what its policy forbids.
func looked(t *testing.T, tab *browser.Tab) {
	t.Helper()
	if w := tab.Wide(); w > tab.Width {
		t.Errorf("%s is %d wide on a screen of %d", tab.Path(), w, tab.Width)
	}
	for _, said := range append(tab.Complaints(), tab.Findings()...) {
		t.Errorf("%s, %d wide: %s", tab.Path(), tab.Width, said)
	}
	tab.Dark(true)
	for _, found := range tab.Findings("color-contrast") {
		t.Errorf("%s, dark: %s", tab.Path(), found)
	}
	tab.Dark(false)
	if _, lost := tab.Stops(); len(lost) > 0 {
		t.Errorf("%s: nothing shows the focus at %q", tab.Path(), lost)
	}
}

// TestOnAPhone signs in and out on a phone: by a code after a slip, then by a
// link.
func TestOnAPhone(t *testing.T) {
	h := build(t)
	srv := httptest.NewServer(h)
	t.Cleanup(func() { srv.CloseClientConnections(); srv.Close() })
	tab := browser.Open(t, 320)
	tab.Go(srv.URL + "/vehicles")
	tab.Has("You get a mail with a link. There is no password.")
	looked(t, tab)
	tab.Type("Your mail address", "maud@larkfell.example")
	tab.Press("Send me a link")
	tab.Has("Look into your mail", "Or type the code from the mail")
	looked(t, tab)
	l := h.letters(t)[0]
	tab.Type("Or type the code from the mail", strings.Map(func(r rune) rune { return '0' + (r-'0'+1)%10 }, l.code))
	tab.Press("Sign in")
	tab.Has("Not signed in yet: Look into your mail", "That is not the code from the newest mail")
	looked(t, tab)
	tab.Type("Or type the code from the mail", l.code[:3]+" "+l.code[3:])
	tab.Press("Sign in")
	if got := tab.Path(); got != "/vehicles" {
		t.Errorf("the code leads to %s", got)
	}
	looked(t, tab)
	boardtest.SignedIn(t, h.Fleet, h, "maud")
	tab.Go(srv.URL + "/me")
	tab.Has("Where you are signed in", "by a code from a mail", "Sign out all but this one")
	looked(t, tab)
	tab.Press("Sign out")
	tab.Has("You are signed out on this device.")
	for _, said := range tab.Complaints() {
		if !strings.Contains(said, "Cleared data types") {
			t.Error(said)
		}
	}
	h.pass(time.Minute) // so that the next mail is the newest
	tab.Type("Your mail address", "ines@larkfell.example")
	tab.Press("Send me a link")
	list := h.letters(t)
	tab.Go(srv.URL + list[len(list)-1].path)
	tab.Has("Is it you?", "sign in as Ines Thornbeck")
	looked(t, tab)
	tab.Press("Sign in on this device")
	tab.Go(srv.URL + "/people/sessions")
	tab.Has("Ines Thornbeck", "Maud Ashgrove", "Sign out Maud Ashgrove everywhere")
	looked(t, tab)
	tab.PressOf("Maud Ashgrove", "Sign out Maud Ashgrove everywhere")
	tab.Has("A link in a mail is not enough for it.", "What you typed")
	looked(t, tab)
	tab.Go(srv.URL + list[0].path)
	tab.Has("This link does not work here.")
	looked(t, tab)
}

// TestFormOutlivesSession has a session end while somebody types: after signing in, in
// another tab of the same browser, the form goes where it was meant for. No script runs.
func TestFormOutlivesSession(t *testing.T) {
	h := build(t)
	srv := httptest.NewServer(h)
	t.Cleanup(func() { srv.CloseClientConnections(); srv.Close() })
	tab := browser.Open(t, 320)
	tab.NoScript(true)
	in := func() {
		tab.Go(srv.URL + "/sign-in")
		tab.Type("Your mail address", "maud@larkfell.example")
		tab.Press("Send me a link")
		list := h.letters(t)
		tab.Type("Or type the code from the mail", list[len(list)-1].code)
		tab.Press("Sign in")
		h.pass(time.Minute) // so that the next mail is the newest
	}
	in()
	tab.Go(srv.URL + "/me")
	boardtest.SignedIn(t, h.Fleet, h, "maud")
	tab.Go(srv.URL + "/me")
	if err := h.door.Sessions.EndAll(t.Context(), "/people/maud", "", h.wall()); err != nil {
		t.Fatal(err)
	}
	boardtest.SignedInAs(t, h.Fleet, h, sessions.Session{Who: "/people/maud", How: sessions.Link})
	tab.Press("Sign out all but this one")
	tab.Has("You are not signed in, so nothing was stored. What you typed is kept on this page")
	tab.Type("Your mail address", "maud@larkfell.example")
	tab.Press("Send me a link")
	list := h.letters(t)
	tab.Type("Or type the code from the mail", list[len(list)-1].code)
	tab.Press("Sign in")
	tab.Has("You are signed in as Maud Ashgrove. What you typed is still here, and not stored yet.")
	tab.Press("Go on with what I typed")
	if got := tab.Path(); got != "/me" {
		t.Errorf("went on to %s", got)
	}
	if list, err := h.door.Sessions.Of(t.Context(), "/people/maud", h.wall()); err != nil || len(list) != 1 {
		t.Errorf("%d sessions are left (%v): what was kept was not done", len(list), err)
	}
}
