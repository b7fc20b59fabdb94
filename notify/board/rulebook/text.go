package rulebook

import (
	"bytes"
	"strings"

	"telltale/rules/source"
)

// line is a line of a rule file.
type line struct {
	N    int
	Text string
}

// lines are those of the entry of a file that begins at a place, and the comment above it.
func (b *book) lines(at source.Place) (out []line) {
	for _, f := range b.files {
		if f.Name == at.File {
			return entryAt(f.Text, at.Line)
		}
	}
	return nil
}

// mostLines bounds what is shown of an entry.
const mostLines = 400

// entryAt is the entry whose key stands on a line: what is indented deeper belongs to it,
// and so does a comment right above.
func entryAt(text []byte, n int) (out []line) {
	all := strings.Split(string(bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n"))), "\n")
	if n < 1 || n > len(all) {
		return nil
	}
	depth := indent(all[n-1])
	from := n
	for from > 1 && strings.HasPrefix(strings.TrimSpace(all[from-2]), "#") && indent(all[from-2]) == depth {
		from--
	}
	end := n
	for i := n; i < len(all); i++ {
		switch {
		case strings.TrimSpace(all[i]) == "":
			continue
		case indent(all[i]) <= depth:
			i = len(all)
		default:
			end = i + 1
		}
	}
	for i := from; i <= end && len(out) < mostLines; i++ {
		out = append(out, line{i, all[i-1]})
	}
	return out
}

func indent(l string) int { return len(l) - len(strings.TrimLeft(l, " \t")) }
