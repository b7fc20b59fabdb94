package limits

import (
	"net/http/httptest"
	"net/netip"
	"testing"
)

// TestFrom: an address is taken from a header only where a named proxy brings it, and there
// only what proxies wrote.
func TestFrom(t *testing.T) {
	p := Proxies{netip.MustParsePrefix("10.0.0.0/8"), netip.MustParsePrefix("fd00::/8")}
	for _, tt := range []struct {
		name, remote string
		forwarded    []string
		want         string
	}{
		{"no proxy", "192.0.2.7:1000", nil, "192.0.2.7"},
		{"forged past the proxy", "192.0.2.7:1000", []string{"198.51.100.1"}, "192.0.2.7"},
		{"forged from the loopback that nobody named", "127.0.0.1:1000", []string{"198.51.100.1"}, "127.0.0.1"},
		{"by a proxy", "10.0.0.1:1000", []string{"198.51.100.1"}, "198.51.100.1"},
		{"by two proxies", "10.0.0.1:1000", []string{"198.51.100.1, 10.0.0.2"}, "198.51.100.1"},
		{"forged before the proxy", "10.0.0.1:1000", []string{"203.0.113.9, 198.51.100.1"}, "198.51.100.1"},
		{"forged in a header of its own", "10.0.0.1:1000", []string{"203.0.113.9", "198.51.100.1"}, "198.51.100.1"},
		{"forged as a proxy", "10.0.0.1:1000", []string{"203.0.113.9, 10.9.9.9, 198.51.100.1"}, "198.51.100.1"},
		{"no header", "10.0.0.1:1000", nil, "10.0.0.1"},
		{"nonsense", "10.0.0.1:1000", []string{"127.0.0.1; DROP"}, "10.0.0.1"},
		{"nonsense before", "10.0.0.1:1000", []string{"x, 198.51.100.1"}, "198.51.100.1"},
		{"nonsense after", "10.0.0.1:1000", []string{"198.51.100.1, unknown"}, "10.0.0.1"},
		{"all are proxies", "10.0.0.1:1000", []string{"10.0.0.3, 10.0.0.2"}, "10.0.0.3"},
		{"with a port", "10.0.0.1:1000", []string{"198.51.100.1:55"}, "198.51.100.1"},
		{"IPv6", "[fd00::1]:1000", []string{"[2001:db8::7]:55"}, "2001:db8::7"},
		{"IPv6 bare", "[fd00::1]:1000", []string{"2001:db8::7"}, "2001:db8::7"},
		{"IPv4 in IPv6", "[::ffff:10.0.0.1]:1000", []string{"::ffff:198.51.100.1"}, "198.51.100.1"},
		{"with a zone", "[fe80::1%eth0]:1000", nil, "fe80::1"},
		{"a socket", "@", nil, "invalid IP"},
	} {
		r := httptest.NewRequest("GET", "/", nil)
		r.RemoteAddr = tt.remote
		for _, h := range tt.forwarded {
			r.Header.Add("X-Forwarded-For", h)
		}
		for _, other := range []string{"X-Real-Ip", "Forwarded", "X-Client-Ip", "True-Client-Ip"} {
			r.Header.Set(other, "203.0.113.66")
		}
		if got := p.From(r).String(); got != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, got, tt.want)
		}
	}
}

// TestKey: an address of IPv4, and the /64 of one of IPv6.
func TestKey(t *testing.T) {
	for a, want := range map[string]string{
		"192.0.2.7": "192.0.2.7/32", "2001:db8:1:2:3:4:5:6": "2001:db8:1:2::/64", "2001:db8:1:2::9": "2001:db8:1:2::/64",
		"127.0.0.1": "", "::1": "", "": "",
	} {
		if got := Key(addressOf(a)); got != want {
			t.Errorf("%q: %q, want %q", a, got, want)
		}
	}
}
