package pair

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine/stream/sessions"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
	"telltale/notify/board/frame"
	"telltale/notify/board/signin"
	"telltale/notify/people"
	"telltale/notify/rights"
)

func TestMain(m *testing.M) {
	code := m.Run()
	browser.Close()
	os.Exit(code)
}

const folk = `people:
  ines: {name: Ines Thornbeck, mail: ines@larkfell.example}
  north: {name: North workshop, mail: north@larkfell.example}
`

const withRights = folk + `rights:
  the office: {who: [ines], may: operator}
  the north workshop: {who: [north], may: workshop, where: 'vehicle.tags["depot"] == "north"'}
  lookers: {who: [north], may: look}
`

// board is a board where people sign in and tablets are paired.
type board struct {
	t     *testing.T
	fleet *boardtest.Fleet
	room  *Room
	http.Handler
	wall time.Time
}

func start(t *testing.T, text string) *board {
	t.Helper()
	b := &board{t: t, wall: boardtest.Morning}
	b.fleet = boardtest.New(t, boardtest.Files{People: text, SignIn: true})
	d := b.fleet.Door.(*signin.Door)
	d.Wall = func() time.Time { return b.wall }
	b.room = New(d)
	said := func(path string, needs rights.Verb) frame.Route {
		return frame.Route{Pattern: "GET " + path, Needs: needs, Handle: func(_ context.Context, r *frame.Request) (*frame.Page, error) {
			return &frame.Page{Title: "Here", Lead: r.Viewer.Name + " is " + r.Viewer.Source() + "."}, nil
		}}
	}
	b.Handler = b.fleet.Handler(slices.Concat(signin.Pages(d), b.room.Pages(), []frame.Route{said("/{$}", rights.Anyone), said("/work", rights.Work), said("/watch", rights.Watch)})...)
	return b
}

// office is a browser in which Ines showed two factors just now.
func (b *board) office() *boardtest.Browser {
	b.t.Helper()
	return boardtest.SignedInAs(b.t, b.fleet, b.Handler, sessions.Session{Who: "/people/ines", How: sessions.Passkey, Strong: b.wall})
}

func send(t *testing.T, v *boardtest.Browser, path string, fields url.Values, status int, says string) *httptest.ResponseRecorder {
	t.Helper()
	w := v.Post(path, fields)
	if w.Code != status || !strings.Contains(boardtest.Says(w), says) {
		t.Fatalf("%s: %d %s, want %d %q", path, w.Code, boardtest.Says(w), status, says)
	}
	return w
}

var shownDigits = regexp.MustCompile(`<p class="digits">(\d{3}) (\d{3})</p>`)

// waits has a new tablet show its digits.
func (b *board) waits() (tablet *boardtest.Browser, code string) {
	b.t.Helper()
	tablet = boardtest.Stranger(b.Handler)
	send(b.t, tablet, "/pair", nil, http.StatusSeeOther, "")
	return tablet, b.digits(tablet)
}

func (b *board) digits(tablet *boardtest.Browser) string {
	b.t.Helper()
	w := tablet.Get("/pair")
	m := shownDigits.FindStringSubmatch(w.Body.String())
	if m == nil || w.Header().Get("Refresh") != "5" {
		b.t.Fatalf("no digits are shown, or once only: %s", boardtest.Says(w))
	}
	return m[1] + m[2]
}

var named = regexp.MustCompile(`name="tablet" value="([0-9a-f]{64})"`)

// finds types digits in, and gives which tablet shows them.
func (b *board) finds(v *boardtest.Browser, code string) string {
	b.t.Helper()
	w := send(b.t, v, "/people/pair", url.Values{"digits": {code}}, http.StatusOK, "It is a phone.")
	return named.FindStringSubmatch(w.Body.String())[1]
}

func naming(code, which, name, id, entry string) url.Values {
	return url.Values{"code": {code}, "tablet": {which}, "name": {name}, "id": {id}, "entry": {entry}}
}

