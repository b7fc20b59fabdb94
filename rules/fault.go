package rules

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Fault is one thing wrong in a rule file: where, what, and the cure.
type Fault struct {
	Place
	Text   string // what is wrong, without a full stop
	Hint   string // the cure; empty where Text says it all
	Source string // the line as it stands in the file, cut to 160 characters around the fault
	Width  int    // how many characters are at fault, from Col; at least 1

	cut int // characters of the line left out before Source
}

// Faults are all faults of a set of files, in order of file, line and column.
type Faults []Fault

// sourceWidth is the most of a line that an error shows.
const sourceWidth = 160

// Error gives each fault as `file:line:col: text`, the source line, a caret
// under the fault and the hint.
func (fs Faults) Error() string {
	var b strings.Builder
	for i := range fs {
		if i > 0 {
			b.WriteByte('\n')
		}
		fs[i].write(&b)
	}
	return b.String()
}

// String gives one fault as Faults.Error does.
func (f *Fault) String() string {
	var b strings.Builder
	f.write(&b)
	return b.String()
}

func (f *Fault) write(b *strings.Builder) {
	fmt.Fprintf(b, "%s: %s", f.Place, f.Text)
	if f.Source != "" {
		fmt.Fprintf(b, "\n    %s\n    %s", f.Source, f.caret())
	}
	if f.Hint != "" {
		fmt.Fprintf(b, "\nhint: %s", f.Hint)
	}
}

// caret keeps tabs, so that it stands under the fault however wide they are.
func (f *Fault) caret() string {
	var b strings.Builder
	line := []rune(f.Source)
	for i := range max(f.Col-1-f.cut, 0) {
		if i < len(line) && line[i] == '\t' {
			b.WriteByte('\t')
		} else {
			b.WriteByte(' ')
		}
	}
	room := len(line) - (f.Col - 1 - f.cut)
	b.WriteString(strings.Repeat("^", max(1, min(f.Width, room))))
	return b.String()
}

// String gives the place as file:line:col.
func (p Place) String() string { return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Col) }

func comparePlaces(a, b Place) int {
	return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Col, b.Col))
}

// sorted gives the faults in order, each once.
func (fs Faults) sorted() Faults {
	slices.SortStableFunc(fs, func(a, b Fault) int {
		return cmp.Or(comparePlaces(a.Place, b.Place), cmp.Compare(a.Text, b.Text))
	})
	return slices.CompactFunc(fs, func(a, b Fault) bool { return a.Place == b.Place && a.Text == b.Text })
}

// showSource puts the line into the fault, without control characters (a rule
// file must not drive the terminal that shows its errors).
func (f *Fault) showSource(runes []rune) {
	if n := len(runes); n > sourceWidth {
		f.cut = max(0, min(f.Col-1-sourceWidth/2, n-sourceWidth))
		runes = runes[f.cut:min(n, f.cut+sourceWidth)]
	}
	f.Source = strings.Map(func(r rune) rune {
		if r != '\t' && unicode.IsControl(r) || r == utf8.RuneError {
			return '?'
		}
		return r
	}, string(runes))
}
