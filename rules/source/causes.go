package source

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"
)

// cause is a slip that may be behind an error of YAML: what to mark, what to say of it,
// and the change that mends it, in columns as read.
type cause struct {
	line, col, width int
	text, hint       string
	fix              Fix
	guess            bool // where it ends is not known, so that what it holds is not either
}

// causes are what may be behind an error at a line, the most particular first.
func (d *Document) causes(line int, message string) (out []cause) {
	for i := line; i > 0 && i > line-3; i-- {
		out = append(out, d.noSpace(i)...)
	}
	out = append(out, d.tabbed(line)...)
	out = append(out, d.outdented(line)...)
	for i := line; i > 0 && i > line-3; i-- {
		out = append(out, d.indented(i)...)
	}
	for i := line; i > 0 && i > line-slipReach; i-- {
		out = append(out, d.unclosed(i)...)
	}
	return append(out, d.unquoted(line, message)...)
}

var joined = regexp.MustCompile(`^( *(?:- )?[\p{L}][\p{L} ]*):([^\s].*)$`)

// noSpace is a key whose colon touches its value.
func (d *Document) noSpace(line int) []cause {
	m := joined.FindStringSubmatch(d.lines[line-1])
	if m == nil || strings.HasPrefix(m[2], "//") {
		return nil
	}
	col := utf8.RuneCountInString(m[1]) + 1
	key := strings.TrimLeft(m[1], " -")
	return []cause{{line, col, 1, fmt.Sprintf("a space is missing after `%s:`", key), fmt.Sprintf("write `%s: %s`", key, m[2]), Fix{line, col + 1, 0, " "}, false}}
}

// above is the last line before one that says something, and its number.
func (d *Document) above(line int) (int, string) {
	for i := line - 1; i > 0; i-- {
		if t := strings.TrimSpace(d.lines[i-1]); t != "" && t[0] != '#' {
			return i, d.lines[i-1]
		}
	}
	return 0, ""
}

// below is the next line that says something.
func (d *Document) below(line int) string {
	i := slices.IndexFunc(d.lines[line:], func(s string) bool { return strings.TrimSpace(s) != "" })
	if i < 0 {
		return ""
	}
	return d.lines[line+i]
}

// tabbed is a tab in the indentation.
func (d *Document) tabbed(line int) (out []cause) {
	text := d.lines[line-1]
	indent := len(text) - len(strings.TrimLeft(text, " \t"))
	tab := strings.IndexByte(text[:indent], '\t')
	if tab < 0 {
		return nil
	}
	_, above := d.above(line)
	like := []int{indentOf(above), indentOf(above) + 2}
	if strings.HasSuffix(strings.TrimSpace(above), ":") {
		slices.Reverse(like)
	}
	if below := d.below(line); indentOf(below) > indentOf(above) && below[indentOf(below)] != '\t' {
		like[0] = indentOf(below)
	}
	for _, n := range like {
		out = append(out, cause{line, tab + 1, strings.Count(text[:indent], "\t"), "a tab in the indentation", "indent with spaces, not with tabs",
			Fix{line, 1, indent, strings.Repeat(" ", n)}, false})
	}
	return out
}

// indented is a line that begins under none of those above: one space too few or too many.
func (d *Document) indented(line int) (out []cause) {
	text := d.lines[line-1]
	mine, last := indentOf(text), -1
	for i, above := d.above(line); i > 0; i, above = d.above(i) {
		at := indentOf(above)
		if last >= 0 && at >= last {
			continue
		}
		first := last < 0
		last = at
		if at == mine || !first && at < mine-2 {
			break
		}
		key := strings.TrimSpace(above)
		if m := keyLine.FindStringSubmatch(above); m != nil {
			key = m[2]
		}
		out = append(out, cause{line, mine + 1, utf8.RuneCountInString(strings.TrimSpace(text)),
			fmt.Sprintf("an indentation of %d, which fits no line above", mine), fmt.Sprintf("indent it by %d, as `%s` in line %d", at, key, i), Fix{line, 1, mine, strings.Repeat(" ", at)}, false})
	}
	slices.SortStableFunc(out, func(a, b cause) int {
		return cmp.Compare(abs(len(a.fix.Text)-mine), abs(len(b.fix.Text)-mine))
	})
	return out
}

