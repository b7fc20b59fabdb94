package answers

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
	"testing/synctest"

	"telltale/notify/board/limits"
)

// TestLimits: whoever asks too often is told to wait, others are not; who turns addresses in
// X-Forwarded-For is one of them, past a named proxy alone.
func TestLimits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) { // in which no second passes
		b := &Pages{Key: key, Limits: limits.NewLinks(), Proxies: limits.Proxies{netip.MustParsePrefix("10.0.0.0/8")}}
		n := 0
		for _, tt := range []struct {
			name, remote, forwarded string
			want                    int
		}{
			{"one", "192.0.2.7:1", "", 60},
			{"who turns", "192.0.2.8:1", "198.51.100.%d", 60},
			{"many behind the proxy", "10.0.0.1:1", "198.51.100.%d", 100},
			{"this machine", "127.0.0.1:1", "", 100},
		} {
			got := 0
			for range 100 {
				r, w := httptest.NewRequest("POST", "/none", nil), httptest.NewRecorder()
				if r.RemoteAddr = tt.remote; tt.forwarded != "" {
					n++
					r.Header.Set("X-Forwarded-For", fmt.Sprintf(tt.forwarded, n%250))
				}
				b.ServeHTTP(w, r)
				switch says := w.Body.String(); {
				case w.Code == http.StatusNotFound:
					got++
				case w.Code != http.StatusTooManyRequests || w.Header().Get("Retry-After") != "1" || !strings.Contains(says, "What you sent is not stored. Wait 1 second"):
					t.Fatalf("%s: %d %v\n%s", tt.name, w.Code, w.Header(), says)
				}
			}
			if got != tt.want {
				t.Errorf("%s: %d, want %d", tt.name, got, tt.want)
			}
		}
	})
}
