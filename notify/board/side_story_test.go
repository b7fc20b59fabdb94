package board_test

import (
	"bytes"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/http/httptest"
	"net/mail"
	"regexp"
	"strings"
	"testing"
	"time"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
	"telltale/notify/board/signin"
	provider "telltale/notify/board/signin/fleet"
	"telltale/notify/delivery"
	"telltale/rules"
)

const sideFolk = `people:
  ines: {name: Ines Thornbeck, mail: ines@larkfell.example}
  north: {name: North workshop, mail: north@larkfell.example}
  maud: {name: Maud Eskerly, mail: maud@larkfell.example}
rights:
  the office: {who: [ines], may: operator}
  the north workshop: {who: [north], may: workshop, where: 'vehicle.tags["depot"] == "north"'}
  whoever keeps the vehicle: {who: [people of the vehicle], may: keeper}
`

const sideVehicles = `vehicles:
  bus-01: {name: Bus 1, kind: minibus, meters: {odometer: distance}, tags: {depot: north}}
  van-1: {name: Van 1, kind: van, meters: {odometer: distance}, tags: {depot: hills}, people: [maud]}
`

const sideRules = `book: 1
tasks:
  engine oil: {title: Change the engine oil, every: {distance: 20000 km}, unknown history: from first reading}
`

// inbox is where the mails of a fleet's people arrive.
type inbox struct {
	*boardtest.Fleet
	door *signin.Door
	late time.Duration // how much later than by the machine's clock it is
}

var linkIn = regexp.MustCompile(`http://localhost:\d+/sign-in/[A-Z0-9]{52}`)

// link is that of the newest mail to an address.
func (in *inbox) link(t *testing.T, to string) string {
	t.Helper()
	in.door.Settle()
	all, err := delivery.All(t.Context(), in.Log.Deliveries())
	if err != nil {
		t.Fatal(err)
	}
	for i := len(all) - 1; i >= 0; i-- {
		if all[i].To == to {
			if link := linkIn.FindString(plainText(t, all[i].Raw)); link != "" {
				return link
			}
		}
	}
	t.Fatalf("no mail with a link to %s among %d", to, len(all))
	return ""
}

// plainText is the first part of a mail.
func plainText(t *testing.T, raw []byte) string {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	_, params, err := mime.ParseMediaType(m.Header.Get("Content-Type"))
	if err != nil {
		t.Fatal(err)
	}
	p, err := multipart.NewReader(m.Body, params["boundary"]).NextRawPart()
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(quotedprintable.NewReader(p))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// signs signs somebody in on a tab that stands on the page for it, by the mail that it asks
// for. Each mail is a minute after the one before, so that the newest is known.
func (in *inbox) signs(t *testing.T, tab *browser.Tab, to, name string) {
	t.Helper()
	in.late += time.Minute
	tab.Type("Your mail address", to)
	tab.Press("Send me a link")
	tab.Has("Look into your mail")
	tab.Go(in.link(t, to))
	tab.Has("Is it you?", "sign in as "+name)
	tab.Press("Sign in on this device")
}

// TestSideBySide has the north workshop and an office that two people use side by side, in two
// browsers; each person signs in by the link of a mail. The workshop enters work on its bus.
// The keeper of a van sees nothing of that, not by its address either; the operator sees both,
// who did it, and ends the workshop's sessions. The next press there leads to signing in, and
// back to where it was to lead.
func TestSideBySide(t *testing.T) {
	f := boardtest.New(t, boardtest.Files{People: sideFolk, Vehicles: sideVehicles, SignIn: true, Rules: []rules.File{{Name: "a.yaml", Text: []byte(sideRules)}},
		Events: reading("r-1", "bus-01", "2031-06-05T18:00:00Z", 113200) + reading("r-2", "van-1", "2031-06-05T18:00:00Z", 5000)})
	in := &inbox{Fleet: f}
	srv := httptest.NewUnstartedServer(nil)
	_, port, _ := strings.Cut(srv.Listener.Addr().String(), ":")
	f.URL = "http://localhost:" + port // a passkey needs a name
	board.Entrance(f.Frame, provider.Config{})
	in.door = f.Door.(*signin.Door)
	in.door.Wall = func() time.Time { return time.Now().Add(in.late) }
	srv.Config.Handler = board.Handler(f.Frame)
	srv.Start()
	t.Cleanup(func() { srv.CloseClientConnections(); srv.Close() })
	workshop, office := browser.Open(t, 768), browser.Open(t, 1280)
	office.Device()

	workshop.Go(f.URL + "/v/bus-01/work")
	in.signs(t, workshop, "north@larkfell.example", "North workshop")
	workshop.Press("Not now") // a passkey is offered
	if got := workshop.Path(); got != "/v/bus-01/work" {
		t.Errorf("signing in leads to %s", got)
	}
	workshop.Tick("Change the engine oil")
	workshop.Type("Odometer", "113310")
	workshop.Press("Enter it")
	workshop.Has("What followed", "due next at 133,310 km")
	entered := workshop.Path()

	office.Go(f.URL + "/vehicles")
	in.signs(t, office, "maud@larkfell.example", "Maud Eskerly")
	office.Go(f.URL + "/vehicles")
	office.Has("Van 1")
	office.Gone(t, "Bus 1")
	for _, path := range []string{"/v/bus-01", "/v/bus-01/history", entered} {
		if status := office.Go(f.URL + path); status != 404 {
			t.Errorf("the keeper of the van gets %d of %s", status, path)
		}
		office.Gone(t, "113,310", "Engine oil", "North workshop")
	}
	if status := office.Go(f.URL + "/audit"); status != 403 {
		t.Errorf("the keeper gets %d of who did what", status)
	}
	office.Go(f.URL + "/me")
	office.Press("Sign out")

	in.signs(t, office, "ines@larkfell.example", "Ines Thornbeck")
	office.Go(f.URL + "/vehicles")
	office.Has("Van 1", "Bus 1")
	office.Go(f.URL + "/v/bus-01/history")
	office.Has("113,310")
	office.Go(f.URL + "/audit")
	office.Has("North workshop entered work on Bus 1", "Maud Eskerly wanted to look at a page and was refused")

	// To end another's session a passkey is needed: she makes one, and shows it.
	office.Go(f.URL + "/people/sessions")
	office.Press("Sign out North workshop everywhere")
	office.Press("Make a passkey first")
	office.Until("!document.querySelector('form.passkey').hidden")
	office.Press("Make a passkey on this device")
	office.Until("location.pathname === '/people/sessions'")
	office.Press("Sign out North workshop everywhere")
	office.Until("!document.querySelector('form.passkey').hidden")
	office.Press("Sign in with a passkey")
	office.Until("document.title.startsWith('You are signed in')")
	office.Press("Go on with what I typed")
	office.Has("Who is signed in")
	office.Gone(t, "North workshop")

	workshop.Press("Due")
	workshop.Has("You get a mail with a link.")
	workshop.Gone(t, "Bus 1")
	in.signs(t, workshop, "north@larkfell.example", "North workshop")
	if got := workshop.Path(); got != "/due" {
		t.Errorf("signing in again leads to %s", got)
	}
	workshop.Has("Due list")
	office.Go(f.URL + "/audit")
	office.Has("Ines Thornbeck ended a session. of north", "North workshop signed in")
	for _, c := range append(office.Complaints(), workshop.Complaints()...) {
		if !strings.Contains(c, "Cleared data types") { // what signing out clears
			t.Error(c)
		}
	}
}
