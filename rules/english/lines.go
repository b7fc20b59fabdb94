package english

import (
	"fmt"
	"strings"
)

// Lines collects indented lines of text. The zero value is empty and ready to use.
type Lines struct{ text strings.Builder }

// Line adds a line, two blanks further in for each indent.
func (l *Lines) Line(indent int, format string, args ...any) {
	if l.text.Len() > 0 {
		l.text.WriteByte('\n')
	}
	l.text.WriteString(strings.Repeat("  ", indent) + fmt.Sprintf(format, args...))
}

// String is the lines, the last without a line end.
func (l *Lines) String() string { return l.text.String() }
