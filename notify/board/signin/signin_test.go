package signin_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"html"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/http"
	"net/http/httptest"
	"net/mail"
	"net/url"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/signin"
	"telltale/notify/delivery"
)

const folk = `people:
  ines: {name: Ines Thornbeck, mail: ines@larkfell.example}
  maud: {name: Maud Ashgrove, mail: maud@larkfell.example, zone: Europe/London}
  tom: {name: Tom Ash, mail: shared@larkfell.example}
  ada: {name: Ada Ash, mail: shared@larkfell.example}
  deaf: {name: Sam Reed}
operator: [ines]
`

const register = `vehicles:
  van-1: {name: Van 1, people: [maud]}
`

// now is the wall's clock of the tests, which they move.
type clock struct {
	sync.Mutex
	now time.Time
}

func (c *clock) wall() time.Time {
	c.Lock()
	defer c.Unlock()
	return c.now
}

func (c *clock) pass(d time.Duration) {
	c.Lock()
	defer c.Unlock()
	c.now = c.now.Add(d)
}

// house is a board on which people sign in.
type house struct {
	*boardtest.Fleet
	*clock
	door *signin.Door
	http.Handler
}

func build(t *testing.T) *house {
	t.Helper()
	f := boardtest.New(t, boardtest.Files{People: folk, Vehicles: register, SignIn: true})
	h := &house{Fleet: f, clock: &clock{now: boardtest.Morning}, door: f.Door.(*signin.Door)}
	h.door.Wall = h.wall
	h.Handler = board.Handler(f.Frame)
	return h
}

// letter is a mail to sign in, as it lies in the queue.
type letter struct {
	delivery.Delivery
	path, code string // of the link; without blanks
}

var (
	linkIn = regexp.MustCompile(`http://127\.0\.0\.1:4280(/sign-in/[A-Z0-9]{52})`)
	codeIn = regexp.MustCompile(`(?m)^> (\d{3}) (\d{3})$`)
)

// letters are the mails to sign in that wait, oldest first.
func (h *house) letters(t *testing.T) (out []letter) {
	t.Helper()
	h.door.Settle()
	all, err := delivery.All(t.Context(), h.Log.Deliveries())
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range all {
		text, _ := parts(t, d.Raw)
		link, code := linkIn.FindStringSubmatch(text), codeIn.FindStringSubmatch(text)
		if link == nil || code == nil {
			t.Fatalf("no link and code in\n%s", text)
		}
		out = append(out, letter{d, link[1], code[1] + code[2]})
	}
	return out
}

// parts are the texts of a mail, plain and HTML.
func parts(t *testing.T, raw []byte) (text, page string) {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	_, params, err := mime.ParseMediaType(m.Header.Get("Content-Type"))
	if err != nil {
		t.Fatal(err)
	}
	for r := multipart.NewReader(m.Body, params["boundary"]); ; {
		p, err := r.NextRawPart()
		if err == io.EOF {
			return strings.ReplaceAll(text, "\r\n", "\n"), page
		}
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(quotedprintable.NewReader(p))
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasPrefix(p.Header.Get("Content-Type"), "text/plain") {
			text = string(body)
		} else {
			page = string(body)
		}
	}
}

// ask has a browser ask for a mail, and gives the newest one.
func (h *house) ask(t *testing.T, b *boardtest.Browser, email string, more ...string) letter {
	t.Helper()
	form := url.Values{"email": {email}}
	for i := 0; i+1 < len(more); i += 2 {
		form.Set(more[i], more[i+1])
	}
	if w := b.Post("/sign-in", form); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/sign-in/sent" {
		t.Fatalf("asked: %d, to %q", w.Code, w.Header().Get("Location"))
	}
	list := h.letters(t)
	if len(list) == 0 {
		t.Fatal("no mail")
	}
	h.pass(time.Millisecond) // so that the next is newer
	return list[len(list)-1]
}

