package passkey

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine/stream/sessions"
	"telltale/notify/board/boardtest"
	"telltale/notify/people"
)

// TestTrail: what is made, shown, refused and taken away is written down.
func TestTrail(t *testing.T) {
	b := start(t, here)
	d := newDevice(t)
	v := b.as("maud", sessions.Link, time.Time{})
	v.makes(d)
	in := b.visitor()
	in.sends(signInPath, d.show(in.asks(signInPath)))
	d.bogus = true
	in.sends(signInPath, d.show(in.asks(signInPath)))
	v.do("POST", MinePath+"/remove", url.Values{"id": {fmt.Sprintf("%x", d.id)}})
	b.as("ines", sessions.Passkey, b.wall).do("POST", "/people/maud/passkeys/remove", nil)
	want := []string{
		"/people/maud added a passkey",
		"/people/maud signed in",
		"Wanted to sign in and was refused: " + strings.TrimSuffix(wordRefused, ".") + "; /people/maud",
		"/people/maud took a passkey away",
		"/people/ines took a passkey away: /people/maud",
	}
	if got := boardtest.Trail(t, b.fleet); !slices.Equal(got, want) {
		t.Errorf("%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// TestFleet: who signs in at the fleet's provider has no passkeys here, and one of before
// opens nothing: who leaves there has left here.
func TestFleet(t *testing.T) {
	b := start(t, here)
	d := newDevice(t)
	v := b.as("maud", sessions.Link, time.Time{})
	v.makes(d)
	b.door.Elsewhere = func(p *people.Person) bool { return p.ID == "maud" }
	one := b.visitor()
	if w := one.sends(signInPath, d.show(one.asks(signInPath))); w.Code != http.StatusForbidden || !strings.Contains(boardtest.Says(w), wordFleet) || one.who() != "" {
		t.Errorf("%d %s", w.Code, boardtest.Says(w))
	}
	v = b.as("maud", sessions.Fleet, b.wall)
	boardtest.Lacks(t, v.get(MinePath), http.StatusForbidden, wordFleet)
	if w := v.do("POST", MinePath+"/ask", nil); w.Code != http.StatusForbidden {
		t.Errorf("asked to make one: %d", w.Code)
	}
}
