package board

import (
	"net/http"
	"net/http/httptest"
	"testing"

	"telltale/engine/stream/sessions"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/frame"
	"telltale/notify/board/signin"
	"telltale/notify/board/signin/fleet"
)

const elsewherePeople = "people:\n  ines: {name: Ines Thornbeck, mail: ines@example.org, subject: ines.thornbeck}\n  maud: {name: Maud Ashgrove, mail: maud@example.org}\noperator: [ines]\n"

// TestEntrance: who signs in at the fleet's provider gets in by nothing else, so that who
// leaves there has left here.
func TestEntrance(t *testing.T) {
	t.Parallel()
	fl := boardtest.New(t, boardtest.Files{People: elsewherePeople})
	f := fl.WithDoor(nil)
	Entrance(f, fleet.Config{Issuer: "http://127.0.0.1:1", Client: "telltale"})
	h := Handler(f)
	boardtest.Lacks(t, boardtest.Get(t, h, frame.SignIn), http.StatusOK, wordFleet)
	d := f.Door.(*signin.Door)
	for _, tt := range []struct {
		s  sessions.Session
		in bool
	}{
		{sessions.Session{Who: "/people/ines", How: sessions.Fleet}, true},
		{sessions.Session{Who: "/people/ines", How: sessions.Link}, false},
		{sessions.Session{Who: "/people/ines", How: sessions.Passkey}, false},
		{sessions.Session{Who: "/people/maud", How: sessions.Link}, true},
	} {
		token, err := d.Sessions.Begin(t.Context(), tt.s, d.Wall())
		if err != nil {
			t.Fatal(err)
		}
		r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1:4280/me", nil)
		r.AddCookie(&http.Cookie{Name: "telltale", Value: token})
		id, err := d.Identify(t.Context(), r)
		if err != nil || (id != nil) != tt.in {
			t.Errorf("%+v: let in as %+v (%v), want %v", tt.s, id, err, tt.in)
		}
	}
}

// TestAsks: people.yaml may come to say who may do what while the service runs.
func TestAsks(t *testing.T) {
	t.Parallel()
	f := boardtest.New(t, boardtest.Files{People: elsewherePeople}).WithDoor(nil)
	Entrance(f, fleet.Config{})
	asks := false
	f.Asks = func() bool { return asks }
	h := Handler(f)
	boardtest.Lacks(t, boardtest.Get(t, h, "/me"), http.StatusOK, "You look at these pages as Ines Thornbeck.")
	asks = true
	if w := boardtest.Get(t, h, "/me"); w.Code != http.StatusSeeOther {
		t.Errorf("%d, want to be led to signing in", w.Code)
	}
}

// TestNobodyAsks: where people need not sign in there are no pages for it.
func TestNobodyAsks(t *testing.T) {
	t.Parallel()
	f := boardtest.New(t, boardtest.Files{People: elsewherePeople}).WithDoor(nil)
	Entrance(f, fleet.Config{Issuer: "http://127.0.0.1:1", Client: "telltale"})
	f.Asks = func() bool { return false }
	h := Handler(f)
	for _, path := range []string{frame.SignIn, fleet.Path, "/pair", "/sign-in/passkey", "/me/passkeys"} {
		if w := boardtest.Get(t, h, path); w.Code != http.StatusNotFound {
			t.Errorf("%s is there: %d", path, w.Code)
		}
	}
}
