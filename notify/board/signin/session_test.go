package signin_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"telltale/engine/stream/sessions"
	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/frame"
	"telltale/notify/board/signin"
	"telltale/notify/people"
	"telltale/notify/rights"
)

// TestFixation has a browser that brings tokens of somebody's choice.
func TestFixation(t *testing.T) {
	h := build(t)
	for _, planted := range []string{"chosen", boardtest.SignedIn(t, h.Fleet, h, "ines").Cookies["telltale"]} {
		b := boardtest.Stranger(h)
		b.Cookies["telltale"] = planted
		l := h.ask(t, b, "maud@larkfell.example")
		leads(t, b.Post(l.path, nil), "/")
		if b.Cookies["telltale"] == planted {
			t.Error("the token that was brought opens the session")
		}
		thief := boardtest.Stranger(h)
		thief.Cookies["telltale"] = planted
		if open(thief) {
			t.Error("the token that was brought still opens one")
		}
		boardtest.Lacks(t, b.Get("/me"), 200, "Maud Ashgrove")
	}
}

func TestSignOut(t *testing.T) {
	h := build(t)
	b := boardtest.SignedIn(t, h.Fleet, h, "maud")
	other := twin(b)
	if !open(b) {
		t.Fatal("not signed in")
	}
	if w := b.Get("/sign-out"); w.Code != http.StatusNotFound && w.Code != http.StatusMethodNotAllowed || !open(b) {
		t.Errorf("looking signs out: %d", w.Code)
	}
	w := b.Post("/sign-out", nil)
	leads(t, w, "/sign-in?out=1")
	if got := w.Header().Get("Clear-Site-Data"); got != `"storage"` || len(b.Cookies) != 0 {
		t.Errorf("%q, and %v is left", got, b.Cookies)
	}
	boardtest.Lacks(t, b.Get("/sign-in?out=1"), 200, "You are signed out on this device.")
	if open(other) {
		t.Error("the token still opens the door")
	}
	leads(t, boardtest.Stranger(h).Post("/sign-out", nil), "/sign-in?out=1")
}

// TestGone takes a person out of people.yaml, and gives their id to another.
func TestGone(t *testing.T) {
	h := build(t)
	b := boardtest.SignedIn(t, h.Fleet, h, "maud")
	waits := boardtest.Stranger(h)
	l := h.ask(t, waits, "maud@larkfell.example")
	all := h.People()
	without, err := people.Parse("people.yaml", []byte(strings.Replace(folk, "  maud:", "  mo:", 1)))
	if err != nil {
		t.Fatal(err)
	}
	h.Frame.People = func() *people.Directory { return without }
	if open(b) {
		t.Error("who is gone is let in")
	}
	boardtest.Lacks(t, waits.Post(l.path, nil), http.StatusForbidden, "This link does not work here.")
	h.Frame.People = func() *people.Directory { return all }
	if open(b) {
		t.Error("a session of who was gone opens the door for who came after")
	}
}

// TestNewAddress gives a person's id to somebody else, or the person another address, before
// anybody looked: the old session opens nothing.
func TestNewAddress(t *testing.T) {
	h := build(t)
	b := boardtest.Stranger(h)
	leads(t, b.Post(h.ask(t, b, "maud@larkfell.example").path, nil), "/")
	other := directory(t, strings.Replace(folk, "maud@", "Maud@", 1))
	h.Frame.People = func() *people.Directory { return other }
	if !open(b) {
		t.Error("the same address, written otherwise, signs out")
	}
	another := directory(t, strings.Replace(folk, "maud@", "mo@", 1))
	h.Frame.People = func() *people.Directory { return another }
	if open(b) {
		t.Error("who has another address is let in")
	}
}

// TestNewSubject gives the id of somebody who signed in at the fleet's provider to somebody
// else there, who reads the same mail: the old session opens nothing.
func TestNewSubject(t *testing.T) {
	h := build(t)
	known := directory(t, strings.Replace(folk, "maud: {", "maud: {subject: m.ashgrove, ", 1))
	h.Frame.People = func() *people.Directory { return known }
	h.door.Further = []frame.Route{{Pattern: "POST /sign-in/fleet", Needs: rights.Open, Handle: func(ctx context.Context, r *frame.Request) (*frame.Page, error) {
		return h.door.SignIn(ctx, r, sessions.Session{Who: "/people/maud", How: sessions.Fleet}, "/")
	}}}
	h.Handler = board.Handler(h.Frame)
	b := boardtest.Stranger(h)
	leads(t, b.Post("/sign-in/fleet", nil), "/")
	if !open(b) {
		t.Fatal("who signed in at the provider is not let in")
	}
	another := directory(t, strings.Replace(folk, "maud: {", "maud: {subject: mo.ashgrove, ", 1))
	h.Frame.People = func() *people.Directory { return another }
	if open(b) {
		t.Error("who has another subject is let in")
	}
}