// TestPair is the whole walk: the tablet becomes what was chosen, and nobody else does.
func TestPair(t *testing.T) {
	b := start(t, withRights)
	office := b.office()
	tablet, code := b.waits()
	boardtest.Lacks(t, tablet.Get("/pair"), http.StatusOK, code[:3]+" "+code[3:], "until 05:41")
	which := b.finds(office, code[:3]+" "+code[3:])
	if w := tablet.Get("/"); w.Code != http.StatusSeeOther {
		t.Errorf("found, but not let in: %d", w.Code)
	}
	send(t, tablet, "/pair/start", nil, http.StatusSeeOther, "")
	if w := tablet.Get("/"); w.Code != http.StatusSeeOther {
		t.Errorf("it lets itself in: %d", w.Code)
	}
	w := send(t, office, "/people/pair/tablet", naming(code, which, "North bay 2", "", "the north workshop"), http.StatusSeeOther, "")
	if to := w.Header().Get("Location"); to != "/people/pair?let=north-bay-2" {
		t.Errorf("on to %s", to)
	}
	boardtest.Lacks(t, office.Get("/people/pair?let=north-bay-2"), http.StatusOK, "The tablet north-bay-2 is let in.")
	ready := tablet.Get("/pair")
	boardtest.Lacks(t, ready, http.StatusOK, wordReady, `It is called North bay 2, and may do what people.yaml says of "the north workshop".`)
	if ready.Header().Get("Refresh") != "" || tablet.Get("/").Code != http.StatusSeeOther {
		t.Error("looking signed it in, or it is looked for ever")
	}
	send(t, tablet, "/pair/start", nil, http.StatusSeeOther, "")
	boardtest.Lacks(t, tablet.Get("/"), http.StatusOK, "North bay 2 is /devices/north-bay-2.")
	boardtest.Lacks(t, tablet.Get("/work"), http.StatusOK)
	boardtest.Lacks(t, tablet.Get("/watch"), http.StatusForbidden)
	boardtest.Lacks(t, tablet.Get("/people/pair"), http.StatusForbidden)
	list, err := b.room.Sessions.Of(t.Context(), "/devices/north-bay-2", b.wall)
	want := sessions.Session{Who: "/devices/north-bay-2", How: sessions.Pairing, Since: b.wall, Seen: b.wall, Device: "a phone", Entry: "the north workshop", Name: "North bay 2"}
	if err != nil || len(list) != 1 {
		t.Fatalf("%+v (%v)", list, err)
	}
	if want.ID = list[0].ID; list[0] != want {
		t.Errorf("%+v, want %+v", list[0], want)
	}
	if _, there := tablet.Cookies[cookie]; there {
		t.Error("the cookie of its digits is still there")
	}
	send(t, tablet, "/pair/start", nil, http.StatusSeeOther, "") // pressed twice: nothing waits
	boardtest.Lacks(t, tablet.Get("/"), http.StatusOK, "/devices/north-bay-2")

	trail := boardtest.Trail(t, b.fleet)
	if want := []string{"/people/ines paired a tablet: /devices/north-bay-2, the north workshop", "/devices/north-bay-2 signed in"}; !slices.Equal(slices.DeleteFunc(trail, func(s string) bool {
		return strings.Contains(s, "refused")
	}), want) {
		t.Errorf("%q, want %q", trail, want)
	}

	// A year, 30 days unused, ended by one press; see also the tests of sessions.
	b.wall = b.wall.Add(sessions.IdleDevice - time.Hour)
	boardtest.Lacks(t, tablet.Get("/"), http.StatusOK, "North bay 2")
	b.wall = b.wall.Add(sessions.IdleDevice)
	if w := tablet.Get("/"); w.Code != http.StatusSeeOther {
		t.Errorf("unused for 30 days: %d", w.Code)
	}
}

