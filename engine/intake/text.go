package intake

import (
	"errors"
	"fmt"
	"mime"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/go-json-experiment/json/jsontext"

	"telltale/rules/english"
)

// isAttributeName follows CloudEvents 1.0, "naming conventions": lower-case
// letters and digits; the 20 characters it recommends are the rule here.
func isAttributeName(s string) bool {
	return s != "" && len(s) <= 20 && strings.Trim(s, lowerOrDigit) == ""
}

const lowerOrDigit = "abcdefghijklmnopqrstuvwxyz0123456789"

// attributeText reads an attribute of the type String.
func attributeText(name string, val jsontext.Value) (string, error) {
	if val.Kind() != '"' {
		return "", refuse(name, "%s where a text is expected", kindWord(val.Kind()))
	}
	s := ""
	if plainText(val) {
		s = string(val[1 : len(val)-1])
	} else {
		b, err := jsontext.AppendUnquote(nil, val)
		if err != nil {
			return "", jsonFault(err, name)
		}
		s = string(b)
	}
	if s == "" {
		return "", refuse(name, "empty; leave it out or fill it in")
	}
	return s, within(name, checkRunes(s, ""))
}

// plainText reports whether a JSON text stands for the very characters between its
// quotes, all of them printable ASCII.
func plainText(quoted []byte) bool {
	n := len(quoted) - 1
	return n > 0 && quoted[0] == '"' && plainASCII(quoted[1:n])
}

// checkExtension admits the CloudEvents types that JSON can tell apart: Boolean,
// Integer (32 bits, written as an integer) and String.
func checkExtension(name string, val jsontext.Value) error {
	switch val.Kind() {
	case 't', 'f':
		return nil
	case '"':
		_, err := attributeText(name, val)
		if err != nil && string(val) == `""` {
			return nil // only the known attributes must not be empty
		}
		return err
	case '0':
		if _, err := strconv.ParseInt(string(val), 10, 32); err != nil {
			return refuse(name, "%s is not a 32-bit integer, the only kind of number in CloudEvents", shorten(string(val)))
		}
		return nil
	}
	return refuse(name, "%s where an extension has a text, an integer, true or false", kindWord(val.Kind()))
}

// checkRunes refuses the code points that CloudEvents keeps out of strings:
// controls (but those allowed) and noncharacters.
func checkRunes(s, allowed string) error {
	if plainASCII(s) {
		return nil
	}
	for _, r := range s {
		switch {
		case strings.ContainsRune(allowed, r):
		case unicode.IsControl(r):
			return fmt.Errorf("control character %U", r)
		case r >= 0xFDD0 && r <= 0xFDEF || r&0xFFFE == 0xFFFE:
			return fmt.Errorf("noncharacter %U", r)
		}
	}
	return nil
}

// checkSource asks for a URI-reference by RFC 3986.
func checkSource(s string) error {
	if err := atMost(s, maxID); err != nil {
		return err
	}
	if plainPath(s) {
		return nil
	}
	_, err := parseURI(s)
	return err
}

// plainPath reports whether s is a path that nothing can be said against, as nearly
// every source is.
func plainPath(s string) bool {
	const allowed = lowerOrDigit + "ABCDEFGHIJKLMNOPQRSTUVWXYZ/-_."
	return len(s) > 1 && s[0] == '/' && s[1] != '/' && strings.TrimLeft(s, allowed) == ""
}

// checkSchema asks for a URI with a scheme; the schema itself is not read.
func checkSchema(s string) error {
	u, err := parseURI(s)
	if err == nil && !u.IsAbs() {
		return fmt.Errorf("%s is not an absolute URI like https://larkfell.example/schema", quote(s))
	}
	return err
}