// TestIdle lets sessions lie: an operator's ends sooner.
func TestIdle(t *testing.T) {
	h := build(t)
	maud, ines := boardtest.SignedIn(t, h.Fleet, h, "maud"), boardtest.SignedIn(t, h.Fleet, h, "ines")
	h.pass(12*time.Hour - time.Second)
	if !open(maud) || !open(ines) {
		t.Error("ended too soon")
	}
	h.pass(12 * time.Hour)
	if !open(maud) || open(ines) {
		t.Error("an operator's session lasts, or another's does not")
	}
	for range 29 {
		h.pass(24 * time.Hour)
		open(maud)
	}
	h.pass(12 * time.Hour)
	if open(maud) {
		t.Error("a session that is used lasts longer than a month")
	}
}

// TestLeftOpen: a page that keeps itself up to date is no use of a session.
func TestLeftOpen(t *testing.T) {
	h := build(t)
	b := boardtest.SignedIn(t, h.Fleet, h, "ines")
	for range 12 {
		h.pass(time.Hour)
		r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1:4280/", nil)
		for name, value := range b.Cookies {
			r.AddCookie(&http.Cookie{Name: name, Value: value})
		}
		r.Header.Set("Sec-Fetch-Dest", "empty")
		h.ServeHTTP(httptest.NewRecorder(), r)
	}
	if open(b) {
		t.Error("a page that was left open kept its session for twelve hours")
	}
}

// TestReplicas has another board on the same log: it takes over at each step.
func TestReplicas(t *testing.T) {
	h := build(t)
	f := h.Frame
	other := &frame.Frame{Service: f.Service, Log: f.Log, People: f.People, Now: f.Now, URL: f.URL, From: f.From, Logger: f.Logger}
	door := signin.New(other)
	door.Wall, other.Door = h.wall, door
	there := board.Handler(other)
	b := boardtest.Stranger(h)
	l := h.ask(t, b, "maud@larkfell.example")
	b.Handler = there
	boardtest.Lacks(t, b.Get(l.path), 200, "Is it you?")
	leads(t, b.Post(l.path, nil), "/")
	b.Handler = h
	if !open(b) {
		t.Error("a session of another replica is not found")
	}
	b.Post("/sign-out", nil)
	b.Handler = there
	if open(b) {
		t.Error("a session that another replica ended lives on")
	}
}

// TestSecure: by TLS the cookies are of this host alone.
func TestSecure(t *testing.T) {
	h := build(t)
	h.Frame.URL = "https://board.larkfell.example"
	b := boardtest.Stranger(board.Handler(h.Frame))
	w := b.Post("/sign-in", url.Values{"email": {"maud@larkfell.example"}})
	if got, want := w.Header().Get("Set-Cookie"), "__Host-telltale-asked="+b.Cookies["__Host-telltale-asked"]+"; Path=/; Max-Age=600; HttpOnly; Secure; SameSite=Lax"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	in := boardtest.SignedIn(t, h.Fleet, b.Handler, "maud")
	if open(in) {
		t.Error("a cookie that any host could have set opens the door")
	}
	in.Cookies["__Host-telltale"] = in.Cookies["telltale"]
	if !open(in) {
		t.Error("the cookie of this host does not open the door")
	}
}

// TestKept sends a form in a session that has ended, signs in, and sends it again.
func TestKept(t *testing.T) {
	h := build(t)
	form := url.Values{"form": {"F1"}, "note": {"<b>grey</b> film & \"more\"\nand a line"}, "task": {"a", "b"}}
	for _, by := range []string{"code", "link"} {
		b := boardtest.Stranger(h)
		w := b.Post("/v/van-1/work?x=1", form)
		boardtest.Lacks(t, w, http.StatusForbidden, "Sign in to Telltale You are not signed in, so nothing was stored. What you typed is kept on this page")
		brought := hidden(w, "/sign-in")
		brought.Set("email", "maud@larkfell.example")
		w = b.Post("/sign-in", brought)
		boardtest.Lacks(t, w, 200, "Look into your mail", "I am signed in: go on")
		list := h.letters(t)
		l := list[len(list)-1]
		var again url.Values
		if by == "code" {
			sent := hidden(w, "/sign-in/sent")
			sent.Set("code", "12")
			w = b.Post("/sign-in/sent", sent) // a slip loses nothing
			boardtest.Lacks(t, w, http.StatusUnprocessableEntity, "The code has six digits.")
			sent = hidden(w, "/sign-in/sent")
			sent.Set("code", l.code)
			w = b.Post("/sign-in/sent", sent)
			boardtest.Lacks(t, w, 200, "You are signed in as Maud Ashgrove. What you typed is still here, and not stored yet.")
			again = hidden(w, "/v/van-1/work?x=1")
		} else {
			leads(t, b.Post(l.path, nil), "/")
			again = hidden(w, "/v/van-1/work?x=1") // of the page that was left open
		}
		if again.Encode() != form.Encode() {
			t.Errorf("by %s: %v is left of %v", by, again, form)
		}
		h.pass(time.Hour)
	}
	long := url.Values{"note": {strings.Repeat("x", 15<<10)}}
	boardtest.Lacks(t, boardtest.Stranger(h).Post("/v/van-1/work", long), http.StatusForbidden, "is kept on this page")
}
