package board_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"telltale/engine/stream/sessions"
	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/signin"
	"telltale/notify/delivery"
	"telltale/rules"
)

// locked is a small fleet whose board asks who somebody is, and what it writes to its log.
func locked(t *testing.T) (f *boardtest.Fleet, h http.Handler, said *heard) {
	t.Helper()
	f = boardtest.New(t, boardtest.Files{SignIn: true, Rules: []rules.File{{Name: "oil.yaml", Text: []byte("book: 1\ntasks:\n  oil change: {every: {distance: 1000 km}, early: {distance: 100 km}, unknown history: from first reading}\n")}},
		Events:   `{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":"r-1","subject":"van-1","time":"2031-06-01T06:00:00Z","data":{"meter":"odometer","value":1000,"unit":"km"}}` + "\n",
		Vehicles: "vehicles:\n  van-1: {name: Secret Van, kind: van, people: [maud], meters: {odometer: distance}}\n",
		People:   "people:\n  ines: {name: Ines Thornbeck, mail: ines@larkfell.example}\n  maud: {name: Maud Ashgrove, mail: maud@larkfell.example}\noperator: [ines]\n"})
	said = &heard{}
	f.Logger = slog.New(slog.NewTextHandler(said, &slog.HandlerOptions{Level: slog.LevelDebug}))
	return f, board.Handler(f.Frame), said
}

// heard is a log that may be read while it is written.
type heard struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (h *heard) Write(p []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.b.Write(p)
}

func (h *heard) text() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.b.String()
}

// Who is not signed in is led to signing in from every address that there is, and reads
// nothing of the fleet, in no way of asking.
func TestStrangersReadNothing(t *testing.T) {
	f, h, _ := locked(t)
	in, none := boardtest.SignedIn(t, f, h, "ines"), boardtest.Stranger(h)
	operator := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		got := in.Get(r.URL.RequestURI())
		for k, v := range got.Header() {
			w.Header()[k] = v
		}
		w.WriteHeader(got.Code)
		_, _ = w.Write(got.Body.Bytes())
	})
	paths := []string{"/changes?of=*", "/changes?of=van-1", "/nothing/here", "/v/none", "/me"}
	for _, c := range crawl(t, operator, 2, "/", "/more", "/v/van-1") {
		paths = append(paths, c.path)
	}
	if len(paths) < 30 {
		t.Fatalf("only %q", paths)
	}
	for _, path := range paths {
		if strings.HasPrefix(path, "/s/") || strings.HasPrefix(path, "/sign-in") {
			continue
		}
		for _, method := range []string{"GET", "HEAD", "POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "get", "X"} {
			w := none.Do(httptest.NewRequest(method, "http://127.0.0.1:4280"+path, nil))
			to := w.Header().Get("Location")
			switch {
			case w.Code == 303 && strings.HasPrefix(to, "/sign-in"), w.Code == 401, w.Code == 403, w.Code == 404, w.Code == 405:
			default:
				t.Errorf("%s %s: %d to %q", method, path, w.Code, to)
			}
			if body := w.Body.String(); strings.Contains(body, "Secret") || strings.Contains(body, "Maud") || strings.Contains(body, "Ines") || strings.Contains(body, "larkfell") {
				t.Errorf("%s %s reads\n%s", method, path, boardtest.Says(w))
			}
		}
	}
}

