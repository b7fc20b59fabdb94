package limits

import (
	"net/http"
	"net/netip"
	"slices"
	"strings"
)

// Proxies are ranges of addresses from which X-Forwarded-For is believed, and from no
// others: whoever reaches the service may write that header (ASVS 5.0.0, 4.1.3). Other
// headers of the kind are not read at all.
type Proxies []netip.Prefix

func (p Proxies) has(a netip.Addr) bool {
	return slices.ContainsFunc(p, func(r netip.Prefix) bool { return r.Contains(a) })
}

// From is the address that a request comes from: of the connection or, where that is a
// proxy's, the last one in X-Forwarded-For that is not. Zero where there is none.
func (p Proxies) From(r *http.Request) netip.Addr {
	from := addressOf(r.RemoteAddr)
	if !p.has(from) {
		return from
	}
	hops := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	for _, h := range slices.Backward(hops) {
		a := addressOf(strings.TrimSpace(h))
		if !a.IsValid() {
			break // what stands before it, nobody vouches for
		}
		if from = a; !p.has(from) {
			break
		}
	}
	return from
}

// addressOf reads an address with or without a port. One of IPv4 written as IPv6 is the
// former.
func addressOf(text string) netip.Addr {
	if ap, err := netip.ParseAddrPort(text); err == nil {
		return ap.Addr().Unmap().WithZone("")
	}
	a, err := netip.ParseAddr(strings.Trim(text, "[]"))
	if err != nil {
		return netip.Addr{}
	}
	return a.Unmap().WithZone("")
}

// Key is by what an address is bounded: itself, or of IPv6 its /64, which one customer has
// whole (RFC 6177). "" for the loopback, where everybody comes from whom a proxy brings
// that nobody named, and for none.
func Key(a netip.Addr) string {
	if !a.IsValid() || a.IsLoopback() {
		return ""
	}
	bits := 32
	if a.Is6() {
		bits = 64
	}
	return netip.PrefixFrom(a, bits).Masked().String()
}
