package frame

import (
	"net/http"
	"net/netip"
	"time"

	"telltale/notify/board/limits"
)

// Client is the address that a request comes from, past the proxies that the settings name.
func (f *Frame) Client(r *http.Request) netip.Addr { return f.Proxies.From(r) }

// payer is by whom a request is bounded: who is signed in, else the address. "" on the
// loopback where nobody signs in.
func (f *Frame) payer(r *http.Request, v *Viewer) string {
	if v != nil && v.SignedIn != nil {
		return "who " + v.SignedIn.Who
	}
	return limits.Key(f.Client(r))
}

// within takes a request, or says when it may come again.
func (f *Frame) within(r *Request, k limits.Kind) error {
	if f.Limits == nil || f.Asks != nil && !f.Asks() {
		return nil
	}
	if k == limits.Page && r.Method == http.MethodGet && r.Header.Get("Sec-Fetch-Dest") == "empty" {
		k = limits.Again // by the script of a page that is open, at no will of its reader's
	}
	r.costs = k
	wait := f.Limits.Take(k, f.payer(r.Request, &r.Viewer), time.Now())
	if wait == 0 {
		return nil
	}
	title, words, after := limits.Words(wait, r.Method == http.MethodPost)
	return &Fault{Status: http.StatusTooManyRequests, Title: title, Words: words, After: time.Duration(after) * time.Second}
}

// TakeList takes a request as one for a list of the fleet, which it turned out to be.
func (f *Frame) TakeList(r *Request) error {
	if r.costs == limits.Fleet {
		return nil
	}
	return f.within(r, limits.Fleet)
}