// No cookie but one that the board gave opens it: none that is guessed, cut, made of another
// or set beside the right one by somebody else.
func TestForgedCookies(t *testing.T) {
	f, h, _ := locked(t)
	in := boardtest.SignedIn(t, f, h, "maud")
	token := in.Cookies["telltale"]
	if w := in.Get("/v/van-1"); w.Code != 200 {
		t.Fatalf("%d", w.Code)
	}
	for name, cookie := range map[string]string{
		"cut":            "telltale=" + token[:len(token)-1],
		"longer":         "telltale=" + token + "A",
		"lower case":     "telltale=" + strings.ToLower(token),
		"its hash":       "telltale=" + sessions.Hash(token),
		"its beginning":  "telltale=" + sessions.Hash(token)[:8],
		"a subject":      "telltale=*",
		"all":            "telltale=>",
		"a path":         "telltale=../sessions",
		"empty":          "telltale=",
		"quoted":         `telltale=""`,
		"another's name": "telltale=maud; telltale-who=ines",
		"who of old":     "telltale-who=ines",
		"host's own":     "__Host-telltale=" + token, // without TLS it is no cookie of ours
		"another case":   "Telltale=" + token,
		"planted before": "telltale=planted; telltale=" + token,
		"a NUL":          "telltale=" + token + "\x00",
		"long":           "telltale=" + token + strings.Repeat("x", 4000),
		"a link's":       "telltale-asked=" + token,
		"in a header":    "x=y\r\nCookie: telltale=" + token,
	} {
		r := httptest.NewRequest("GET", "http://127.0.0.1:4280/v/van-1", nil)
		r.Header["Cookie"] = []string{cookie}
		r.Header.Set("Authorization", "Bearer "+token)
		r.Header.Set("X-Forwarded-User", "ines")
		r.Header.Set("Remote-User", "ines")
		w := httptest.NewRecorder()
		if h.ServeHTTP(w, r); w.Code != 303 {
			t.Errorf("%s: %d", name, w.Code)
		}
	}
	for _, query := range []string{"?telltale=" + token, "?session=" + token, "?token=" + token, "?who=ines"} {
		if w := boardtest.Stranger(h).Get("/v/van-1" + query); w.Code != 303 {
			t.Errorf("%s: %d", query, w.Code)
		}
	}
}

// Nobody signs in another's browser, or has theirs signed in, from elsewhere; and nothing is
// signed in by looking.
func TestSigningInFromElsewhere(t *testing.T) {
	f, h, _ := locked(t)
	attacker := boardtest.Stranger(h)
	if w := attacker.Post("/sign-in", url.Values{"email": {"maud@larkfell.example"}}); w.Code != 303 {
		t.Fatal(w.Code)
	}
	path, code := mailed(t, f)
	for _, site := range []string{"cross-site", "same-site"} {
		for at, form := range map[string]url.Values{"/sign-in": {"email": {"maud@larkfell.example"}}, "/sign-in/sent": {"code": {code}}, path: {}, "/sign-out": {}} {
			r := httptest.NewRequest("POST", "http://127.0.0.1:4280"+at, strings.NewReader(form.Encode()))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			r.Header.Set("Sec-Fetch-Site", site)
			r.Header.Set("Origin", "https://evil.example")
			if w := attacker.Do(r); w.Code != 403 || w.Header().Get("Set-Cookie") != "" {
				t.Errorf("%s to %s: %d, %v", site, at, w.Code, w.Header())
			}
		}
	}
	for _, method := range []string{"GET", "HEAD", "OPTIONS", "PUT", "TRACE"} { // a scanner, a prefetch
		for _, at := range []string{path, path + "?_method=POST", "/sign-in/sent?code=" + code, "/sign-out"} {
			r := httptest.NewRequest(method, "http://127.0.0.1:4280"+at, nil)
			r.Header.Set("Sec-Purpose", "prefetch")
			if w := attacker.Do(r); w.Header().Get("Set-Cookie") != "" {
				t.Errorf("%s %s: %d, %v", method, at, w.Code, w.Header())
			}
		}
	}
	victim := boardtest.Stranger(h) // to whom the link is sent on
	if w := victim.Post(path, nil); w.Code != 403 || victim.Cookies["telltale"] != "" {
		t.Errorf("the link in another browser: %d", w.Code)
	}
	if w := victim.Post("/sign-in/sent", url.Values{"code": {code}}); victim.Cookies["telltale"] != "" {
		t.Errorf("the code in another browser: %d", w.Code)
	}
	if w := attacker.Post(path, nil); w.Code != 303 || attacker.Cookies["telltale"] == "" {
		t.Errorf("the link where it was asked for: %d", w.Code)
	}
}

var (
	mailedLink = regexp.MustCompile(`(/sign-in/[A-Z0-9]{52})`)
	mailedCode = regexp.MustCompile(`(?m)^> (\d{3}) (\d{3})`)
)

// mailed are the link and the code of the last mail to sign in.
func mailed(t *testing.T, f *boardtest.Fleet) (path, code string) {
	t.Helper()
	f.Door.(*signin.Door).Settle()
	all, err := delivery.All(t.Context(), f.Log.Deliveries())
	if err != nil || len(all) == 0 {
		t.Fatalf("%d mails, %v", len(all), err)
	}
	raw := strings.ReplaceAll(strings.ReplaceAll(string(all[len(all)-1].Raw), "=\r\n", ""), "=3D", "=")
	link, digits := mailedLink.FindString(raw), mailedCode.FindStringSubmatch(raw)
	if link == "" || digits == nil {
		t.Fatalf("no link and code in\n%s", raw)
	}
	return link, digits[1] + digits[2]
}

