package source

import (
	"slices"
	"strings"

	"gopkg.in/yaml.v3"
)

// Fix is a cure that an editor can apply: the Width characters from Line and Col on,
// both from 1, become Text.
type Fix struct {
	Line  int    `json:"line"`
	Col   int    `json:"column"`
	Width int    `json:"width"`
	Text  string `json:"text"`
}

// Apply gives the lines of a file with the fix made.
func (f Fix) Apply(lines []string) []string {
	out := slices.Clone(lines)
	runes := []rune(out[f.Line-1])
	out[f.Line-1] = string(runes[:f.Col-1]) + f.Text + string(runes[f.Col-1+f.Width:])
	return out
}

// mended is a line that is read otherwise than it stands in the file, so that one slip
// hides no other.
type mended struct {
	stands []rune
	from   []int // the column in the file of each column as read, and of the end
}

// mend reads what stands at a line and column as text instead.
func (d *Document) mend(f Fix) {
	read := d.line(f.Line)
	m := d.mended[f.Line]
	if m == nil {
		m = &mended{stands: slices.Clone(read)}
		for i := range len(read) + 1 {
			m.from = append(m.from, i+1)
		}
		if d.mended == nil {
			d.mended = map[int]*mended{}
		}
		d.mended[f.Line] = m
	}
	at := f.Col - 1
	m.from = slices.Replace(m.from, at, at+f.Width, slices.Repeat([]int{m.from[at]}, len([]rune(f.Text)))...)
	d.lines = f.Apply(d.lines)
	d.runesOf = 0
}

// stand gives a place as it stands in the file, and the line there.
func (d *Document) stand(line, col, width int) (runes []rune, at, wide int) {
	m := d.mended[line]
	if m == nil {
		return d.line(line), col, width
	}
	from := func(col int) int { return m.from[min(max(col, 1), len(m.from))-1] }
	return m.stands, from(col), from(col+width) - from(col)
}

// fix makes a Fix of a place as it is read.
func (d *Document) fix(line, col, width int, text string) *Fix {
	if line < 1 || line > len(d.lines) {
		return nil
	}
	runes, at, wide := d.stand(line, col, width)
	if at-1+wide > len(runes) {
		return nil
	}
	return &Fix{line, at, wide, text}
}

// instead puts text in the place of all that a fault marks; quotes around that stay.
func (d *Document) instead(f *Fault, line, col, width int, text string) {
	if line < 1 || line > len(d.lines) {
		return
	}
	if runes := d.line(line); col-1+width <= len(runes) {
		marked := string(runes[col-1 : col-1+width])
		if last := len(marked) - 1; last > 0 && strings.ContainsRune(`"'`, rune(marked[0])) && marked[last] == marked[0] {
			col, width = col+1, width-2
		}
		if strings.ContainsAny(marked, "“”„‘’") {
			return // the quotes come first
		}
		f.Fix = d.fix(line, col, width, text)
	}
}

// Instead reports what is wrong with a scalar, of which the cure is to write text.
func (d *Document) Instead(n *yaml.Node, text, format string, args ...any) {
	f := d.NewFault(n, "write "+text, format, args...)
	d.instead(&f, n.Line, n.Column, d.width(n), text)
	d.Add(f)
}

// hole marks a place of which nothing more is said: something was taken out there.
func (d *Document) hole(line, col int) {
	if d.holes == nil {
		d.holes = map[Place]bool{}
	}
	d.holes[Place{d.name, line, col}] = true
}

// Fix gives a fault the cure to put text in the place of the characters that stand at a
// line and column as read.
func (d *Document) Fix(f *Fault, line, col, width int, text string) {
	f.Fix = d.fix(line, col, width, text)
}
