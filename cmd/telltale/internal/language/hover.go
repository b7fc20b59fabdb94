package language

import (
	"context"
	"fmt"
	"regexp"
	"strings"

	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/word"
)

// token is a name within a line: a word, an analyte, a key of two words.
var token = regexp.MustCompile(`[\pL_][\pL\d_]*(?: [\pL_][\pL\d_]*)*`)

// hover says what the name at a place means; null where it has nothing to say.
func (s *server) hover(_ context.Context, p *at) (*hover, error) {
	d, c := s.at(p.Document)
	l := line(d.text, p.Position.Line)
	cursor := len(before(l, p.Position.Character))
	if text, from, to := s.ofKey(d, p.Position, l, cursor); text != "" {
		return hovering(l, p.Position.Line, from, to, text), nil
	}
	for _, m := range token.FindAllStringIndex(l, -1) {
		if cursor < m[0] || cursor > m[1] {
			continue
		}
		if text, from, to := c.means(l, m[0], m[1], cursor); text != "" {
			return hovering(l, p.Position.Line, from, to, text), nil
		}
	}
	return nil, nil
}

func hovering(l string, n, from, to int, text string) *hover {
	return &hover{markup{"markdown", text}, &span{
		position{n, units(l, len([]rune(l[:from])))}, position{n, units(l, len([]rune(l[:to])))}}}
}

// ofKey is what the schema says of the key at the cursor.
func (s *server) ofKey(d document, p position, l string, cursor int) (text string, from, to int) {
	m := keyForm.FindStringSubmatchIndex(l)
	if m == nil || cursor < m[4] || cursor > m[5] {
		return "", 0, 0
	}
	key := unquoted(l[m[4]:m[5]])
	for _, f := range formOf(pathOf(d.uri)).at(append(keysAbove(d.text, p.Line, m[4]), key)) {
		if says := f.says(); says != "" {
			return fmt.Sprintf("**%s**\n\n%s", key, says), m[4], m[5]
		}
	}
	return "", 0, 0
}

// means is what a name of an expression means: all of it, or the word of it at the cursor.
func (c Checked) means(l string, from, to, cursor int) (string, int, int) {
	if text := c.name(l[from:to], l[to:]); text != "" {
		return text, from, to
	}
	for at := from; at < to; {
		part, _, _ := strings.Cut(l[at:to], " ")
		if end := at + len(part); cursor >= at && cursor <= end {
			return c.name(part, l[end:]), at, end
		}
		at += len(part) + 1
	}
	return "", 0, 0
}

func (c Checked) name(name, after string) string {
	if w := word.Called(name); w != nil && strings.HasPrefix(strings.TrimLeft(after, " "), "(") {
		return ofWord(w).Value
	}
	for _, f := range word.Functions {
		if f.Name == name && strings.HasPrefix(after, "(") {
			return fmt.Sprintf("`%s`\n\n%s", f.Signature, f.Meaning)
		}
	}
	if a, ok := analytes.Of(name); ok && strings.HasPrefix(after, `"`) {
		return strings.TrimSpace(analytes.Named(name) + ", " + a.Unit)
	}
	if c.Book == nil {
		return ""
	}
	if t := c.Book.Task(name); t != nil {
		return ofPart(&t.Part, "task")
	}
	for _, r := range c.Book.Rules {
		if r.Name == name {
			return ofPart(&r.Part, "rule")
		}
	}
	return ""
}

// ofWord is the reference of a word.
func ofWord(w *word.Info) *markup {
	unit := ""
	if w.Unit != "" {
		unit = " (" + w.Unit + ")"
	}
	return &markup{"markdown", fmt.Sprintf("`%s`%s\n\n%s.\n\n    %s\n\nSource: %s", w.Signature, unit, strings.TrimSuffix(w.Meaning, "."), w.Example, w.Source)}
}

func ofPart(p *rules.Part, kind string) string {
	return strings.TrimSpace(fmt.Sprintf("%s **%s**\n\n%s\n\n%s", kind, p.Name, p.Title, p.At))
}