// Of fifty codes that are sent at once five are looked at, whoever sends them, so that the
// sixth is refused even if it is right.
func TestCodesAtOnce(t *testing.T) {
	f, h, _ := locked(t)
	b := boardtest.Stranger(h)
	if w := b.Post("/sign-in", url.Values{"email": {"maud@larkfell.example"}}); w.Code != 303 {
		t.Fatal(w.Code)
	}
	_, code := mailed(t, f)
	cookie := b.Cookies["telltale-asked"]
	send := func(code string) *httptest.ResponseRecorder {
		one := &boardtest.Browser{Handler: h, Cookies: map[string]string{"telltale-asked": cookie}, Agent: b.Agent}
		return one.Post("/sign-in/sent", url.Values{"code": {code}})
	}
	var wg sync.WaitGroup
	for i := range 50 {
		wg.Go(func() {
			guess := fmt.Sprintf("%06d", i)
			if guess == code {
				guess = "999999"
			}
			if w := send(guess); w.Code == 303 {
				t.Errorf("%s signs in", guess)
			}
		})
	}
	wg.Wait()
	if w := send(code); w.Code == 303 || w.Header().Get("Set-Cookie") != "" {
		t.Errorf("after fifty tries the right one: %d", w.Code)
	}
}

// The link in a mail leads to the board's own address, whatever name the request came under.
func TestMailLeadsHome(t *testing.T) {
	f, h, _ := locked(t)
	r := httptest.NewRequest("POST", "http://localhost:1/sign-in", strings.NewReader("email=maud%40larkfell.example"))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	for _, k := range []string{"X-Forwarded-Host", "X-Forwarded-Server", "X-Host", "X-Original-Host"} {
		r.Header.Set(k, "evil.example")
	}
	r.Header.Set("Forwarded", "host=evil.example;proto=https")
	w := httptest.NewRecorder()
	if h.ServeHTTP(w, r); w.Code != 303 || w.Header().Get("Location") != "/sign-in/sent" {
		t.Fatalf("%d to %q", w.Code, w.Header().Get("Location"))
	}
	f.Door.(*signin.Door).Settle()
	all, err := delivery.All(t.Context(), f.Log.Deliveries())
	if err != nil || len(all) != 1 {
		t.Fatalf("%d mails, %v", len(all), err)
	}
	if raw := string(all[0].Raw); strings.Contains(raw, "evil") || strings.Contains(raw, "localhost:1") || !strings.Contains(raw, f.URL+"/sign-in/") {
		t.Errorf("%s", raw)
	}
}

// Nobody is led away from the board after signing in.
func TestNobodyIsLedAway(t *testing.T) {
	f, h, _ := locked(t)
	for _, to := range []string{"https://evil.example", "//evil.example", "/\\evil.example", "\\\\evil.example", "/\t/evil.example", "/\n/evil.example", "/%09/evil.example", "/%2f/evil.example", "/%2fevil.example", "/%5cevil.example", "/.//evil.example", "/..//evil.example", "/x/..//evil.example",
		"javascript:alert(1)", "data:text/html,x", "http:evil.example", "///evil.example", "/;//evil.example", "?//evil.example", "@evil.example", ":80@evil.example", "/\u2028/evil.example", "/sign-out", "/sign-in/x", "evil.example"} {
		b := boardtest.Stranger(h)
		w := b.Get("/sign-in?to=" + url.QueryEscape(to))
		if w.Code != 200 {
			t.Errorf("%q: %d", to, w.Code)
		}
		// past the limit on mails: the session is begun as a link does
		in := boardtest.SignedIn(t, f, h, "maud")
		for _, p := range []string{"/sign-in?to=", "/me?to=", "/me?back=", "/?to=", "/sign-out?to="} {
			got := in.Get(p + url.QueryEscape(to)).Header().Get("Location")
			if u, err := url.Parse(got); err != nil || u.Host != "" || u.Scheme != "" || strings.HasPrefix(got, "//") || strings.Contains(got, "\\") {
				t.Errorf("%s%q leads to %q", p, to, got)
			}
		}
	}
}

