package cli

import (
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"time"

	"golang.org/x/term"
)

// NewLogger writes text to a terminal, where a person reads it, and a JSON object
// a line to everything else.
func NewLogger(w io.Writer) *slog.Logger {
	if Terminal(w) {
		return slog.New(slog.NewTextHandler(w, nil))
	}
	return slog.New(slog.NewJSONHandler(w, nil))
}

// Progress shows on a terminal how far a file has been read; elsewhere it only
// hands on.
type Progress struct {
	io.Reader
	w           io.Writer // nil where there is nobody to look at it
	read, whole int64
	shown       time.Time
}

// NewProgress shows on w, if a person looks at it, how far the file is read.
func NewProgress(w io.Writer, file *os.File) *Progress {
	p := &Progress{Reader: file}
	info, err := file.Stat()
	if Terminal(w) && err == nil && info.Mode().IsRegular() && info.Size() > 0 {
		p.w, p.whole = w, info.Size()
	}
	return p
}

// Terminal reports whether a stream is one, where a person sits.
func Terminal(stream any) bool {
	f, ok := stream.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

func (p *Progress) Read(b []byte) (int, error) {
	n, err := p.Reader.Read(b)
	if p.read += int64(n); p.w != nil && time.Since(p.shown) > 100*time.Millisecond {
		p.shown = time.Now()
		const width = 40
		done := int(p.read * width / p.whole)
		fmt.Fprintf(p.w, "\r[%s%s] %3d %%", strings.Repeat("#", done), strings.Repeat(" ", width-done), p.read*100/p.whole)
	}
	return n, err
}

// End takes the bar away.
func (p *Progress) End() {
	if p.w != nil {
		fmt.Fprintf(p.w, "\r%s\r", strings.Repeat(" ", 50))
	}
}