// TestRightsEnd: what people.yaml says no more, a tablet may no more, at the next request.
func TestRightsEnd(t *testing.T) {
	b := start(t, withRights)
	tablet := boardtest.SignedInAs(t, b.fleet, b.Handler, sessions.Session{Who: "/devices/bay", How: sessions.Pairing, Entry: "the north workshop", Name: "Bay"})
	boardtest.Lacks(t, tablet.Get("/work"), http.StatusOK, "Bay is /devices/bay.")
	says := func(text string) {
		t.Helper()
		d, err := people.Parse("people.yaml", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		b.fleet.People = func() *people.Directory { return d }
	}
	says(strings.Replace(withRights, "may: workshop", "may: look", 1))
	boardtest.Lacks(t, tablet.Get("/work"), http.StatusForbidden)
	boardtest.Lacks(t, tablet.Get("/"), http.StatusOK)
	says(strings.Replace(withRights, "the north workshop", "the workshop", 1))
	if w := tablet.Get("/"); w.Code != http.StatusSeeOther {
		t.Errorf("its entry is gone: %d", w.Code)
	}
	says(withRights)
	if w := tablet.Get("/"); w.Code != http.StatusSeeOther {
		t.Errorf("its entry is there again, and it is signed in by it: %d", w.Code)
	}

	// Let in for an entry that is gone before it starts.
	office := b.office()
	waits, code := b.waits()
	which := b.finds(office, code)
	send(t, office, "/people/pair/tablet", naming(code, which, "Bay", "", "lookers"), http.StatusSeeOther, "")
	says(strings.Replace(withRights, "lookers", "onlookers", 1))
	send(t, waits, "/pair/start", nil, http.StatusSeeOther, "")
	if w := waits.Get("/"); w.Code != http.StatusSeeOther {
		t.Errorf("paired for nothing: %d", w.Code)
	}
}

// TestTwoAtOnce: of two tablets that wait each gets what was said of its own digits.
func TestTwoAtOnce(t *testing.T) {
	b := start(t, withRights)
	office := b.office()
	one, first := b.waits()
	two, second := b.waits()
	if first == second {
		t.Fatal("the same digits")
	}
	a, z := b.finds(office, first), b.finds(office, second)
	send(t, office, "/people/pair/tablet", naming(first, z, "Wrong", "", "lookers"), http.StatusConflict, wordGone)
	send(t, office, "/people/pair/tablet", naming(second, z, "Two", "", "lookers"), http.StatusSeeOther, "")
	send(t, office, "/people/pair/tablet", naming(first, a, "Two", "", "lookers"), http.StatusSeeOther, "")
	send(t, two, "/pair/start", nil, http.StatusSeeOther, "")
	boardtest.Lacks(t, two.Get("/"), http.StatusOK, "Two is /devices/two.")
	send(t, one, "/pair/start", nil, http.StatusConflict, wordTaken)
	if w := one.Get("/"); w.Code != http.StatusSeeOther {
		t.Errorf("two of one name: %d", w.Code)
	}
	// The name of one that is signed in is refused, beside its field, and the rest is kept.
	three, third := b.waits()
	c := b.finds(office, third)
	w := send(t, office, "/people/pair/tablet", naming(third, c, "Bay 3", "two", "lookers"), http.StatusUnprocessableEntity, "A tablet of that id is signed in")
	if body := w.Body.String(); !strings.Contains(body, `value="Bay 3"`) || !strings.Contains(body, `value="lookers" checked`) {
		t.Error("what was typed is lost")
	}
	send(t, office, "/people/pair/tablet", naming(third, c, "Bay 3", "BAY-3", "lookers"), http.StatusSeeOther, "")
	send(t, three, "/pair/start", nil, http.StatusSeeOther, "")
	boardtest.Lacks(t, three.Get("/"), http.StatusOK, "Bay 3 is /devices/bay-3.")
}

// TestOfAnother: digits let in the tablet that shows them, and no other: neither one that
// knows them, nor whoever types them in.
func TestOfAnother(t *testing.T) {
	b := start(t, withRights)
	office := b.office()
	tablet, code := b.waits()
	which := b.finds(office, code)
	send(t, office, "/people/pair/tablet", naming(code, which, "Bay", "", "lookers"), http.StatusSeeOther, "")
	for name, value := range map[string]string{"none": "", "digits alone": code, "another's secret": code + "." + sessions.Secret(), "a hash for a secret": code + "." + which,
		"no digits": ".", "a pattern": "*." + sessions.Secret(), "all": ">"} {
		thief := boardtest.Stranger(b.Handler)
		if value != "" {
			thief.Cookies[cookie] = value
		}
		if w := thief.Get("/pair"); strings.Contains(boardtest.Says(w), wordReady) || shownDigits.Match(w.Body.Bytes()) {
			t.Errorf("%s: %s", name, boardtest.Says(w))
		}
		send(t, thief, "/pair/start", nil, http.StatusSeeOther, "")
		if w := thief.Get("/"); w.Code != http.StatusSeeOther {
			t.Errorf("%s: is in", name)
		}
	}
	send(t, office, "/pair/start", nil, http.StatusSeeOther, "")
	boardtest.Lacks(t, office.Get("/"), http.StatusOK, "/people/ines")
	send(t, tablet, "/pair/start", nil, http.StatusSeeOther, "")
	boardtest.Lacks(t, tablet.Get("/"), http.StatusOK, "/devices/bay")
}

// TestWrong has digits that are wrong, used or over, and too many tries.
func TestWrong(t *testing.T) {
	b := start(t, withRights)
	office := b.office()
	for _, text := range []string{"", "12345", "1234567", "12345x", "١٢٣٤٥٦", "*"} {
		send(t, office, "/people/pair", url.Values{"digits": {text}}, http.StatusUnprocessableEntity, "These are the six digits")
	}
	tablet, code := b.waits()
	used := b.finds(office, code)
	send(t, office, "/people/pair/tablet", naming(code, used, "Bay", "", "lookers"), http.StatusSeeOther, "")
	send(t, office, "/people/pair", url.Values{"digits": {code}}, http.StatusUnprocessableEntity, "No tablet shows these digits")
	send(t, office, "/people/pair/tablet", naming(code, used, "Mine", "", "lookers"), http.StatusConflict, wordGone)
	b.wall = b.wall.Add(waits)
	send(t, tablet, "/pair/start", nil, http.StatusSeeOther, "")
	boardtest.Lacks(t, tablet.Get("/pair"), http.StatusOK, "Show the digits")
	if w := tablet.Get("/"); w.Code != http.StatusSeeOther {
		t.Errorf("after ten minutes: %d", w.Code)
	}
	late, code := b.waits()
	office = b.office()
	which := b.finds(office, code)
	b.wall = b.wall.Add(waits)
	send(t, office, "/people/pair/tablet", naming(code, which, "Bay", "", "lookers"), http.StatusConflict, wordGone)
	boardtest.Lacks(t, late.Get("/pair"), http.StatusOK, "Show the digits")

	b.wall = b.wall.Add(time.Hour)
	office = b.office()
	_, code = b.waits()
	wrong := "000000"
	if code == wrong {
		wrong = "000001"
	}
	for range 10 {
		send(t, office, "/people/pair", url.Values{"digits": {wrong}}, http.StatusUnprocessableEntity, "No tablet shows these digits")
	}
	send(t, office, "/people/pair", url.Values{"digits": {code}}, http.StatusTooManyRequests, "That was tried too often. Try again in 1 minute.")
	b.wall = b.wall.Add(time.Minute)
	b.finds(office, code)
}

// TestForms has forms that are not right; each says so beside its field.
func TestForms(t *testing.T) {
	b := start(t, withRights)
	office := b.office()
	_, code := b.waits()
	which := b.finds(office, code)
	for _, tt := range []struct{ name, id, entry, says string }{
		{"", "", "lookers", "Name is missing"},
		{"Bay", "", "", "What it may do is missing"},
		{"Bay", "", "the office", "The office is none of the choices"},
		{"Bay", "../people/ines", "lookers", wordLettersSaid},
		{"Bay", "bay 2", "lookers", wordLettersSaid},
		{"Bay", "-bay", "lookers", wordLettersSaid},
		{"Bay", "bay.*", "lookers", wordLettersSaid},
		{"東", "", "lookers", wordLettersSaid},
		{"Bay", strings.Repeat("x", mostID+1), "lookers", wordLettersSaid},
		{strings.Repeat("x", mostName+1), "x", "lookers", "Write at most 60 letters"},
	} {
		send(t, office, "/people/pair/tablet", naming(code, which, tt.name, tt.id, tt.entry), http.StatusUnprocessableEntity, tt.says)
	}
	send(t, office, "/people/pair/tablet", naming("x", which, "Bay", "", "lookers"), http.StatusConflict, wordGone)
	send(t, office, "/people/pair/tablet", naming(">", which, "Bay", "", "lookers"), http.StatusConflict, wordGone)
	boardtest.Lacks(t, office.Get("/people/pair?let=%3Cb%3E"), http.StatusOK, wordTypeLead)
}

const wordLettersSaid = "Write it in small letters, digits and hyphens, like north-bay-2."

// TestWho may let tablets in: who may change who comes in, and showed two factors lately.
func TestWho(t *testing.T) {
	b := start(t, withRights)
	_, code := b.waits()
	for name, v := range map[string]*boardtest.Browser{
		"a workshop": boardtest.SignedInAs(t, b.fleet, b.Handler, sessions.Session{Who: "/people/north", How: sessions.Passkey, Strong: b.wall}),
		"a tablet":   boardtest.SignedInAs(t, b.fleet, b.Handler, sessions.Session{Who: "/devices/bay", How: sessions.Pairing, Entry: "lookers"}),
	} {
		if w := v.Post("/people/pair", url.Values{"digits": {code}}); w.Code != http.StatusForbidden {
			t.Errorf("%s: %d %s", name, w.Code, boardtest.Says(w))
		}
		boardtest.Lacks(t, v.Get("/people/pair"), http.StatusForbidden, "Who may: Ines Thornbeck.")
	}
	for name, v := range map[string]*boardtest.Browser{
		"a stranger":          boardtest.Stranger(b.Handler),
		"by a mail":           boardtest.SignedInAs(t, b.fleet, b.Handler, sessions.Session{Who: "/people/ines", How: sessions.Link}),
		"by a passkey before": boardtest.SignedInAs(t, b.fleet, b.Handler, sessions.Session{Who: "/people/ines", How: sessions.Passkey, Strong: b.wall.Add(-15 * time.Minute)}),
	} {
		for _, path := range []string{"/people/pair", "/people/pair/tablet"} {
			if w := v.Post(path, url.Values{"digits": {code}}); w.Code != http.StatusForbidden || strings.Contains(boardtest.Says(w), "a phone") {
				t.Errorf("%s: %d %s", name, w.Code, boardtest.Says(w))
			}
		}
	}
}

// TestNothing: without rights there is nothing to pair for, and the page says what to write.
func TestNothing(t *testing.T) {
	b := start(t, folk+"operator: [ines]\n")
	boardtest.Lacks(t, b.office().Get("/people/pair"), http.StatusOK, wordNone, "may: workshop")
	if _, err := people.Parse("people.yaml", []byte(folk+Example+"\n  the office: {who: [ines], may: operator}\n")); err != nil {
		t.Errorf("the lines cannot be written so: %v", err)
	}
}

// TestFlood: tablets that wait are bounded, by address and in all.
func TestFlood(t *testing.T) {
	b := start(t, withRights)
	from := func(address string) int {
		r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1:4280/pair", nil)
		r.RemoteAddr = address + ":1000"
		w := httptest.NewRecorder()
		b.ServeHTTP(w, r)
		return w.Code
	}
	got := map[int]int{}
	for range 8 {
		got[from("192.0.2.7")]++
	}
	if got[http.StatusSeeOther] != 5 || got[http.StatusTooManyRequests] != 3 {
		t.Errorf("from one address: %v", got)
	}
	for i := range 30 {
		got[from("198.51.100."+string(rune('0'+i/10))+string(rune('0'+i%10)))]++
	}
	if got[http.StatusSeeOther] != 20 {
		t.Errorf("in all: %v", got)
	}
}