// open reports whether the browser is let in.
func open(b *boardtest.Browser) bool { return b.Get("/me").Code == http.StatusOK }

func leads(t *testing.T, w *httptest.ResponseRecorder, to string) {
	t.Helper()
	if got := w.Header().Get("Location"); w.Code != http.StatusSeeOther || got != to {
		t.Errorf("%d to %q, want to %q: %s", w.Code, got, to, boardtest.Says(w))
	}
}

// TestByLink walks from a page that was asked for to the same page, signed in.
func TestByLink(t *testing.T) {
	h := build(t)
	b := boardtest.Stranger(h)
	leads(t, b.Get("/v/van-1?x=1&y=%2F"), "/sign-in?to=%2Fv%2Fvan-1%3Fx%3D1%26y%3D%252F")
	w := b.Get("/sign-in?to=%2Fv%2Fvan-1%3Fx%3D1%26y%3D%252F")
	boardtest.Lacks(t, w, 200, "Sign in", "Your mail address", "Send me a link")
	if strings.Contains(w.Body.String(), `aria-label="Pages"`) {
		t.Error("a stranger is shown the pages")
	}
	l := h.ask(t, b, " MAUD@larkfell.example ", "to", "/v/van-1?x=1&y=%2F")
	boardtest.Lacks(t, b.Get("/sign-in/sent"), 200, "If MAUD@larkfell.example is known here, a mail is on its way to it.", "Six digits")
	for range 3 { // as a scanner does
		boardtest.Lacks(t, b.Get(l.path), 200, "Is it you? Press the button to sign in as Maud Ashgrove on this device: a phone.")
	}
	if open(b) {
		t.Fatal("looking at the link signs in")
	}
	w = b.Post(l.path, nil)
	leads(t, w, "/v/van-1?x=1&y=%2F")
	want := regexp.MustCompile(`^telltale=[A-Z0-9]{52}; Path=/; Max-Age=2592000; HttpOnly; SameSite=Lax$`)
	if set := w.Header().Values("Set-Cookie"); len(set) != 2 || !want.MatchString(set[0]) || b.Cookies["telltale-asked"] != "" {
		t.Errorf("cookies %q", set)
	}
	if !open(b) {
		t.Error("not signed in")
	}
	boardtest.Lacks(t, b.Post(l.path, nil), http.StatusForbidden, "This link does not work here.")
	boardtest.Lacks(t, b.Get(l.path), http.StatusForbidden, "This link does not work here.")
}

