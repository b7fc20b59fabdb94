package signin_test

import (
	"net/url"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"telltale/notify/board/signin"
)

// asBrowsersDo is where a browser goes by a Location: it takes marks and line ends out, and
// \ for / (WHATWG URL, 4.4).
func asBrowsersDo(location string) string {
	location = strings.Trim(location, "\x00\x01\x02\x03\x04\x05\x06\x07\x08\x09\x0a\x0b\x0c\x0d\x0e\x0f\x10\x11\x12\x13\x14\x15\x16\x17\x18\x19\x1a\x1b\x1c\x1d\x1e\x1f ")
	return strings.NewReplacer("\t", "", "\n", "", "\r", "", `\`, "/").Replace(location)
}

// Whatever is asked for, one goes on to a page of this board, and not to one that signs out
// or in; and what is such a page already stays as it is.
func TestOwnPathProperty(t *testing.T) {
	piece := rapid.SampledFrom([]string{"/", "//", `\`, ".", "..", ":", "@", "?", "#", "%2f", "%5c", "%2e", "%09", "%00", "%", ";", "&", "=", "\t", "\n", "\r", " ", "\x00", "\u2028", "\u202e", "\uff0f", "a", "v", "bus-07", "evil.example", "http", "https", "javascript", "sign-in", "sign-out", "SIGN-OUT", "x"})
	rapid.Check(t, func(t *rapid.T) {
		asked := strings.Join(rapid.SliceOfN(piece, 0, 8).Draw(t, "pieces"), "")
		if rapid.Bool().Draw(t, "rooted") {
			asked = "/" + asked
		}
		to := signin.OwnPath(asked)
		gone := asBrowsersDo(to)
		u, err := url.Parse(gone)
		if err != nil || !strings.HasPrefix(gone, "/") || strings.HasPrefix(gone, "//") || u.Host != "" || u.Scheme != "" {
			t.Fatalf("%q leads to %q", asked, to)
		}
		if at := strings.TrimSuffix(u.Path, "/"); at == "/sign-out" || at == "/sign-in" || strings.HasPrefix(at, "/sign-in/") {
			t.Fatalf("%q leads to %q", asked, to)
		}
		if again := signin.OwnPath(to); again != to {
			t.Fatalf("%q leads to %q, and that to %q", asked, to, again)
		}
	})
}
