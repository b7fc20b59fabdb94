package source

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// Place is where in the files something stands.
type Place struct {
	File      string
	Line, Col int // from 1
}

// String gives the place as file:line:col.
func (p Place) String() string { return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Col) }

// Compare orders places by file, line and column.
func (p Place) Compare(q Place) int {
	return cmp.Or(cmp.Compare(p.File, q.File), cmp.Compare(p.Line, q.Line), cmp.Compare(p.Col, q.Col))
}

// Fault is one thing wrong in a file: where, what, and the cure.
type Fault struct {
	Place
	Text   string // what is wrong, without a full stop
	Hint   string // the cure; empty where Text says it all
	Source string // the line as it stands in the file, cut to 160 characters around the fault
	Width  int    // how many characters are at fault, from Col; at least 1
	Fix    *Fix   // the cure as data; nil where it is a person's to find

	cut int // characters of the line left out before Source
}

// Faults are all faults of a set of files, in order of file, line and column.
type Faults []Fault

// sourceWidth is the most of a line that an error shows.
const sourceWidth = 160

// Error gives each fault as `file:line:col: text`, the source line, a caret
// under the fault and the hint.
func (fs Faults) Error() string {
	all := make([]string, len(fs))
	for i := range fs {
		all[i] = fs[i].String()
	}
	return strings.Join(all, "\n")
}

// String gives one fault as Faults.Error does.
func (f *Fault) String() string {
	s := harmless(f.Place.String()) + ": " + harmless(f.Text)
	if f.Source != "" {
		s += fmt.Sprintf("\n    %s\n    %s", f.Source, f.caret())
	}
	if f.Hint != "" {
		s += "\nhint: " + harmless(f.Hint)
	}
	return s
}

// harmless writes ? for what would begin a line of its own, turn the direction of writing or
// drive the terminal that shows it: names come from files that others wrote.
func harmless(s string) string {
	return strings.Map(func(r rune) rune {
		if r != '\t' && (unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp)) || r == utf8.RuneError {
			return '?'
		}
		return r
	}, s)
}

// caret keeps tabs, so that it stands under the fault however wide they are.
func (f *Fault) caret() string {
	line, before := []rune(f.Source), f.Col-1-f.cut
	blank := strings.Repeat(" ", max(0, before))
	for i := range min(len(blank), len(line)) {
		if line[i] == '\t' {
			blank = blank[:i] + "\t" + blank[i+1:]
		}
	}
	return blank + strings.Repeat("^", max(1, min(f.Width, len(line)-before)))
}

// Sorted gives the faults in order, each once.
func (fs Faults) Sorted() Faults {
	slices.SortStableFunc(fs, func(a, b Fault) int {
		return cmp.Or(a.Place.Compare(b.Place), cmp.Compare(a.Text, b.Text))
	})
	return slices.CompactFunc(fs, func(a, b Fault) bool { return a.Place == b.Place && a.Text == b.Text })
}

// showSource puts the line into the fault.
func (f *Fault) showSource(runes []rune) {
	if n := len(runes); n > sourceWidth {
		f.cut = max(0, min(f.Col-1-sourceWidth/2, n-sourceWidth))
		runes = runes[f.cut:min(n, f.cut+sourceWidth)]
	}
	f.Source = harmless(string(runes))
}

// Cures are the hints that hang on what a file is.
type Cures struct {
	Empty, Second string // of a file that says nothing, and of a second document in it
	Long          string // of a file that is too long
	// Limit is the most bytes that a file may have; 256 KiB where 0.
	Limit int
}

// Reader reads files and collects what is wrong with them.
type Reader struct {
	// Questions are what is not wrong with the files but deserves a second look.
	Questions []Fault

	cures  Cures
	faults Faults
	near   int            // how many more names are compared for hints
	holes  map[Place]bool // as read; of what stands there nothing more is said
	unsaid int            // faults that would only follow from others
}

// NewReader returns a Reader of files with those cures.
func NewReader(c Cures) *Reader { return &Reader{cures: c, near: nearWork} }

// Add adds a fault.
func (r *Reader) Add(f Fault) { r.faults = append(r.faults, f) }

// Faulty is the number of faults so far, with those that only follow from others and are
// not told.
func (r *Reader) Faulty() int { return len(r.faults) + r.unsaid }

// Unsaid notes a fault that only follows from others.
func (r *Reader) Unsaid() { r.unsaid++ }

// Err is a Faults with all that was found wrong so far, in order; nil where nothing was.
func (r *Reader) Err() error {
	if len(r.faults) == 0 {
		return nil
	}
	return r.faults.Sorted()
}

// Fault reports what is wrong with a node, and marks the first line of it; hint names
// the cure, "" where the text does.
func (d *Document) Fault(n *yaml.Node, hint, format string, args ...any) {
	if d.Hole(n) {
		d.Unsaid()
		return
	}
	d.Add(d.NewFault(n, hint, format, args...))
}

// Hole reports whether something was taken out where the node stands, of which a fault was
// told already.
func (d *Document) Hole(n *yaml.Node) bool { return d.holes[Place{d.name, n.Line, n.Column}] }

// NewFault makes the fault that Fault reports.
func (d *Document) NewFault(n *yaml.Node, hint, format string, args ...any) Fault {
	return d.FaultAt(n.Line, n.Column, d.width(n), hint, fmt.Sprintf(format, args...))
}

func (d *Document) add(line, col, width int, hint, format string, args ...any) {
	d.Add(d.FaultAt(line, col, width, hint, fmt.Sprintf(format, args...)))
}

// FaultAt makes a fault at a line and column, both from 1, that is so many characters wide.
func (d *Document) FaultAt(line, col, width int, hint, text string) Fault {
	f := Fault{Place: Place{d.name, line, max(col, 1)}, Text: text, Hint: hint, Width: max(width, 1)}
	if line >= 1 && line <= len(d.lines) {
		runes, at, wide := d.stand(line, f.Col, f.Width)
		f.Col, f.Width = at, max(wide, 1)
		f.showSource(runes)
	}
	if name, ok := meant(hint); ok {
		d.instead(&f, line, col, width, name)
	}
	return f
}

// width is how much of its first line the node takes.
func (d *Document) width(n *yaml.Node) int {
	switch {
	case n.Kind != yaml.ScalarNode || n.Line < 1 || n.Line > len(d.lines):
	case n.Style == 0 && !strings.Contains(n.Value, "\n"):
		return utf8.RuneCountInString(n.Value)
	case n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0:
		return utf8.RuneCountInString(n.Value) + 2
	}
	return 1
}

// Place is where the node stands.
func (d *Document) Place(n *yaml.Node) Place {
	p := Place{d.name, n.Line, n.Column}
	if d.mended[n.Line] != nil {
		_, p.Col, _ = d.stand(n.Line, n.Column, 1)
	}
	return p
}