// TestMail compares the mail as it is sent.
func TestMail(t *testing.T) {
	h := build(t)
	l := h.ask(t, boardtest.Stranger(h), "maud@larkfell.example")
	text, page := parts(t, l.Raw)
	const want = `Sign in to Telltale
===================
Somebody asked for this with a phone on 6 Jun 2031, at 06:31. If it was
not you, do nothing: nobody gets in without this mail.

On the device that asked
------------------------
  Open the link within 10 minutes, in the same browser, and press the
    button there. It works once.
  Sign in:
    LINK

If you read this on another device
----------------------------------
> CODE
  Type this code into the page that asked. Tell it to nobody, whoever
    asks.

--------
You get this because your address is written in people.yaml. The link
and the code are of no use after 10 minutes.
`
	got := strings.NewReplacer("http://127.0.0.1:4280"+l.path, "LINK", l.code[:3]+" "+l.code[3:], "CODE").Replace(text)
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if links := regexp.MustCompile(`(?:href|src|action)="([^"]*)"|url\(`).FindAllString(page, -1); len(links) != 1 || !strings.Contains(links[0], l.path) {
		t.Errorf("links %q, want the one", links)
	}
	m, err := mail.ReadMessage(bytes.NewReader(l.Raw))
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{"Subject": "Sign in to Telltale", "To": `"Maud Ashgrove" <maud@larkfell.example>`, "List-Unsubscribe": "", "Auto-Submitted": "auto-generated"} {
		if got := m.Header.Get(name); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
	if !l.Secret() || !l.Until.Equal(boardtest.Morning.Add(10*time.Minute)) || l.Thread != "" || strings.Contains(l.Key+l.MessageID+l.Subject, l.path[len("/sign-in/"):]) {
		t.Errorf("%+v", l.Delivery)
	}
	raw, err := json.Marshal(l)
	if err != nil || bytes.Contains(raw, []byte(l.code)) { // but in Raw, which is packed
		t.Errorf("the code stands open in the store (%v)", err)
	}
}

// TestElsewhere presses the link in another browser, and types the code into the one that
// asked.
func TestElsewhere(t *testing.T) {
	h := build(t)
	desk, phone, thief := boardtest.Stranger(h), boardtest.Stranger(h), boardtest.Stranger(h)
	l := h.ask(t, desk, "maud@larkfell.example")
	h.ask(t, thief, "maud@larkfell.example") // who has a mail of their own on the way
	for _, b := range []*boardtest.Browser{phone, thief} {
		boardtest.Lacks(t, b.Get(l.path), http.StatusForbidden, "This link does not work here.", "type the code from the mail into the page that asked")
		boardtest.Lacks(t, b.Post(l.path, nil), http.StatusForbidden, "This link does not work here.")
		if w := b.Post("/sign-in/sent", url.Values{"code": {l.code}}); w.Code != http.StatusUnprocessableEntity || open(b) {
			t.Errorf("the code of another browser: %d", w.Code)
		}
	}
	leads(t, desk.Post("/sign-in/sent", url.Values{"code": {l.code[:3] + "\u00a0" + l.code[3:] + " "}}), "/")
	if !open(desk) {
		t.Error("not signed in by the code")
	}
	boardtest.Lacks(t, desk.Get(l.path), http.StatusForbidden, "This link does not work here.")
}

// TestStrangers asks with an address that is known, and with others: the answers are the
// same, word for word.
func TestStrangers(t *testing.T) {
	h := build(t)
	type heard struct {
		code                 int
		to, cookies, sent    string
		wrong, link, another string
	}
	hear := func(email string) heard {
		b := boardtest.Stranger(h)
		w := b.Post("/sign-in", url.Values{"email": {email}})
		secret := b.Cookies["telltale-asked"]
		if len(secret) != 52 {
			t.Fatalf("%s: no cookie", email)
		}
		hide := func(w *httptest.ResponseRecorder) string {
			return strings.NewReplacer(secret, "SECRET", email, "EMAIL").Replace(w.Body.String())
		}
		out := heard{code: w.Code, to: w.Header().Get("Location"), cookies: strings.Replace(strings.Join(w.Header().Values("Set-Cookie"), "\n"), secret, "SECRET", 1)}
		out.sent = hide(b.Get("/sign-in/sent"))
		for range 7 { // more than are let through
			out.wrong += hide(b.Post("/sign-in/sent", url.Values{"code": {"000000"}}))
		}
		out.link, out.another = hide(b.Get("/sign-in/X")), hide(b.Post("/sign-in", url.Values{"email": {email}}))
		return out
	}
	// What was written meanwhile, beside the mails, which are made after the answers.
	writes := func(email string) (heard, uint64) {
		before := h.written(t)
		got := hear(email)
		return got, h.written(t) - before
	}
	known, work := writes("maud@larkfell.example")
	for _, email := range []string{"nobody@larkfell.example", "shared@larkfell.example", "x@y.example"} {
		got, n := writes(email)
		if n != work {
			t.Errorf("%s is %d writes of work, who is known %d", email, n, work)
		}
		if got != known {
			t.Errorf("%s hears\n%+v\nand who is known\n%+v", email, got, known)
		}
	}
	var to []string
	for _, l := range h.letters(t) {
		to = append(to, l.To)
	}
	if got := strings.Join(to, " "); strings.Contains(got, "nobody") || strings.Count(got, "shared@") != 4 || strings.Count(got, "maud@") != 2 {
		t.Errorf("mails to %s", got)
	}
}

// written is how much was written of sessions and of who signs in.
func (h *house) written(t *testing.T) uint64 {
	t.Helper()
	s, err := h.Log.JS.Stream(t.Context(), "KV_SESSIONS")
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		return 0
	}
	if err != nil {
		t.Fatal(err)
	}
	return s.CachedInfo().State.LastSeq
}

