package passkey

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
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
  bram: {name: Bram Oakley, mail: bram@larkfell.example}
  maud: {name: Maud Ashgrove, mail: maud@larkfell.example}
  sam: {name: Sam Ferrow, mail: sam@larkfell.example}
rights:
  the office: {who: [ines, bram], may: operator}
  the north workshop: {who: [sam], may: workshop}
  keepers: {who: [people of the vehicle], may: keeper}
`

// board is a board where people sign in, at an address.
type board struct {
	t     *testing.T
	fleet *boardtest.Fleet
	door  *signin.Door
	room  *Room
	http.Handler
	wall time.Time
}

func start(t *testing.T, address string) *board {
	t.Helper()
	fleet := boardtest.New(t, boardtest.Files{People: folk})
	b := &board{t: t, fleet: fleet, wall: boardtest.Morning}
	fleet.URL = address
	b.door = signin.New(fleet.Frame)
	b.door.Wall = func() time.Time { return b.wall }
	fleet.Door = b.door
	b.room = New(b.door)
	b.door.Also, b.door.Offer = b.room.Also, b.room.Offer
	said := func(needs rights.Verb) frame.Route {
		return frame.Route{Pattern: "GET /" + needs.String()[:3], Needs: needs, Handle: func(_ context.Context, r *frame.Request) (*frame.Page, error) {
			return &frame.Page{Title: "Here", Lead: "You are " + r.Viewer.Source() + "."}, nil
		}}
	}
	b.Handler = fleet.Handler(slices.Concat(signin.Pages(b.door), b.room.Pages(), []frame.Route{said(rights.Anyone), said(rights.Watch)})...)
	return b
}

// visitor is a browser with its cookies.
type visitor struct {
	*board
	cookies map[string]string
}

func (b *board) visitor() *visitor { return &visitor{b, map[string]string{}} }

// as is a browser in which somebody has signed in.
func (b *board) as(who string, how sessions.How, strong time.Time) *visitor {
	b.t.Helper()
	token, err := b.door.Sessions.Begin(b.t.Context(), sessions.Session{Who: "/people/" + who, How: how, Strong: strong, Device: "a browser"}, b.wall)
	if err != nil {
		b.t.Fatal(err)
	}
	v := b.visitor()
	v.cookies["__Host-telltale"] = token
	return v
}

func (v *visitor) do(method, path string, form url.Values) *httptest.ResponseRecorder {
	v.t.Helper()
	r := httptest.NewRequest(method, here+path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	r.Header.Set("User-Agent", "Browser/5.0 (System 14; Mobile)")
	for n, value := range v.cookies {
		r.AddCookie(&http.Cookie{Name: n, Value: value})
	}
	w := httptest.NewRecorder()
	v.ServeHTTP(w, r)
	for _, c := range w.Result().Cookies() {
		if v.cookies[c.Name] = c.Value; c.MaxAge < 0 {
			delete(v.cookies, c.Name)
		}
	}
	return w
}

func (v *visitor) get(path string) *httptest.ResponseRecorder {
	v.t.Helper()
	return v.do(http.MethodGet, path, nil)
}

// asks fetches what is to be signed.
func (v *visitor) asks(path string) (o options) {
	v.t.Helper()
	w := v.do(http.MethodPost, path+"/ask", nil)
	if w.Code != http.StatusOK {
		v.t.Fatalf("%s: %d %s", path, w.Code, boardtest.Says(w))
	}
	if err := json.Unmarshal(w.Body.Bytes(), &o); err != nil {
		v.t.Fatal(err)
	}
	return o
}

func (v *visitor) sends(path, passkey string) *httptest.ResponseRecorder {
	v.t.Helper()
	return v.do(http.MethodPost, path, url.Values{"passkey": {passkey}, "to": {"/sig"}})
}

// makes has somebody who is signed in make a passkey.
func (v *visitor) makes(d *device) {
	v.t.Helper()
	if w := v.sends(MinePath, d.make(v.asks(MinePath))); w.Code != http.StatusSeeOther {
		v.t.Fatalf("making a passkey: %d %s", w.Code, boardtest.Says(w))
	}
}

// who is as whom the browser is signed in; "" for nobody.
func (v *visitor) who() string {
	v.t.Helper()
	w := v.get("/sig")
	_, name, _ := strings.Cut(boardtest.Says(w), "You are /people/")
	return strings.TrimSuffix(name, ".")
}

// TestSignsIn: a passkey that was made signs in its person, with two factors, in any browser.
func TestSignsIn(t *testing.T) {
	b := start(t, here)
	d := newDevice(t)
	b.as("maud", sessions.Link, time.Time{}).makes(d)
	b.wall = b.wall.Add(time.Second)
	v := b.visitor()
	o := v.asks(signInPath)
	if o.PublicKey.RpID != rpID || o.PublicKey.UserVerification != "required" || len(o.PublicKey.AllowCredentials) != 0 || o.PublicKey.Timeout != 300_000 {
		t.Errorf("a browser is asked %+v", o.PublicKey)
	}
	if w := v.sends(signInPath, d.show(o)); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/sig" {
		t.Fatalf("%d %s, to %s", w.Code, boardtest.Says(w), w.Header().Get("Location"))
	}
	if got := v.who(); got != "maud" {
		t.Errorf("signed in as %q", got)
	}
	list, err := b.door.Sessions.Of(t.Context(), "/people/maud", b.wall)
	if err != nil || len(list) != 2 || list[1].How != sessions.Passkey || !list[1].Strong.Equal(b.wall) {
		t.Errorf("%+v (%v)", list, err)
	}
	h, err := b.room.Keys.Of(t.Context(), "maud")
	if err != nil || len(h.Keys) != 1 || h.Keys[0].Device != "a phone" || !h.Keys[0].Used.Equal(b.wall) {
		t.Errorf("%+v (%v)", h, err)
	}
}

// TestAsked is what a browser is asked that makes a passkey.
func TestAsked(t *testing.T) {
	b := start(t, here)
	v := b.as("maud", sessions.Link, time.Time{})
	d := newDevice(t)
	v.makes(d)
	o := v.asks(MinePath).PublicKey
	if o.Rp.ID != rpID || o.User.Name != "Maud Ashgrove" || o.AuthenticatorSelection.ResidentKey != "required" ||
		o.AuthenticatorSelection.UserVerification != "required" || o.Attestation != "none" || len(o.ExcludeCredentials) != 1 || o.ExcludeCredentials[0].ID != b64(d.id) {
		t.Errorf("%+v", o)
	}
	if strings.Contains(string(d.handle), "maud") || len(d.handle) != 64 {
		t.Errorf("the handle %q says who it is", d.handle)
	}
	if o.User.ID != b64(d.handle) {
		t.Errorf("the second passkey has another handle")
	}
}

// TestRefused has passkeys shown that are not right, each in one way. After each the right
// one still signs in.
func TestRefused(t *testing.T) {
	b := start(t, here)
	right, sams, unknown := newDevice(t), newDevice(t), newDevice(t)
	b.as("maud", sessions.Link, time.Time{}).makes(right)
	b.as("sam", sessions.Link, time.Time{}).makes(sams)
	unknown.handle = right.handle
	for _, tt := range []struct {
		name string
		with func(d *device)
		says string
	}{
		{"wrong origin", func(d *device) { d.origin = "https://board.larkfell.example.net" }, wordRefused},
		{"without TLS", func(d *device) { d.origin = "http://board.larkfell.example" }, wordRefused},
		{"another port", func(d *device) { d.origin = here + ":8443" }, wordRefused},
		{"another party", func(d *device) { d.party = "larkfell.example" }, wordRefused},
		{"within another page", func(d *device) { d.cross = true }, wordRefused},
		{"another challenge", func(d *device) { d.challenge = b64(make([]byte, 32)) }, wordRefused},
		{"no challenge", func(d *device) { d.challenge = "=" }, wordRefused},
		{"nobody was asked who they are", func(d *device) { d.flags = present }, wordRefused},
		{"nobody was there", func(d *device) { d.flags = verified }, wordRefused},
		{"what was signed when it was made", func(d *device) { d.typ = "webauthn.create" }, wordRefused},
		{"a forged signature", func(d *device) { d.bogus = true }, wordRefused},
		{"of another person", func(d *device) { d.handle = sams.handle }, wordUnknown},
		{"of nobody", func(d *device) { d.handle = make([]byte, 64) }, wordUnknown},
		{"without whose it is", func(d *device) { d.handle = nil }, wordUnknown},
		{"unknown, with the handle of somebody", func(d *device) { d.id, d.key = unknown.id, unknown.key }, wordUnknown},
		{"of another key", func(d *device) { d.key = unknown.key }, wordRefused},
		{"now it could be backed up", func(d *device) { d.flags |= eligible }, wordRefused},
		{"backed up though it cannot be", func(d *device) { d.flags |= backedUp }, wordRefused},
	} {
		b.wall = b.wall.Add(time.Second) // of many sessions the oldest ends
		v, wrong := b.visitor(), *right
		tt.with(&wrong)
		w := v.sends(signInPath, wrong.show(v.asks(signInPath)))
		if w.Code != http.StatusForbidden || !strings.Contains(boardtest.Says(w), tt.says) || v.who() != "" {
			t.Errorf("%s: %d %s, as %q", tt.name, w.Code, boardtest.Says(w), v.who())
		}
		if v := b.visitor(); v.sends(signInPath, right.show(v.asks(signInPath))).Code != http.StatusSeeOther || v.who() != "maud" {
			t.Fatalf("after %s the right one does not sign in", tt.name)
		}
	}
	for _, text := range []string{"", "{}", "x", "null", `{"id":"AA","rawId":"AA","type":"public-key","response":{}}`, strings.Repeat("[", 10_000)} {
		v := b.visitor()
		v.asks(signInPath)
		if w := v.sends(signInPath, text); w.Code != http.StatusForbidden || v.who() != "" {
			t.Errorf("%.20q: %d", text, w.Code)
		}
	}
	if w := b.visitor().sends(signInPath, strings.Repeat("x", maxBody)); w.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("a form that is too large: %d", w.Code)
	}
}

// TestOnce: what a browser signed serves once, for five minutes, in that browser.
func TestOnce(t *testing.T) {
	b := start(t, here)
	d := newDevice(t)
	b.as("maud", sessions.Link, time.Time{}).makes(d)
	refused := func(name string, v *visitor, passkey string) {
		t.Helper()
		if w := v.sends(signInPath, passkey); w.Code != http.StatusForbidden || !strings.Contains(boardtest.Says(w), wordOver) || v.who() != "" {
			t.Errorf("%s: %d %s", name, w.Code, boardtest.Says(w))
		}
	}
	v := b.visitor()
	signed := d.show(v.asks(signInPath))
	asked := v.cookies["__Host-telltale-passkey"]
	refused("in another browser", b.visitor(), signed)
	if w := v.sends(signInPath, signed); w.Code != http.StatusSeeOther {
		t.Fatalf("%d", w.Code)
	}
	again := b.visitor()
	again.cookies["__Host-telltale-passkey"] = asked
	refused("twice", again, signed)

	replayed := b.visitor()
	replayed.asks(signInPath)
	if w := replayed.sends(signInPath, signed); w.Code != http.StatusForbidden || replayed.who() != "" {
		t.Errorf("replayed against another challenge: %d", w.Code)
	}
	late := b.visitor()
	signed = d.show(late.asks(signInPath))
	b.wall = b.wall.Add(answers)
	refused("late", late, signed)
	b.wall = b.wall.Add(-time.Second)
	failed := b.visitor()
	o := failed.asks(signInPath)
	failed.sends(signInPath, "x")
	refused("after a wrong try", failed, d.show(o))
	made := b.as("sam", sessions.Link, time.Time{})
	o = made.asks(MinePath)
	if w := made.sends(signInPath, d.show(o)); !strings.Contains(boardtest.Says(w), wordOver) || made.who() != "sam" {
		t.Errorf("what a passkey is made by signed in: %d, as %s", w.Code, made.who())
	}
}

// TestCopied: of a passkey that is on two devices, by its count, neither opens anything; but
// one that counts nothing, as those that are on all of a person's devices, always does.
func TestCopied(t *testing.T) {
	b := start(t, here)
	d := newDevice(t)
	b.as("maud", sessions.Link, time.Time{}).makes(d)
	thief := *d
	in := func(d *device) string {
		v := b.visitor()
		w := v.sends(signInPath, d.show(v.asks(signInPath)))
		if w.Code == http.StatusSeeOther {
			return v.who()
		}
		return boardtest.Says(w)
	}
	for range 3 {
		if got := in(d); got != "maud" {
			t.Fatal(got)
		}
	}
	if got := in(&thief); !strings.Contains(got, wordCopied) {
		t.Errorf("the copy: %s", got)
	}
	thief.count = 100
	for name, one := range map[string]*device{"the copy, counting on": &thief, "the one that was copied": d} {
		if got := in(one); !strings.Contains(got, wordCopied) {
			t.Errorf("%s: %s", name, got)
		}
	}
	// Its holder makes another: the one that opens nothing does not stand in the way.
	v := b.as("maud", sessions.Link, time.Time{})
	boardtest.Lacks(t, v.get(MinePath), http.StatusOK, "so it may have been copied")
	v.makes(newDevice(t))

	synced := newDevice(t)
	synced.flags |= eligible | backedUp
	b.as("sam", sessions.Link, time.Time{}).makes(synced)
	for range 2 {
		synced.count = ^uint32(0) // the next is 0
		if got := in(synced); got != "sam" {
			t.Error(got)
		}
	}
}

// TestMakes: whoever makes a passkey has signed in lately; with a passkey, where they may
// change who comes in and have one.
func TestMakes(t *testing.T) {
	b := start(t, here)
	lately, long := time.Minute, 20*time.Minute
	first := map[string]*device{}
	for _, who := range []string{"ines", "maud"} {
		first[who] = newDevice(t)
		b.as(who, sessions.Link, time.Time{}).makes(first[who])
	}
	now := b.wall
	for _, tt := range []struct {
		who    string
		how    sessions.How
		ago    time.Duration // signed in
		strong time.Duration // two factors, 0 for never
		status int
	}{
		{"sam", sessions.Link, lately, 0, 303},
		{"sam", sessions.Link, long, 0, 403},
		{"sam", sessions.Passkey, long, long, 403},
		{"maud", sessions.Link, lately, 0, 303},
		{"maud", sessions.Passkey, long, lately, 303},
		{"maud", sessions.Code, long, 0, 403},
		{"bram", sessions.Link, lately, 0, 303},  // their first
		{"bram", sessions.Link, lately, 0, 403},  // has one now
		{"ines", sessions.Link, lately, 0, 403},  // by the mail alone
		{"ines", sessions.Fleet, lately, 0, 403}, // without a second factor
		{"ines", sessions.Passkey, long, long, 403},
		{"ines", sessions.Passkey, lately, lately, 303},
		{"ines", sessions.Fleet, long, lately, 303},
	} {
		b.wall = now.Add(-tt.ago)
		strong := time.Time{}
		if tt.strong > 0 {
			strong = now.Add(-tt.strong)
		}
		v := b.as(tt.who, tt.how, strong)
		b.wall = now
		name := fmt.Sprintf("%s by %s, %v ago, two factors %v ago", tt.who, tt.how, tt.ago, tt.strong)
		if tt.status == 303 {
			v.makes(newDevice(t))
			continue
		}
		if w := v.do("POST", MinePath+"/ask", nil); w.Code != tt.status {
			t.Errorf("%s is asked: %d", name, w.Code)
		}
		// Neither by what was asked before, nor may they take one away.
		h, err := b.room.Keys.Of(t.Context(), tt.who)
		if err != nil {
			t.Fatal(err)
		}
		if w := v.sends(MinePath, "{}"); w.Code != tt.status {
			t.Errorf("%s makes one: %d", name, w.Code)
		}
		for _, k := range h.Keys {
			if w := v.do("POST", MinePath+"/remove", url.Values{"id": {fmt.Sprintf("%x", k.ID)}}); w.Code != tt.status {
				t.Errorf("%s takes one away: %d", name, w.Code)
			}
		}
		if after, err := b.room.Keys.Of(t.Context(), tt.who); err != nil || len(after.Keys) != len(h.Keys) {
			t.Errorf("%s: %d passkeys, of %d (%v)", name, len(after.Keys), len(h.Keys), err)
		}
	}
	if w := b.visitor().do("POST", MinePath+"/ask", nil); w.Code == http.StatusOK {
		t.Errorf("a stranger is asked to make a passkey: %d", w.Code)
	}
}

// TestMadeWrongly has passkeys come in that are not right.
func TestMadeWrongly(t *testing.T) {
	b := start(t, here)
	sams := newDevice(t)
	b.as("sam", sessions.Link, time.Time{}).makes(sams)
	for name, with := range map[string]func(d *device){
		"wrong origin":                  func(d *device) { d.origin = "https://elsewhere.example" },
		"another party":                 func(d *device) { d.party = "elsewhere.example" },
		"another challenge":             func(d *device) { d.challenge = "AAAA" },
		"nobody was asked who they are": func(d *device) { d.flags = present },
		"shown, not made":               func(d *device) { d.typ = "webauthn.get" },
	} {
		d, v := newDevice(t), b.as("maud", sessions.Link, time.Time{})
		with(d)
		if w := v.sends(MinePath, d.make(v.asks(MinePath))); w.Code != http.StatusUnprocessableEntity || !strings.Contains(boardtest.Says(w), wordNotTaken) {
			t.Errorf("%s: %d %s", name, w.Code, boardtest.Says(w))
		}
	}
	v, other := b.as("maud", sessions.Link, time.Time{}), b.as("maud", sessions.Link, time.Time{})
	made := newDevice(t).make(v.asks(MinePath))
	other.cookies["__Host-telltale-passkey"] = v.cookies["__Host-telltale-passkey"]
	if w := other.sends(MinePath, made); w.Code != http.StatusUnprocessableEntity || !strings.Contains(boardtest.Says(w), wordOver) {
		t.Errorf("begun in another session: %d %s", w.Code, boardtest.Says(w))
	}
	v = b.as("sam", sessions.Link, time.Time{})
	if w := v.sends(MinePath, sams.make(v.asks(MinePath))); !strings.Contains(boardtest.Says(w), wordTwice) {
		t.Errorf("twice: %d %s", w.Code, boardtest.Says(w))
	}
	if n, err := b.room.Keys.All(t.Context()); err != nil || len(n) != 1 || len(n["sam"].Keys) != 1 {
		t.Errorf("there are %v (%v)", n, err)
	}
}

// TestTakenAway: what was taken away opens nothing, by its person or by who runs the
// service, who also signs them out; and so does that of somebody who is gone.
func TestTakenAway(t *testing.T) {
	b := start(t, here)
	refused := func(d *device) {
		t.Helper()
		v := b.visitor()
		if w := v.sends(signInPath, d.show(v.asks(signInPath))); w.Code != http.StatusForbidden || !strings.Contains(boardtest.Says(w), wordUnknown) || v.who() != "" {
			t.Errorf("%d %s", w.Code, boardtest.Says(w))
		}
	}
	d, sams := newDevice(t), newDevice(t)
	v, sam := b.as("maud", sessions.Link, time.Time{}), b.as("sam", sessions.Link, time.Time{})
	v.makes(d)
	sam.makes(sams)
	if w := v.do("POST", MinePath+"/remove", url.Values{"id": {fmt.Sprintf("%x", sams.id)}}); w.Code != http.StatusNotFound {
		t.Errorf("that of another: %d", w.Code)
	}
	if w := v.do("POST", MinePath+"/remove", url.Values{"id": {fmt.Sprintf("%x", d.id)}}); w.Code != http.StatusSeeOther {
		t.Fatalf("%d %s", w.Code, boardtest.Says(w))
	}
	refused(d)
	v.makes(d) // the same again is made anew
	away := func(v *visitor) int { return v.do("POST", "/people/maud/passkeys/remove", nil).Code }
	if got := away(sam); got != http.StatusForbidden {
		t.Errorf("by a workshop: %d", got)
	}
	if got := away(b.as("ines", sessions.Passkey, b.wall)); got != http.StatusSeeOther {
		t.Errorf("by an operator: %d", got)
	}
	refused(d)
	if got := v.who(); got != "" {
		t.Errorf("%s is still signed in", got)
	}
	renamed, err := people.Parse("people.yaml", []byte(strings.NewReplacer("  sam: {name", "  samuel: {name", "who: [sam]", "who: [samuel]").Replace(folk)))
	if err != nil {
		t.Fatal(err)
	}
	b.room.People = func() *people.Directory { return renamed }
	refused(sams)
}

// TestNewAddress: who has the id of somebody else, or another address, comes in by none of
// the passkeys of before. Nor do these stand in the way of making one, which is the way back
// for who lost their last one and has nobody else to take it away.
func TestNewAddress(t *testing.T) {
	b := start(t, here)
	d := newDevice(t)
	b.as("ines", sessions.Link, time.Time{}).makes(d)
	says := func(mail string) {
		t.Helper()
		other, err := people.Parse("people.yaml", []byte(strings.Replace(folk, "ines@", mail, 1)))
		if err != nil {
			t.Fatal(err)
		}
		b.room.People = func() *people.Directory { return other }
	}
	in := func() string {
		v := b.visitor()
		v.sends(signInPath, d.show(v.asks(signInPath)))
		return v.who()
	}
	says("Ines@")
	if got := in(); got != "ines" {
		t.Errorf("the same address, written otherwise, signs in %q", got)
	}
	says("other@")
	if got := in(); got != "" {
		t.Errorf("of another address, and signs in %q", got)
	}
	v := b.as("ines", sessions.Link, time.Time{})
	boardtest.Lacks(t, v.get(MinePath), http.StatusOK, "made when people.yaml had another mail address")
	v.makes(newDevice(t))
}

// TestOffer: after somebody signed in by a mail they are offered a passkey, once.
func TestOffer(t *testing.T) {
	b := start(t, here)
	for i, want := range []string{"/me/passkeys?to=%2Fdue", "/due"} {
		if to, err := b.room.Offer(t.Context(), "sam", "/due"); err != nil || to != want {
			t.Errorf("time %d: %s (%v), want %s", i, to, err, want)
		}
	}
	v := b.as("sam", sessions.Link, time.Time{})
	boardtest.Lacks(t, v.get("/me/passkeys?to=%2Fdue"), http.StatusOK, wordOffer, "Not now", wordMake, "You have no passkey yet.")
	b.as("maud", sessions.Link, time.Time{}).makes(newDevice(t))
	if to, err := b.room.Offer(t.Context(), "maud", "/due"); err != nil || to != "/due" {
		t.Errorf("who has one: %s (%v)", to, err)
	}
	// Who must show one and has none makes one first, and comes back.
	if w := v.get(signInPath + "?to=%2Fwat"); w.Header().Get("Location") != "/me/passkeys?to=%2Fwat" {
		t.Errorf("led to %s", w.Header().Get("Location"))
	}
}

// TestWhere: there are passkeys where browsers allow them, and elsewhere the reason.
func TestWhere(t *testing.T) {
	for address, why := range map[string]string{
		"https://board.larkfell.example": "", "https://board.larkfell.example:8443": "", "http://localhost:4280": "", "https://board": whyOdd, "https://bücher.example": whyOdd,
		"": whyNoAddress, "board.larkfell.example": whyNoAddress, "http://board.larkfell.example": whyNoTLS,
		"https://192.0.2.7": whyNumbers, "http://127.0.0.1:4280": whyNumbers, "https://[2001:db8::1]": whyNumbers,
	} {
		if p, got := PartyOf(address); got != why || (p == nil) != (why != "") {
			t.Errorf("%q: %v %q, want %q", address, p, got, why)
		}
	}
	b := start(t, "http://127.0.0.1:4280")
	if also, err := b.room.Also(t.Context(), &frame.Request{}, nil); b.room.Why() != whyNumbers || also != "" || err != nil {
		t.Errorf("the reason is %q", b.room.Why())
	}
	for _, path := range []string{"GET " + signInPath, "POST " + signInPath, "POST " + signInPath + "/ask"} {
		method, path, _ := strings.Cut(path, " ")
		r := httptest.NewRequest(method, "http://127.0.0.1:4280"+path, nil)
		w := httptest.NewRecorder()
		if b.ServeHTTP(w, r); w.Code != http.StatusNotFound {
			t.Errorf("%s %s: %d", method, path, w.Code)
		}
	}
	if to, err := b.room.Offer(t.Context(), "sam", "/due"); err != nil || to != "/due" {
		t.Errorf("offered: %s (%v)", to, err)
	}
}