// parseURI is stricter than url.Parse, which lets blanks and other characters
// pass that RFC 3986 wants percent-encoded.
func parseURI(s string) (*url.URL, error) {
	for i := 0; i < len(s); i++ {
		if c := s[i]; c <= ' ' || c >= 0x7F || strings.IndexByte("\"<>\\^`{|}", c) >= 0 {
			return nil, fmt.Errorf("%s is not a URI reference, %q must be percent-encoded", quote(s), string(rune(c)))
		}
	}
	u, err := url.Parse(s)
	if err != nil {
		if why, ok := errors.AsType[*url.Error](err); ok {
			err = why.Err
		}
		return nil, fmt.Errorf("%s is not a URI reference: %w", quote(s), err)
	}
	return u, nil
}

func checkContentType(s string) error {
	kind, params, err := mime.ParseMediaType(s)
	charset := strings.ToLower(params["charset"])
	if err != nil || kind != "application/json" || charset != "" && charset != "utf-8" {
		return fmt.Errorf("%s; expected \"application/json\" in UTF-8", quote(s))
	}
	return nil
}

// The years that dates may have. A date outside is a slip of the keyboard or an
// unset clock, and a time must fit in 64 bits of nanoseconds.
const (
	firstYear = 1900
	lastYear  = 2199
)

// strict3339 reports whether what the time package took for RFC 3339 has its form (5.6): it
// would also take an hour of one digit, a comma and an offset of 24 hours.
func strict3339(s string) bool {
	zone := s[len(s)-len("07:00"):]
	return s[13] == ':' && !strings.Contains(s, ",") && (strings.HasSuffix(s, "Z") || zone[:2] < "24" && zone[3:] < "60")
}

// parseTime reads RFC 3339, "t" and "z" in either case; the leap second 23:59:60
// UTC at a month's end is read as the second after it, as a POSIX clock shows it.
func parseTime(s string) (time.Time, error) {
	bad := func() error { return fmt.Errorf("%s is not an RFC 3339 time like 2031-02-10T14:00:00Z", quote(s)) }
	text, leap := strings.ToUpper(s), false
	if len(text) > 19 && text[17:19] == "60" {
		text, leap = text[:17]+"59"+text[19:], true
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil || len(text) > 64 || !strict3339(text) {
		return time.Time{}, bad()
	}
	t = t.UTC()
	if leap {
		if t = t.Add(time.Second); t.Day() != 1 || t.Truncate(24*time.Hour) != t.Truncate(time.Second) {
			return time.Time{}, bad()
		}
	}
	return t, checkYear(t)
}

// parseDate reads YYYY-MM-DD; the time returned is that day's midnight UTC.
func parseDate(s string) (time.Time, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return time.Time{}, fmt.Errorf("%s is not a date like 2031-02-10", quote(s))
	}
	return t, checkYear(t)
}

func checkTime(at, s string) error {
	_, err := parseTime(s)
	return within(at, err)
}

func checkDate(at, s string) error {
	_, err := parseDate(s)
	return within(at, err)
}

func checkYear(t time.Time) error {
	if y := t.Year(); y < firstYear || y > lastYear {
		return fmt.Errorf("the year %d is not between %d and %d", y, firstYear, lastYear)
	}
	return nil
}

func atMost(s string, n int) error {
	if len(s) > n {
		return fmt.Errorf("%d bytes long; the limit is %d", len(s), n)
	}
	return nil
}

func oneOf(s string, want ...string) error {
	if slices.Contains(want, s) {
		return nil
	}
	for i, w := range want {
		want[i] = strconv.Quote(w)
	}
	return fmt.Errorf("%s; expected %s", quote(s), english.List("or", want))
}

// shorten keeps error texts short whatever came in.
func shorten(s string) string {
	if len(s) <= 64 {
		return s
	}
	return clip(s, 64) + "…"
}

// clip cuts s to at most n bytes, never within a character.
func clip(s string, n int) string {
	if len(s) <= n {
		return s
	}
	for n > 0 && !utf8.RuneStart(s[n]) {
		n--
	}
	return s[:n]
}

func quote(s string) string { return strconv.Quote(shorten(s)) }
