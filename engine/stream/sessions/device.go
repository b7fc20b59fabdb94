package sessions

import "strings"

// Device says in a few words which device a request is from, so that its owner knows it
// again in a list: of the header User-Agent only what is in the tables below, since the
// header may hold anything.
func Device(userAgent string) string {
	const most = 1 << 10
	userAgent = userAgent[:min(len(userAgent), most)]
	browser, system := first(userAgent, browsers), first(userAgent, systems)
	switch {
	case browser == "" && system == "":
		return "a browser"
	case system == "":
		return browser
	case browser == "":
		return "a browser on " + system
	}
	return browser + " on " + system
}

// named is a word that a header holds, and what it tells. Most browsers name others too, so
// the first of a table that is there counts.
type named struct{ holds, says string }

var (
	browsers = []named{{"Edg", "Edge"}, {"OPR/", "Opera"}, {"SamsungBrowser", "Samsung Internet"}, {"Firefox/", "Firefox"}, {"FxiOS", "Firefox"},
		{"CriOS", "Chrome"}, {"Chrome/", "Chrome"}, {"Safari/", "Safari"}}
	systems = []named{{"Android", "Android"}, {"iPhone", "iPhone"}, {"iPad", "iPad"}, {"Windows", "Windows"}, {"Mac OS X", "Mac"},
		{"CrOS", "ChromeOS"}, {"Linux", "Linux"}}
)

func first(text string, table []named) string {
	for _, n := range table {
		if strings.Contains(text, n.holds) {
			return n.says
		}
	}
	return ""
}
