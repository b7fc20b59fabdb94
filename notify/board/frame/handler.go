package frame

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"telltale/engine/stream/audit"
	"telltale/notify/rights"
)

// maxForm bounds what a form may send where its route says nothing else.
const maxForm = 16 << 10

// policy lets a page load from the board alone, and run nothing that stands in it.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; " +
	"base-uri 'none'; object-src 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'"

// Handler serves the routes, the style sheet and the script. Behind it a request is one
// for this board, with headers that bound what a page may do.
func (f *Frame) Handler(routes ...Route) http.Handler {
	mux := http.NewServeMux()
	all := &ways{mux: mux, needs: map[string]rights.Verb{}}
	for _, r := range routes {
		mux.Handle(r.Pattern, f.serve(r, all))
		all.needs[r.Pattern] = r.Needs
	}
	mux.Handle("GET "+stylePath, asset("text/css; charset=utf-8", style))
	mux.Handle("GET "+scriptPath, asset("text/javascript; charset=utf-8", script))
	mux.Handle("GET "+iconPath, asset("image/svg+xml", icon))
	if f.Live != nil {
		mux.Handle("GET "+changesPath, f.bell())
	}
	mux.Handle("/", f.serve(Route{Needs: rights.Open, Handle: func(context.Context, *Request) (*Page, error) { return nil, NotFound }}, all))
	own := http.NewCrossOriginProtection()
	if err := own.AddTrustedOrigin(f.URL); f.URL != "" && err != nil {
		f.Logger.Warn("the board's address is no origin", "url", f.URL, "error", err)
	}
	own.SetDenyHandler(f.serve(Route{Needs: rights.Open, Did: audit.Changed, Handle: func(context.Context, *Request) (*Page, error) {
		return nil, &Fault{Status: http.StatusForbidden, Title: wordForeign}
	}}, all))
	return f.bounded(own.Handler(mux), all)
}

// bounded sets the headers, and refuses what is asked for under another name: a page of
// elsewhere may have its own name lead to this machine.
func (f *Frame) bounded(next http.Handler, all *ways) http.Handler {
	elsewhere := f.serve(Route{Needs: rights.Open, Handle: func(context.Context, *Request) (*Page, error) {
		return nil, &Fault{Status: http.StatusMisdirectedRequest, Title: wordElse, Words: wordElseDo}
	}}, all)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("Referrer-Policy", "same-origin")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Robots-Tag", "noindex")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if !f.answersTo(r.Host) {
			elsewhere.ServeHTTP(w, r)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// answersTo reports whether a request's host is the board's.
func (f *Frame) answersTo(host string) bool {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.TrimSuffix(strings.ToLower(strings.Trim(host, "[]")), ".")
	if ip := net.ParseIP(host); ip != nil && ip.IsLoopback() || host == "localhost" || slices.Contains(f.Hosts, host) {
		return true
	}
	u, err := url.Parse(f.URL)
	return err == nil && f.URL != "" && strings.EqualFold(u.Hostname(), host)
}

// serve answers a route's requests.
func (f *Frame) serve(route Route, all *ways) http.Handler {
	if route.MaxBody == 0 {
		route.MaxBody = maxForm
	}
	return http.HandlerFunc(func(w http.ResponseWriter, hr *http.Request) {
		ctx := hr.Context()
		hr.Body = http.MaxBytesReader(w, hr.Body, route.MaxBody)
		if route.Within > 0 {
			c, until := http.NewResponseController(w), time.Now().Add(route.Within)
			_, _ = c.SetReadDeadline(until), c.SetWriteDeadline(until) // a test's recorder has none
		}
		r := &Request{Request: hr, Viewer: stranger, needs: route.Needs, ways: all}
		p, err := f.answer(ctx, r, route)
		f.noteDown(ctx, r, route, p, err)
		if err != nil {
			f.fault(ctx, w, r, err)
			return
		}
		f.write(w, r, p)
	})
}

// answer has the page made. A panic in it is a fault of this program, and of one page
// alone.
func (f *Frame) answer(ctx context.Context, r *Request, route Route) (p *Page, err error) {
	defer func() {
		if v := recover(); v != nil {
			p, err = nil, fmt.Errorf("a fault of this program in making the page: %v\n%s", v, debug.Stack()) // for the log; no page says it
		}
	}()
	who, err := f.viewer(ctx, r.Request)
	if err != nil {
		return nil, err
	}
	if who != nil {
		r.Viewer, r.known = *who, true
	}
	if err := f.within(r, route.Costs); err != nil {
		return nil, err
	}
	if r.Now, err = f.Now(ctx); err != nil {
		return nil, err
	}
	if r.Method == http.MethodPost && !strings.HasPrefix(r.Header.Get("Content-Type"), "multipart/") {
		if err := r.ParseForm(); err != nil {
			if _, large := errors.AsType[*http.MaxBytesError](err); large {
				return nil, err
			}
			return nil, &Fault{Status: http.StatusBadRequest, Title: wordUnread}
		}
	}
	if who == nil && route.Needs != rights.Open {
		return f.Door.Strange(ctx, r)
	}
	if err := f.allowed(ctx, r, route.Needs); err != nil {
		return nil, err
	}
	if id := r.Viewer.SignedIn; id != nil && route.Needs == rights.Change && !id.Lately {
		return f.Door.Strange(ctx, r)
	}
	return route.Handle(ctx, r)
}

// Server is one for the handler, with limits for slow senders.
func Server(h http.Handler) *http.Server {
	return &http.Server{Handler: h, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: time.Minute,
		WriteTimeout: time.Minute, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 32 << 10}
}