// What opens the board is written down nowhere: not in the log, not while something fails.
func TestSecretsStayOutOfTheLog(t *testing.T) {
	f, h, said := locked(t)
	b := boardtest.Stranger(h)
	b.Post("/sign-in", url.Values{"email": {"maud@larkfell.example"}})
	path, code := mailed(t, f)
	now := f.Now
	f.Now = func(context.Context) (time.Time, error) { return time.Time{}, errors.New("the log does not answer") }
	for _, method := range []string{"GET", "POST", "PUT"} {
		b.Do(httptest.NewRequest(method, "http://127.0.0.1:4280"+path, nil))
	}
	f.Now = now
	b.Post("/sign-in/sent", url.Values{"code": {"000000"}})
	b.Post(path, nil)
	b.Get("/v/none/why/x?" + b.Cookies["telltale"])
	secrets := []string{strings.TrimPrefix(path, "/sign-in/"), code, b.Cookies["telltale"], b.Cookies["telltale-asked"]}
	if secrets[2] == "" {
		t.Fatal("not signed in")
	}
	for i, secret := range secrets {
		if secret != "" && strings.Contains(said.text(), secret) {
			t.Errorf("secret %d is in the log:\n%s", i, said.text())
		}
	}
}

// Each answer bounds what a page may do, faults and what is no page too.
func TestHeadersOfEachAnswer(t *testing.T) {
	f, h, _ := locked(t)
	in := boardtest.SignedIn(t, f, h, "maud")
	asset := regexp.MustCompile(`/s/board\.[0-9a-f]+\.(css|js|svg)`)
	found := asset.FindAllString(in.Get("/v/van-1").Body.String(), -1)
	if len(found) < 3 {
		t.Fatalf("assets %q", found)
	}
	big := strings.NewReader("note=" + strings.Repeat("x", 200<<10))
	requests := map[string]*http.Request{"another name": httptest.NewRequest("GET", "http://evil.example/", nil), "too large": httptest.NewRequest("POST", "/v/van-1/reading", big), "unread": httptest.NewRequest("POST", "/v/van-1/reading", strings.NewReader("a=%")),
		"foreign": httptest.NewRequest("POST", "/v/van-1/reading", nil), "no method": httptest.NewRequest("DELETE", "/v/van-1", nil), "moved": httptest.NewRequest("GET", "/v//van-1", nil)}
	requests["foreign"].Header.Set("Sec-Fetch-Site", "cross-site")
	for _, k := range []string{"too large", "unread"} {
		requests[k].Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for _, p := range append(found, "/", "/v/van-1", "/v/van-1/history.csv", "/v/van-1/history.json", "/v/van-1/code.svg", "/due.ics", "/due.csv", "/nothing", "/people", "/sign-in", "/sign-in/x", "/sign-in/sent", "/v/van-1/reading") {
		requests[p] = httptest.NewRequest("GET", p, nil)
	}
	for name, r := range requests {
		for _, who := range []*boardtest.Browser{in, boardtest.Stranger(h)} {
			one := r.Clone(t.Context())
			if one.Host = "127.0.0.1:4280"; name == "another name" {
				one.Host = "evil.example"
			}
			if one.Header.Del("Cookie"); name == "too large" {
				one.Body = http.NoBody
				if who == in {
					one.Body = r.Body
				}
			}
			w := who.Do(one)
			head := w.Header()
			for k, want := range map[string]string{"Content-Security-Policy": "frame-ancestors 'none'", "X-Content-Type-Options": "nosniff", "Referrer-Policy": "same-origin", "Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin", "X-Robots-Tag": "noindex"} {
				if got := head.Get(k); !strings.Contains(got, want) {
					t.Errorf("%s (%d): %s is %q", name, w.Code, k, got)
				}
			}
			if kept := strings.HasPrefix(name, "/s/"); kept != strings.Contains(head.Get("Cache-Control"), "immutable") || !kept && head.Get("Cache-Control") != "no-store" {
				t.Errorf("%s (%d): Cache-Control is %q", name, w.Code, head.Get("Cache-Control"))
			}
			if kind := head.Get("Content-Type"); w.Body.Len() > 0 && (kind == "" || strings.HasPrefix(kind, "text/") && !strings.Contains(kind, "charset=utf-8")) {
				t.Errorf("%s (%d): Content-Type is %q", name, w.Code, kind)
			}
			for _, k := range []string{"Access-Control-Allow-Origin", "Server", "X-Powered-By", "Access-Control-Allow-Credentials"} {
				if head.Get(k) != "" {
					t.Errorf("%s: %s is %q", name, k, head.Get(k))
				}
			}
		}
	}
}