// TestTimes lets ten minutes pass.
func TestTimes(t *testing.T) {
	h := build(t)
	b := boardtest.Stranger(h)
	l := h.ask(t, b, "maud@larkfell.example")
	h.pass(10*time.Minute - time.Second)
	boardtest.Lacks(t, b.Get(l.path), 200, "Is it you?")
	h.pass(time.Second)
	boardtest.Lacks(t, b.Get(l.path), http.StatusForbidden, "This link does not work here.")
	boardtest.Lacks(t, b.Post(l.path, nil), http.StatusForbidden, "This link does not work here.")
	boardtest.Lacks(t, b.Post("/sign-in/sent", url.Values{"code": {l.code}}), http.StatusUnprocessableEntity, "This code is not valid any more.")
	leads(t, b.Get("/sign-in/sent"), "/sign-in")
	if open(b) {
		t.Error("signed in by what is over")
	}
}

// many does something at once, and gives what came of each.
func many(n int, do func(i int) int) map[int]int {
	var mu sync.Mutex
	var wg sync.WaitGroup
	out := map[int]int{}
	for i := range n {
		wg.Go(func() {
			code := do(i)
			mu.Lock()
			defer mu.Unlock()
			out[code]++
		})
	}
	wg.Wait()
	return out
}

// twin is a browser with the same cookies.
func twin(b *boardtest.Browser) *boardtest.Browser {
	out := boardtest.Stranger(b.Handler)
	for k, v := range b.Cookies {
		out.Cookies[k] = v
	}
	return out
}

// TestOnce presses one link many times at once.
func TestOnce(t *testing.T) {
	h := build(t)
	b := boardtest.Stranger(h)
	l := h.ask(t, b, "maud@larkfell.example")
	got := many(10, func(int) int { return twin(b).Post(l.path, nil).Code })
	if got[http.StatusSeeOther] != 1 || got[http.StatusForbidden] != 9 {
		t.Errorf("%v, want one that is let in", got)
	}
	if list, err := h.door.Sessions.Of(t.Context(), "/people/maud", h.wall()); err != nil || len(list) != 1 {
		t.Errorf("%d sessions (%v)", len(list), err)
	}
}

// TestTries guesses codes, many at once: five are looked at, ten a day of an address,
// whoever asks; and the link works all the same.
func TestTries(t *testing.T) {
	h := build(t)
	wrong := func(l letter, i int) string {
		code := []byte(l.code)
		code[i%6] = '0' + (code[i%6]-'0'+1+byte(i/6))%10
		return string(code)
	}
	b := boardtest.Stranger(h)
	l := h.ask(t, b, "maud@larkfell.example")
	guess := func(b *boardtest.Browser, code string) int {
		return b.Post("/sign-in/sent", url.Values{"code": {code}}).Code
	}
	for i, nonsense := range []string{"", "12345", "1234567", "12345x", "١٢٣٤٥٦", strings.Repeat("9", 1000)} { // which are no tries
		if code := guess(b, nonsense); code != http.StatusUnprocessableEntity {
			t.Errorf("nonsense %d: %d", i, code)
		}
	}
	for i := range 4 {
		guess(b, wrong(l, i))
	}
	got := many(12, func(i int) int {
		if i == 0 {
			return guess(twin(b), wrong(l, 20))
		}
		return guess(twin(b), l.code)
	})
	if got[http.StatusSeeOther] > 1 {
		t.Errorf("%v: the code was taken more than once", got)
	}
	b = boardtest.Stranger(h)
	l = h.ask(t, b, "maud@larkfell.example")
	many(20, func(i int) int { return guess(twin(b), wrong(l, i)) })
	if code := guess(b, l.code); code != http.StatusUnprocessableEntity {
		t.Errorf("the right code after five wrong ones: %d", code)
	}
	b = boardtest.Stranger(h)
	l = h.ask(t, b, "Maud@larkfell.example")
	if code := guess(b, l.code); code != http.StatusUnprocessableEntity {
		t.Errorf("the eleventh code of a day: %d", code)
	}
	leads(t, b.Post(l.path, nil), "/")
	h.pass(24 * time.Hour)
	b = boardtest.Stranger(h)
	l = h.ask(t, b, "maud@larkfell.example")
	if code := guess(b, l.code); code != http.StatusSeeOther {
		t.Errorf("a day later: %d", code)
	}
}

