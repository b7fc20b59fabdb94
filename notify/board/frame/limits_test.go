package frame

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"telltale/notify/board/limits"
	"telltale/notify/rights"
)

// flood asks for a page many times and says how often it got it, and the last answer.
func flood(h http.Handler, times int, method, path string, change func(*http.Request)) (got int, last *httptest.ResponseRecorder) {
	for range times {
		r := httptest.NewRequest(method, "http://127.0.0.1:4280"+path, nil)
		change(r)
		last = httptest.NewRecorder()
		if h.ServeHTTP(last, r); last.Code != http.StatusTooManyRequests {
			got++
		}
	}
	return got, last
}

func here(context.Context, *Request) (*Page, error) { return &Page{Title: "Here"}, nil }

// TestLimits: whoever asks too often is told to wait in plain words, others are not; a signed
// in person is bounded by who they are, others by their address, past a named proxy alone.
func TestLimits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := aFrame(t)
		f.Limits, f.Proxies = limits.NewPages(), limits.Proxies{netip.MustParsePrefix("10.0.0.0/8")}
		h := f.Handler(Route{Pattern: "GET /due", Handle: here}, Route{Pattern: "POST /due", Handle: here}, Route{Pattern: "GET /due.csv", Handle: here, Costs: limits.Fleet},
			Route{Pattern: "GET /code.svg", Handle: here, Costs: limits.Part},
			Route{Pattern: "GET /may", Handle: func(_ context.Context, r *Request) (*Page, error) { return &Page{}, f.TakeList(r) }})
		by := func(address string, forwarded ...string) func(*http.Request) {
			return func(r *http.Request) {
				r.RemoteAddr = address
				for _, a := range forwarded {
					r.Header.Set("X-Forwarded-For", a)
				}
			}
		}
		n := 0
		forging := func(r *http.Request) { n++; by("192.0.2.50:1", fmt.Sprintf("198.51.100.%d", n%250))(r) }
		turning := func(r *http.Request) { n++; by(fmt.Sprintf("[2001:db8::%x]:1", n))(r) }
		script := func(r *http.Request) { by("192.0.2.7:1")(r); r.Header.Set("Sec-Fetch-Dest", "empty") }
		for _, tt := range []struct {
			name, method, path string
			of                 func(*http.Request)
			want               int
		}{
			{"lists", "GET", "/due.csv", by("192.0.2.7:1"), 10},
			{"the rest of the minute's pages", "GET", "/due", by("192.0.2.7:2"), 50},
			{"forms are pages", "POST", "/due", by("192.0.2.7:2"), 0},
			{"what is not there, too", "GET", "/elsewhere", by("192.0.2.7:2"), 0},
			{"its script", "GET", "/due", script, 60},
			{"pictures", "GET", "/code.svg", by("192.0.2.7:3"), 100},
			{"another", "GET", "/due", by("192.0.2.8:1"), 60},
			{"who forges addresses", "GET", "/due", forging, 60},
			{"who turns addresses of one network", "GET", "/due", turning, 60},
			{"by a proxy", "GET", "/due", by("10.0.0.1:1", "198.51.100.1"), 60},
			{"another by it", "GET", "/due", by("10.0.0.1:1", "198.51.100.2"), 60},
			{"a page that turns out a list", "GET", "/may", by("192.0.2.9:1"), 10},
			{"this machine", "GET", "/due", by("127.0.0.1:1"), 100},
		} {
			if got, w := flood(h, 100, tt.method, tt.path, tt.of); got != tt.want {
				t.Errorf("%s: %d, want %d\n%s", tt.name, got, tt.want, w.Body)
			}
		}
		for method, want := range map[string]string{"GET": "Nothing is wrong. Wait 1 second, then load the page again.", "POST": "What you sent is not stored. Wait 1 second"} {
			if _, w := flood(h, 1, method, "/due", by("192.0.2.7:1")); w.Header().Get("Retry-After") != "1" || !strings.Contains(w.Body.String(), want) || !strings.Contains(w.Body.String(), "Too many pages in a short time.") {
				t.Errorf("%s: Retry-After %q\n%s", method, w.Header().Get("Retry-After"), w.Body)
			}
		}
		time.Sleep(3 * time.Second) // in the bubble
		if got, _ := flood(h, 100, "GET", "/due", by("192.0.2.7:1")); got != 3 {
			t.Errorf("three seconds later %d, want 3", got)
		}
	})
}

// TestNoLimits: on the loopback, where nobody signs in, nothing is bounded.
func TestNoLimits(t *testing.T) {
	h := aFrame(t).Handler(Route{Pattern: "GET /due.csv", Handle: here, Costs: limits.Fleet})
	if got, _ := flood(h, 300, "GET", "/due.csv", func(*http.Request) {}); got != 300 {
		t.Errorf("%d of 300", got)
	}
}

// oneDoor lets in whom the request names.
type oneDoor struct{}

func (oneDoor) Identify(_ context.Context, r *http.Request) (*Identity, error) {
	if who := r.Header.Get("Who"); who != "" {
		return &Identity{Who: who, Session: "s"}, nil
	}
	return nil, nil
}
func (oneDoor) Strange(context.Context, *Request) (*Page, error) { return &Page{To: SignIn}, nil }

// TestLimitsByPerson: people behind one address do not take pages from each other, nor does
// who comes from everywhere get more; strangers at their address take none from them.
func TestLimitsByPerson(t *testing.T) {
	f := aFrame(t)
	f.Limits, f.Door = limits.NewPages(), oneDoor{}
	h := f.Handler(Route{Pattern: "GET /mine", Handle: here}, Route{Pattern: "GET /sign-in", Needs: rights.Open, Handle: here})
	n := 0
	as := func(who string, turning bool) func(*http.Request) {
		return func(r *http.Request) {
			n++
			r.RemoteAddr = "192.0.2.7:1"
			if turning {
				r.RemoteAddr = fmt.Sprintf("192.0.2.%d:1", n%250)
			}
			r.Header.Set("Who", who)
		}
	}
	synctest.Test(t, func(t *testing.T) { // in which no second passes
		for _, tt := range []struct {
			name, path, who string
			turning         bool
			want            int
		}{
			{"strangers at an address", "/sign-in", "", false, 60},
			{"one of it", "/mine", "ines", false, 60},
			{"another of it", "/mine", "tobias", false, 60},
			{"the same from elsewhere", "/mine", "tobias", true, 0},
			{"strangers at it still", "/mine", "", false, 0},
		} {
			if got, w := flood(h, 100, "GET", tt.path, as(tt.who, tt.turning)); got != tt.want {
				t.Errorf("%s: %d, want %d\n%s", tt.name, got, tt.want, w.Body)
			}
		}
	})
}

// TestLiveEach: one person, or one address, has only so many pages that hear of changes; who
// leaves makes room.
func TestLiveEach(t *testing.T) {
	l := &Live{pages: map[*listening]struct{}{}, each: map[string]int{}}
	var all []*listening
	for range mostListeningEach {
		all = append(all, l.listen("*", "who ines"))
	}
	if l.listen("*", "who ines") != nil || l.listen("*", "who maud") == nil || l.listen("*", "") == nil {
		t.Error("one more is taken, or another's is not")
	}
	l.leave(all[3])
	if l.listen("*", "who ines") == nil {
		t.Error("where one left there is no room")
	}
	for p := range l.pages {
		l.leave(p)
	}
	if len(l.each) != 0 {
		t.Errorf("still counted: %v", l.each)
	}
}
