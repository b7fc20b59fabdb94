package board_test

import (
	"net/http/httptest"
	"strings"
	"testing"

	"telltale/engine/stream/sessions"
	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
	"telltale/notify/board/signin"
	provider "telltale/notify/board/signin/fleet"
	"telltale/rules"
)

const pairingFolk = `people:
  ines: {name: Ines Thornbeck, mail: ines@larkfell.example}
  north: {name: North workshop, mail: north@larkfell.example}
rights:
  the office: {who: [ines], may: operator}
  the north workshop: {who: [north], may: workshop, where: 'vehicle.tags["depot"] == "north"'}
`

// TestPairStory has an operator and a tablet side by side, in two browsers. Ines signed in by
// a mail and is asked for a passkey before she may let a tablet in; she has none, makes one,
// and comes back. The tablet, which runs no script, then shows its own vehicles, until it is
// signed out by one press.
func TestPairStory(t *testing.T) {
	office, tablet := browser.Open(t, 1280), browser.Open(t, 768)
	fleet := boardtest.New(t, boardtest.Files{People: pairingFolk, SignIn: true, Rules: []rules.File{{Name: "a.yaml", Text: []byte("book: 1\n")}},
		Events:   `{"specversion":"1.0","type":"telltale.reading.v1","source":"/t","id":"1","subject":"van-1","time":"2031-06-01T08:00:00Z","data":{"meter":"odometer","value":1000,"unit":"km"}}` + "\n",
		Vehicles: "vehicles:\n  bus-01: {name: Bus 1, kind: minibus, meters: {odometer: distance}, tags: {depot: north}}\n  van-1: {name: Van 1, kind: van, meters: {odometer: distance}, tags: {depot: hills}}\n"})
	srv := httptest.NewUnstartedServer(nil)
	_, port, _ := strings.Cut(srv.Listener.Addr().String(), ":")
	fleet.URL = "http://localhost:" + port
	board.Entrance(fleet.Frame, provider.Config{})
	srv.Config.Handler = board.Handler(fleet.Frame)
	srv.Start()
	defer srv.Close()
	look := func(tab *browser.Tab, widths ...int) {
		t.Helper()
		back := tab.Width
		if tab == tablet { // axe-core is a script itself
			tab.NoScript(false)
			defer tab.NoScript(true)
		}
		for _, w := range widths {
			tab.Resize(w)
			if wide := tab.Wide(); wide > w {
				t.Errorf("%s at %d is %d wide", tab.Path(), w, wide)
			}
			for _, f := range tab.Findings() {
				t.Errorf("%s at %d: %s", tab.Path(), w, f)
			}
			keepPicture(t, tab, "pair"+tab.Path(), "light")
		}
		tab.Resize(back)
	}

	tablet.NoScript(true)
	tablet.Go(fleet.URL + "/due")
	look(tablet, 360)
	tablet.Press("This is a workshop's tablet")
	look(tablet, 360, 1280)
	tablet.Press("Show the digits")
	digits := strings.Fields(tablet.Text())
	at := 0
	for ; at < len(digits) && len(digits[at]) != 3; at++ {
	}
	code := digits[at] + digits[at+1]
	look(tablet, 320, 360, 1280)

	d := fleet.Door.(*signin.Door)
	token, err := d.Sessions.Begin(t.Context(), sessions.Session{Who: "/people/ines", How: sessions.Link, Device: "a browser"}, d.Wall())
	if err != nil {
		t.Fatal(err)
	}
	office.Device()
	office.Cookie(fleet.URL, "telltale", token)
	office.Go(fleet.URL + "/people")
	office.Has("Passkeys: none")
	look(office, 360, 1280)
	office.Press("Pair a tablet")
	office.Has("This needs a passkey", "You have none yet")
	look(office, 360, 1280)
	office.Press("Make a passkey first")
	office.Until("location.pathname === '/me/passkeys' && document.querySelector('form.passkey')?.hidden === false")
	office.Press("Make a passkey on this device")
	office.Until("location.pathname === '/sign-in' && document.querySelector('form.passkey')?.hidden === false")
	office.Press("Sign in with a passkey")
	office.Until("!!document.querySelector('main')?.innerText.includes('It shows six digits')")
	look(office, 360, 1280)
	wrong := "000000"
	if code == wrong {
		wrong = "111111"
	}
	office.Type("The six digits", wrong)
	office.Press("Look for the tablet")
	office.Has("No tablet shows these digits")
	look(office, 360, 1280)
	office.Type("The six digits", code)
	office.Press("Look for the tablet")
	office.Has("It is a computer")
	office.Type("Name", "North bay 2")
	office.Tick("the north workshop")
	look(office, 360, 1280)
	office.Press("Let this tablet in")
	office.Has("The tablet north-bay-2 is let in")

	// Its page comes again by itself, without a script; the button stands there then.
	tablet.Until(`document.title.startsWith("This tablet is let in")`)
	look(tablet, 360, 1280)
	tablet.Press("Go on")
	tablet.Has("Due list")
	tablet.Go(fleet.URL + "/vehicles")
	tablet.Has("Bus 1")
	tablet.Gone(t, "Van 1")
	if got := tablet.Go(fleet.URL + "/v/van-1"); got != 404 {
		t.Errorf("another's vehicle: %d", got)
	}
	if got := tablet.Go(fleet.URL + "/people"); got != 403 {
		t.Errorf("people: %d", got)
	}

	office.Go(fleet.URL + "/people/sessions")
	office.Has("North bay 2")
	office.Press("Sign out North bay 2 everywhere")
	tablet.Go(fleet.URL + "/vehicles")
	tablet.Has("Send me a link")
	for _, c := range append(office.Complaints(), tablet.Complaints()...) {
		t.Error(c)
	}
}
