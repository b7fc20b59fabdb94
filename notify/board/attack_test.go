package board_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
)

// Addresses that nobody links to are no fault of the program, and answer no other's page.
func TestOddAddresses(t *testing.T) {
	h := board.Handler(boardtest.Sample(t).Frame)
	long := strings.Repeat("q", 10<<10)
	for _, path := range []string{
		"/v/..", "/v/%2e%2e", "/v/%2e%2e/work", "/v/%00", "/v/%00/why", "/v/%2f", "/v/a%2fb/history", "//", "//due", "/v//", "/v/%ff", "/v/bus-01/%00", "/v/bus-01/samples/%00", "/v/bus-01/sample/..%2f..",
		"/due?after=x", "/due?after=%00", "/due?after=overdue.2031-06-01.bus-01.x.y", "/due?before=x&after=x", "/due?limit=-1", "/due?limit=1000000000", "/due?limit=x", "/due?q=" + long,
		"/due?tag==", "/due?tag=a=b=c", "/due?tag=%00=%00", "/due?stage=x", "/due?ahead=-1", "/due?ahead=99999999999999999999", "/due?on=0001-01-01", "/due?on=9999-12-31", "/due?on=2031-02-31", "/due?on=x", "/due?person=x", "/due?kind=%00", "/due?vehicle=%00", "/due?vehicle=..",
		"/standing?after=x", "/standing?after=overdue.2031-06-01.bus-01.x.y", "/standing?view=x", "/standing?view=due", "/standing?of=x", "/standing?tag==",
		"/vehicles?after=%ff", "/vehicles?after=" + long, "/vehicles?before=%00", "/vehicles?state=x", "/vehicles?silent=-1", "/vehicles?silent=x", "/vehicles?tag==", "/vehicles?q=%ff%fe", "/vehicles?q=" + long,
		"/said?after=x", "/said?before=-1&after=-1", "/said?limit=x", "/deliveries?after=x", "/deliveries?before=99999999999999999999", "/deliveries?state=x", "/deliveries?person=%00", "/refused?after=x", "/refused?before=-1", "/refused?vehicle=%00", "/refused?after=99999999999999999999",
		"/v/bus-01/history?after=x", "/v/bus-01/history?before=-1&after=99999999999999999999", "/v/bus-01/history?limit=1000000000", "/v/bus-01/why?task=%00", "/v/bus-01/why?rule=x&component=%ff", "/v/bus-01/history?from=x&to=y", "/v/bus-01/history?page=-1", "/v/bus-01/history?page=99999999999999999999",
		"/rules/%2e%2e%2fx", "/rules/%00", "/rules?q=" + long, "/rules/try?rule=%00", "/rules/try?again=%00", "/rules/try/%00", "/rules/try/x/file", "/files/dry/..%2f", "/files/sent/%00", "/files/new/%00", "/files?mapping=../x", "/baselines/%00", "/people/%00", "/print?path=//x", "/labels?q=%00", "/labels?limit=1000000000", "/qr?text=" + long,
		"/due.csv?after=x", "/due.ics?on=x", "/s/..%2f", "/s/board.css", "/enter?q=%00", "/me?who=%00",
	} {
		w := boardtest.Get(t, h, path)
		switch {
		case w.Code >= 500:
			t.Errorf("%.60s: %d %s", path, w.Code, w.Body)
		case strings.Contains(w.Header().Get("Location"), "//"):
			t.Errorf("%.60s leads to %s", path, w.Header().Get("Location"))
		case w.Code == 200 && strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") && w.Body.Len() > 100<<10 && !strings.HasPrefix(path, "/rules/try"): // in which a chapter stands
			t.Errorf("%.60s: %d bytes", path, w.Body.Len())
		}
	}
}