// TestShared has two people at one address: each gets a mail.
func TestShared(t *testing.T) {
	h := build(t)
	b := boardtest.Stranger(h)
	h.ask(t, b, "shared@larkfell.example")
	for _, l := range h.letters(t) {
		name := map[string]string{"tom": "Tom Ash", "ada": "Ada Ash"}[l.Person]
		boardtest.Lacks(t, b.Get(l.path), 200, "sign in as "+name)
	}
}

func TestAddresses(t *testing.T) {
	h := build(t)
	for _, bad := range []string{"", "ines", "ines@", "<ines@larkfell.example>", "Ines <ines@larkfell.example>", "ines@larkfell.example\r\nBcc: x@y.example",
		strings.Repeat("x", 300) + "@larkfell.example", "ines@larkfell.example, tom@larkfell.example", "\x00@larkfell.example"} {
		w := boardtest.Stranger(h).Post("/sign-in", url.Values{"email": {bad}})
		boardtest.Lacks(t, w, http.StatusUnprocessableEntity, "Not signed in yet: Sign in", "Write your mail address, like ines@example.org.")
	}
	if list := h.letters(t); list != nil {
		t.Errorf("mails %v", list)
	}
}

// TestFlood asks again and again: three times for an address, and as often for one that is
// not known.
func TestFlood(t *testing.T) {
	h := build(t)
	for _, email := range []string{"maud@larkfell.example", "nobody@larkfell.example"} {
		for i := range 5 {
			w := boardtest.Stranger(h).Post("/sign-in", url.Values{"email": {email}})
			if want := map[bool]int{true: http.StatusSeeOther, false: http.StatusTooManyRequests}[i < 3]; w.Code != want {
				t.Errorf("%s, mail %d: %d, want %d", email, i, w.Code, want)
			} else if i >= 3 {
				boardtest.Lacks(t, w, want, "Too many mails were asked for. Try again in")
				if w.Header().Get("Retry-After") == "" || !strings.Contains(w.Body.String(), email) {
					t.Error("when it can be tried again is not said, or the address is lost")
				}
			}
		}
	}
	if n := len(h.letters(t)); n != 3 {
		t.Errorf("%d mails, want 3", n)
	}
}

// TestHostile sends tokens, cookies and forms that no page of ours makes: none opens the door,
// and none is a fault of the program.
func TestHostile(t *testing.T) {
	h := build(t)
	for _, odd := range []string{"", "x", "%00", "..", "%2e%2e", "*", "%3E", strings.Repeat("A", 20000), "%ff%fe", "sent%2f..", "$KV.SESSIONS.%3E", "%E2%80%AE"} {
		b := boardtest.Stranger(h)
		raw, err := url.PathUnescape(odd)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range []string{"telltale", "telltale-asked"} {
			b.Cookies[name] = odd[:min(len(odd), 3000)]
		}
		form := url.Values{"email": {raw}, "code": {raw}, "to": {raw}, "kept": {odd}, "kept-to": {raw}, "end": {raw}, "all": {raw}, "who": {raw}}
		for _, path := range []string{"/sign-in", "/sign-in/sent", "/sign-in/" + odd, "/sign-out", "/me/sessions", "/people/sessions"} {
			for _, w := range []*httptest.ResponseRecorder{b.Get(path), b.Post(path, form), b.Post(path, nil)} {
				if to := w.Header().Get("Location"); w.Code >= 500 || strings.Contains(to, "//") || strings.Contains(w.Header().Get("Set-Cookie"), "telltale=A") {
					t.Errorf("%.40q, %.40q: %d, to %q: %.300s", path, odd, w.Code, to, w.Body)
				}
			}
		}
		if open(b) {
			t.Errorf("%.40q opens the door", odd)
		}
	}
	if list := h.letters(t); list != nil {
		t.Errorf("%d mails", len(list))
	}
}