// outdented is the line above, a key with its value, if it stands left of both neighbours.
func (d *Document) outdented(line int) []cause {
	i, text := d.above(line)
	j, before := d.above(i)
	m := valueLine.FindStringSubmatch(text)
	at, mine := indentOf(before), indentOf(text)
	if j == 0 || m == nil || mine >= at || mine >= indentOf(d.lines[line-1]) {
		return nil
	}
	key := strings.TrimRight(strings.TrimSpace(m[1]), ":")
	return []cause{{i, mine + 1, utf8.RuneCountInString(key), fmt.Sprintf("`%s` stands too far left, before what follows it", key),
		fmt.Sprintf("indent it by %d, as line %d", at, j), Fix{i, 1, mine, strings.Repeat(" ", at)}, false}}
}

func abs(n int) int { return max(n, -n) }

// unclosed is a quote, a brace or a bracket that is still open where its line ends.
func (d *Document) unclosed(line int) []cause {
	runes := d.line(line)
	var open []int
	ends := map[rune]rune{'{': '}', '[': ']'}
	for i := 0; i < len(runes); i++ {
		r, begins := runes[i], i == 0 || strings.ContainsRune(" {[,", runes[i-1])
		switch {
		case r == '#' && begins:
			runes = runes[:i]
		case (r == '"' || r == '\'') && begins && (len(open) > 0 || d.beginsValue(runes[:i])):
			end := closingQuote(runes[i+1:], r)
			if end < 0 {
				col := len(strings.TrimRight(string(runes), " "))
				col = utf8.RuneCountInString(string(runes)[:col]) + 1
				return []cause{{line, i + 1, col - i - 1, "a quote is not closed", fmt.Sprintf("write `%c` where the text ends", r), Fix{line, col, 0, string(r)}, false}}
			}
			i += end + 1
		case ends[r] != 0 && (len(open) > 0 || d.beginsValue(runes[:i])):
			open = append(open, i)
		case len(open) > 0 && r == ends[runes[open[len(open)-1]]]:
			open = open[:len(open)-1]
		}
	}
	if len(open) == 0 || len(open) > depthLimit {
		return nil
	}
	text, col := "", len([]rune(strings.TrimRight(string(runes), " ")))+1
	for _, i := range slices.Backward(open) {
		text += string(ends[runes[i]])
	}
	at := open[len(open)-1]
	return []cause{{line, at + 1, 1, fmt.Sprintf("a `%c` is not closed", runes[at]),
		fmt.Sprintf("write `%s` where it ends; a value within it that holds one of `[]{},` must be quoted", text), Fix{line, col, 0, text}, true}}
}

// beginsValue reports whether a value begins after the runes.
func (d *Document) beginsValue(before []rune) bool {
	s := strings.TrimSpace(string(before))
	return s == "" || strings.HasSuffix(s, ":") || strings.Trim(s, "- ") == ""
}

func closingQuote(runes []rune, quote rune) int {
	for i := 0; i < len(runes); i++ {
		switch {
		case runes[i] == '\\' && quote == '"':
			i++
		case runes[i] == quote && quote == '\'' && i+1 < len(runes) && runes[i+1] == quote:
			i++
		case runes[i] == quote:
			return i
		}
	}
	return -1
}

var valueLine = regexp.MustCompile(`^( *(?:- )?(?:[\p{L}\p{N}][^:#"'{}\[\],]*: +|- ))(.+?) *$`)

// unquoted is a value that YAML takes for more than text.
func (d *Document) unquoted(line int, message string) []cause {
	m := valueLine.FindStringSubmatch(d.lines[line-1])
	if m == nil {
		return nil
	}
	const cure = "quote the whole value, or write it after `|` on the next line"
	text := ""
	switch first := m[2][0]; {
	case strings.ContainsRune("!%@&*`", rune(first)):
		text = fmt.Sprintf("a value that begins with `%c`, which means something else in YAML", first)
	case first == '"' || first == '\'':
		text = "a value that begins with a quote ends at the next one, and more follows"
	case strings.Contains(m[2], ": ") && strings.Contains(m[2], "?"):
		text = "the `: ` of a choice begins a new entry in YAML"
	case strings.Contains(m[2], ": "):
		text = "the `: ` in this value begins a new entry in YAML"
	default:
		return nil
	}
	col, width := utf8.RuneCountInString(m[1])+1, utf8.RuneCountInString(m[2])
	return []cause{{line, col, width, text, cure, Fix{line, col, width, "'" + strings.ReplaceAll(m[2], "'", "''") + "'"}, false}}
}
