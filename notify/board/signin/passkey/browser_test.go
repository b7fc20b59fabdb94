package passkey

import (
	"fmt"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"telltale/engine/stream/sessions"
	"telltale/notify/board/boardtest/browser"
)

// live is a board that a browser reaches, at localhost: the one name for which browsers ask
// for no TLS.
func live(t *testing.T) (b *board, address string) {
	t.Helper()
	srv := httptest.NewUnstartedServer(nil)
	_, port, _ := strings.Cut(srv.Listener.Addr().String(), ":")
	address = "http://localhost:" + port
	b = start(t, address)
	srv.Config.Handler = b
	srv.Start()
	t.Cleanup(srv.Close)
	return b, address
}

// in has a tab be signed in as somebody, by a mail.
func (b *board) in(tab *browser.Tab, address, who string) {
	b.t.Helper()
	token, err := b.door.Sessions.Begin(b.t.Context(), sessions.Session{Who: "/people/" + who, How: sessions.Link, Device: "a browser"}, b.wall)
	if err != nil {
		b.t.Fatal(err)
	}
	tab.Cookie(address, "telltale", token)
}

// saying is the script that says that the page's alert holds words.
func saying(words string) string {
	return "document.querySelector('form.passkey [role=alert]')?.textContent === " + quoted(words)
}

// shows is the script that says that the page, once it is there, says something.
func shows(words string) string {
	return "!!document.querySelector('main')?.innerText.includes(" + quoted(words) + ")"
}

func quoted(s string) string { return `"` + strings.ReplaceAll(s, `"`, `\"`) + `"` }

// TestInABrowser walks through it all as a person does, in chromium with its virtual
// authenticator.
func TestInABrowser(t *testing.T) {
	tab := browser.Open(t, 360)
	b, address := live(t)
	d := tab.Device()
	b.in(tab, address, "maud")
	tab.Go(address + MinePath + "?to=/sig")
	tab.Has(wordOffer, "You have no passkey yet.")
	tab.Until("!" + shows("runs no scripts"))

	d.Verifies(false)
	tab.Press(wordMake)
	tab.Until(saying(wordsMake["NotAllowedError"]))
	d.Verifies(true)
	tab.Press(wordMake)
	tab.Until(shows("You are /people/maud."))
	tab.Go(address + MinePath)
	tab.Has("A computer", "never used")
	tab.Press(wordMake)
	tab.Until(saying(wordTwice))

	in := func(want string) {
		t.Helper()
		b.wall = b.wall.Add(time.Second)
		tab.Forget()
		tab.Go(address + signInPath + "?to=/sig")
		tab.Until("document.querySelector('form.passkey')?.hidden === false")
		tab.Press(wordIn)
		if want == "" {
			tab.Until(shows("You are /people/maud."))
			return
		}
		tab.Until(shows(want))
	}
	in("")
	tab.Go(address + MinePath)
	tab.Has("used last on")
	d.Verifies(false)
	in(wordsGet["NotAllowedError"])
	d.Verifies(true)
	d.Forges(true, false)
	in(wordRefused)
	d.Forges(false, true)
	in(wordRefused)
	d.Forges(false, false)
	in("")

	// A copy of it on another device, made before the last three times.
	held := d.Passkeys()
	if len(held) != 1 || held[0].SignCount < 4 || held[0].RpID != "localhost" {
		t.Fatalf("the device holds %+v", held)
	}
	thief := browser.Open(t, 360)
	theirs := thief.Device()
	held[0].SignCount -= 3
	theirs.Put(held[0])
	thief.Go(address + signInPath)
	thief.Until("document.querySelector('form.passkey')?.hidden === false")
	thief.Press(wordIn)
	thief.Until(shows(wordCopied))
	in(wordCopied)

	b.in(tab, address, "maud")
	tab.Go(address + MinePath)
	tab.Has("It was used on two devices")
	tab.Press("Take it away")
	tab.Has("You have no passkey yet.")
	tab.Press(wordMake)
	tab.Until(shows("A computer"))
	tab.Press("Take it away")
	in(wordUnknown)
	for _, c := range append(tab.Complaints(), thief.Complaints()...) {
		t.Error(c)
	}
}

// TestElsewhere: at another address than the board's own, and without a script, there is no
// button, but words.
func TestElsewhere(t *testing.T) {
	tab := browser.Open(t, 360)
	_, address := live(t)
	unseen := func(address string) {
		t.Helper()
		tab.Go(address + signInPath)
		tab.Has("runs no scripts", "Sign in by mail")
		tab.Gone(t, wordIn+"\n")
		tab.Until("document.querySelector('form.passkey')?.hidden === true")
	}
	unseen(strings.Replace(address, "localhost", "127.0.0.1", 1))
	tab.NoScript(true)
	unseen(address)
}

func letters(r rune) rune {
	if r >= 'a' && r <= 'z' {
		return r
	}
	return '-'
}

// TestLooks has the pages at the widths of a phone and of a desk.
func TestLooks(t *testing.T) {
	tab := browser.Open(t, 360)
	b, address := live(t)
	tab.Device()
	b.in(tab, address, "maud")
	look := func(path, press string) {
		t.Helper()
		for _, width := range []int{320, 360, 1280} {
			tab.Resize(width)
			tab.Go(address + path)
			tab.Until("!!document.querySelector('main') && !document.querySelector('form.passkey[hidden]')")
			if press != "" {
				tab.Press(press)
				tab.Until("document.querySelector('form.passkey [role=alert]').textContent !== ''")
			}
			if wide := tab.Wide(); wide > width {
				t.Errorf("%s at %d is %d wide", path, width, wide)
			}
			for _, f := range tab.Findings() {
				t.Errorf("%s at %d: %s", path, width, f)
			}
			if dir := os.Getenv("TELLTALE_PICTURES"); dir != "" {
				if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("%s-%d.png", strings.Map(letters, path), width)), tab.Picture(), 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	look(MinePath+"?to=/sig", "")
	tab.Press(wordMake)
	tab.Until("location.pathname === '/sig'")
	look(MinePath, wordMake)
	tab.Forget()
	look(signInPath, "")
	b.wall = b.wall.Add(time.Hour)
	b.in(tab, address, "ines")
	b.wall = b.wall.Add(time.Hour)
	look(MinePath, "")
}