// TestNobodyAsks: where people need not sign in, there are no pages for it, and nothing
// stumbles over that nobody is signed in.
func TestNobodyAsks(t *testing.T) {
	h := build(t)
	h.Frame.Asks = func() bool { return false }
	b := boardtest.Stranger(h)
	for _, path := range []string{"/sign-in", "/sign-in/sent", "/sign-in/x", "/sign-out", "/me/sessions", "/people/sessions", "/sign-in/passkey", "/me/passkeys", "/pair", "/people/pair"} {
		for _, w := range []*httptest.ResponseRecorder{b.Get(path), b.Post(path, url.Values{"email": {"maud@larkfell.example"}, "all": {"1"}, "who": {"/people/maud"}})} {
			if w.Code >= 500 || strings.HasPrefix(path, "/sign-in/s") && w.Code != http.StatusNotFound {
				t.Errorf("%s: %d", path, w.Code)
			}
		}
	}
	for _, path := range []string{"/me", "/people"} {
		if w := b.Get(path); w.Code != 200 || strings.Contains(w.Body.String(), "/sign-out") || strings.Contains(w.Body.String(), "/people/sessions") {
			t.Errorf("%s: %d", path, w.Code)
		}
	}
}

// TestWhere has addresses to go on to that lead elsewhere.
func TestWhere(t *testing.T) {
	h := build(t)
	for to, want := range map[string]string{
		"/due?q=a": "/due?q=a", "": "/", "https://evil.example/": "/", "//evil.example": "/", "/\\evil.example": "/", "\\\\evil.example": "/", "/\t/evil.example": "/",
		"javascript:alert(1)": "/", "evil.example": "/", "/%2f/evil.example": "/", "/sign-in": "/", "/sign-in/sent": "/", "/sign-out": "/", "/x/../sign-out": "/", "/due#x": "/due", "/a\r\nSet-Cookie: x=y": "/",
		"http:/due": "/", "/due\u202e": "/", "/" + strings.Repeat("x", 3000): "/", "/v/a%2fb": "/v/a%2fb", "?x": "/", "/..//evil.example": "/",
	} {
		b := boardtest.Stranger(h)
		h.pass(time.Hour)
		l := h.ask(t, b, "maud@larkfell.example", "to", to)
		if got := b.Post(l.path, nil).Header().Get("Location"); got != want {
			t.Errorf("%q leads to %q, want %q", to, got, want)
		}
	}
}

var (
	formIn  = regexp.MustCompile(`(?s)<form method="post" action="([^"]*)">(.*?)</form>`)
	inputIn = regexp.MustCompile(`(?s)<input type="hidden" name="([^"]*)" value="([^"]*)">`)
)

// hidden are the hidden fields of the form that is sent to an address.
func hidden(w *httptest.ResponseRecorder, action string) url.Values {
	out := url.Values{}
	for _, f := range formIn.FindAllStringSubmatch(w.Body.String(), -1) {
		if html.UnescapeString(f[1]) != action {
			continue
		}
		for _, in := range inputIn.FindAllStringSubmatch(f[2], -1) {
			out.Add(html.UnescapeString(in[1]), html.UnescapeString(in[2]))
		}
	}
	return out
}