// A page is read by GET and HEAD; every other way is refused, and nothing is asked from
// elsewhere.
func TestOddWays(t *testing.T) {
	h := board.Handler(boardtest.Sample(t).Frame)
	ask := func(method, path string, head ...string) *httptest.ResponseRecorder {
		r := httptest.NewRequest(method, "http://127.0.0.1:4280"+path, nil)
		for i := 0; i+1 < len(head); i += 2 {
			if head[i] == "Host" {
				r.Host = head[i+1]
			} else {
				r.Header.Add(head[i], head[i+1])
			}
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w
	}
	for _, path := range []string{"/", "/due", "/standing", "/vehicles", "/v/bus-01", "/files", "/rules", "/rules/try", "/v/bus-01/work", "/me"} {
		if w := ask("HEAD", path); w.Code != 200 {
			t.Errorf("HEAD %s: %d", path, w.Code)
		}
		for _, m := range []string{"PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "PROPFIND"} {
			if w := ask(m, path); w.Code != 404 && w.Code != 405 {
				t.Errorf("%s %s: %d", m, path, w.Code)
			}
		}
		for name, v := range map[string]string{"multi": "bytes=0-1,2-3", "from the end": "bytes=-5", "odd": "bytes=9-1"} {
			if w := ask("GET", path, "Range", v); w.Code != 200 {
				t.Errorf("%s, range %s: %d", path, name, w.Code)
			}
		}
		for _, host := range []string{"evil.example", "127.0.0.1.evil.example", "localhost.evil.example", "evil.example:4280", "127.0.0.1@evil.example", "", "[::ffff:8.8.8.8]", "0.0.0.0", "10.0.0.1", "%00"} {
			if w := ask("GET", path, "Host", host); w.Code != http.StatusMisdirectedRequest {
				t.Errorf("%s of the host %q: %d", path, host, w.Code)
			}
		}
	}
	for _, host := range []string{"127.0.0.1", "localhost:4280", "LOCALHOST", "[::1]:4280", "[::1]", "127.0.0.9:1", "localhost."} {
		if w := ask("GET", "/due", "Host", host); w.Code != 200 {
			t.Errorf("host %q: %d", host, w.Code)
		}
	}
	for name, head := range map[string][]string{
		"Origin null": {"Origin", "null"}, "another's Origin": {"Origin", "http://evil.example"}, "cross-site": {"Sec-Fetch-Site", "cross-site"}, "same-site": {"Sec-Fetch-Site", "same-site"},
		"another port": {"Origin", "http://127.0.0.1:9999"}, "two Origins": {"Origin", "http://127.0.0.1:4280, http://evil.example"}, "cross-site and own Origin's look": {"Sec-Fetch-Site", "cross-site", "Origin", "http://127.0.0.1:4280.evil.example"},
	} {
		for _, path := range []string{"/me", "/v/bus-01/work", "/files", "/rules/try", "/v/bus-01/entered/x"} {
			if w := ask("POST", path, head...); w.Code != http.StatusForbidden {
				t.Errorf("POST %s, %s: %d", path, name, w.Code)
			}
		}
	}
	for name, cookie := range map[string]string{"long": "telltale-who=" + strings.Repeat("x", 4<<10), "nobody": "telltale-who=made-up", "two": "telltale-who=a; telltale-who=b", "NUL": "telltale-who=\x00", "a path": "telltale-who=../../x"} {
		if w := ask("GET", "/due", "Cookie", cookie); w.Code != 200 {
			t.Errorf("cookie %s: %d", name, w.Code)
		}
	}
	for _, who := range []string{"made-up", "", "../x", "\x00", "board", strings.Repeat("x", 4<<10)} {
		w := boardtest.Post(t, h, "/me", url.Values{"who": {who}, "id": {who}, "person": {who}})
		if c := w.Header().Get("Set-Cookie"); strings.Contains(c, "made-up") || strings.Contains(c, "..") || len(c) > 300 || w.Code >= 500 {
			t.Errorf("%.20q: %d, %s", who, w.Code, c)
		}
	}
	for _, back := range []string{"//evil.example", "http://evil.example", "/\\evil.example", "javascript:alert(1)", "\\\\evil.example", "/%09/evil.example", "/\t/evil.example"} {
		w := boardtest.Post(t, h, "/me?back="+url.QueryEscape(back)+"&to="+url.QueryEscape(back), url.Values{"who": {"ines"}, "back": {back}, "to": {back}, "from": {back}})
		if to := w.Header().Get("Location"); strings.Contains(to, "evil") || strings.Contains(to, "script") {
			t.Errorf("%q leads to %q", back, to)
		}
	}
}
