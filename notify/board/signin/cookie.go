package signin

import (
	"net/http"
	"strings"
	"time"
)

const (
	// sessionCookie holds the token of a session, askedCookie what binds a mail to the browser
	// that asked for it.
	sessionCookie = "telltale"
	askedCookie   = "telltale-asked"
	// hostOnly begins a cookie's name that no other host can set, and no page without TLS
	// (RFC 6265bis, section 4.1.3.2; ASVS 5.0.0, 3.3.3).
	hostOnly = "__Host-"
)

// secure reports whether people reach the board by TLS. Without it, it can be reached from
// its own machine alone, where a browser would send no such cookie.
func (d *Door) secure(r *http.Request) bool {
	return r.TLS != nil || strings.HasPrefix(d.URL, "https://")
}

func (d *Door) cookieName(r *http.Request, name string) string {
	if d.secure(r) {
		return hostOnly + name
	}
	return name
}

// read is the value of a cookie; "" where the request brings none.
func (d *Door) read(r *http.Request, name string) string {
	c, err := r.Cookie(d.cookieName(r, name))
	if err != nil {
		return ""
	}
	const most = 200 // ours have some 50
	return c.Value[:min(len(c.Value), most)]
}

// set has the browser keep a cookie for so long. Lax, so that the link in a mail arrives
// with it.
func (d *Door) set(h http.Header, r *http.Request, name, value string, lasts time.Duration) {
	h.Add("Set-Cookie", d.Cookie(r, name, value, lasts, http.SameSiteLaxMode).String())
}

// Cookie is one that the browser keeps for so long; it forgets one that lasts 0. No script
// reads it. Its name has the prefix that it can have.
func (d *Door) Cookie(r *http.Request, name, value string, lasts time.Duration, from http.SameSite) *http.Cookie {
	c := &http.Cookie{Name: d.cookieName(r, name), Value: value, Path: "/", MaxAge: int(lasts / time.Second),
		Secure: d.secure(r), HttpOnly: true, SameSite: from}
	if lasts == 0 {
		c.MaxAge = -1
	}
	return c
}
