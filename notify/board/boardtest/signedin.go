package boardtest

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"telltale/engine/stream/sessions"
	"telltale/notify/board/signin"
)

// Browser asks a board for pages as a browser does that keeps its cookies.
type Browser struct {
	Handler http.Handler
	// Cookies are those that it has, by name.
	Cookies map[string]string
	// Agent is what it says that it is.
	Agent string
}

// Stranger is a browser in which nobody is signed in.
func Stranger(h http.Handler) *Browser {
	return &Browser{Handler: h, Cookies: map[string]string{}, Agent: "Browser/5.0 (System 14; Mobile)"}
}

// SignedIn is a browser in which a person of people.yaml is signed in, by a link. The fleet
// must have been made with [Files.SignIn].
func SignedIn(t testing.TB, f *Fleet, h http.Handler, person string) *Browser {
	t.Helper()
	return SignedInAs(t, f, h, sessions.Session{Who: "/people/" + person, How: sessions.Link})
}

// SignedInAs is a browser with a session as given: of a tablet, or with two factors.
func SignedInAs(t testing.TB, f *Fleet, h http.Handler, s sessions.Session) *Browser {
	t.Helper()
	door := f.Door.(*signin.Door)
	b := Stranger(h)
	s.Device = sessions.Device(b.Agent)
	token, err := door.Sessions.Begin(t.Context(), s, door.Wall())
	if err != nil {
		t.Fatal(err)
	}
	b.Cookies["telltale"] = token
	return b
}

// Get asks for a page.
func (b *Browser) Get(path string) *httptest.ResponseRecorder {
	return b.Do(httptest.NewRequest(http.MethodGet, "http://127.0.0.1:4280"+path, nil))
}

// Post sends a form.
func (b *Browser) Post(path string, form url.Values) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1:4280"+path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	return b.Do(r)
}

// Do sends a request with the cookies, and keeps those that come with the answer.
func (b *Browser) Do(r *http.Request) *httptest.ResponseRecorder {
	r.Header.Set("User-Agent", b.Agent)
	for name, value := range b.Cookies {
		r.AddCookie(&http.Cookie{Name: name, Value: value})
	}
	w := ask(b.Handler, r)
	for _, c := range w.Result().Cookies() {
		if b.Cookies[c.Name] = c.Value; c.MaxAge < 0 {
			delete(b.Cookies, c.Name)
		}
	}
	return w
}
