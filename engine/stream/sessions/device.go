package sessions

import "strings"

// Device says in plain words what a request is from, so that its owner knows it again in a
// list. It reads the header User-Agent (RFC 9110, 10.1.5) and hands on no word of it, since
// the header may hold anything. Browsers on phones write "Mobi" and some on tablets
// "Tablet", none of which is sure: a tablet may say that it is a computer.
func Device(userAgent string) string {
	const most = 1 << 10
	userAgent = userAgent[:min(len(userAgent), most)]
	switch {
	case strings.Contains(userAgent, "Tablet"):
		return "a tablet"
	case strings.Contains(userAgent, "Mobi"):
		return "a phone"
	case strings.Contains(userAgent, "/") && strings.Contains(userAgent, " ("): // as browsers name themselves and their system
		return "a computer"
	}
	return "a device"
}
