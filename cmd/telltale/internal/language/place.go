package language

import (
	"regexp"
	"slices"
	"strings"
)

// place is what an editor's cursor stands in.
type place struct {
	keys   []string // that lead to it, from the outermost
	key    string   // of the value, where it stands in one; "" where a key may stand
	before string   // of the value, up to the cursor; of the key where that is being typed
}

// keyForm is a key at the beginning of a line, or after the dash of a list.
var keyForm = regexp.MustCompile(`^(\s*(?:- +)*)("[^"]*"|'[^']*'|[^\s"'#:{\[][^:#{]*):(?:\s+|$)`)

// placeAt finds what stands around a position by the indentation of the lines above, so
// that a text may have faults anywhere else.
func placeAt(text string, p position) place {
	p.Line = min(p.Line, strings.Count(text, "\n")+1) // what is below the text is at its end
	l := before(line(text, p.Line), p.Character)
	var out place
	indent := len(l) - len(strings.TrimLeft(l, " -"))
	if m := keyForm.FindStringSubmatch(l); m != nil {
		indent = len(m[1])
		out.key, out.before = unquoted(m[2]), l[len(m[0]):]
	} else {
		out.before = l[indent:]
	}
	out.keys = keysAbove(text, p.Line, indent)
	if out.key == "" && inBlock(text, p.Line, indent) && len(out.keys) > 0 {
		last := len(out.keys) - 1
		out.key, out.keys = out.keys[last], out.keys[:last]
	}
	return out.inBraces()
}

// keysAbove are the keys of the lines above that a line at an indentation belongs to.
func keysAbove(text string, n, indent int) []string {
	var keys []string
	for n--; n >= 0 && indent > 0; n-- {
		m := keyForm.FindStringSubmatch(line(text, n))
		if m == nil || len(m[1]) > indent {
			continue
		}
		dash := strings.Index(m[1], "-")
		if len(m[1]) < indent {
			keys, indent = append(keys, unquoted(m[2])), len(m[1])
		}
		if dash >= 0 && len(m[1]) == indent {
			keys, indent = append(keys, ""), dash
		}
	}
	slices.Reverse(keys)
	return keys
}

// inBlock reports whether a line is part of a text that began above after `|` or `>`.
func inBlock(text string, n, indent int) bool {
	for n--; n >= 0; n-- {
		l := line(text, n)
		if m := keyForm.FindStringSubmatch(l); m != nil && len(m[1]) < indent {
			rest := strings.TrimSpace(l[len(m[0]):])
			return rest != "" && strings.ContainsAny(rest[:1], "|>")
		}
	}
	return false
}

// inBraces goes into the mappings that are written in braces: {distance: 500 km, time: …
// As in a line of its own, what stands before a colon is a key.
func (p place) inBraces() place {
	if strings.Contains(p.before, "${") || !strings.HasPrefix(strings.TrimSpace(p.before), "{") {
		return p
	}
	rest := strings.TrimSpace(p.before)
	for strings.HasPrefix(rest, "{") {
		p.keys, p.key = append(p.keys, p.key), ""
		rest = afterComma(rest[1:])
		if key, value, found := strings.Cut(rest, ":"); found {
			p.key, rest = unquoted(strings.TrimSpace(key)), strings.TrimSpace(value)
		}
	}
	p.before = rest
	return p
}

// afterComma is what is being typed of the inside of a brace.
func afterComma(s string) string {
	depth, from := 0, 0
	for i, r := range s {
		switch r {
		case '{', '[', '(':
			depth++
		case '}', ']', ')':
			depth--
		case ',':
			if depth == 0 {
				from = i + 1
			}
		}
	}
	return strings.TrimLeft(s[from:], " ")
}

func unquoted(s string) string { return strings.Trim(s, `"'`) }
