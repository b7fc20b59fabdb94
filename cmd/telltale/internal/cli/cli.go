// Package cli is what all commands have in common: where they read and write, how an
// error asks for an exit code and names the cure, how the running service is found,
// and how lists are printed.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"telltale/rules/unit"
)

// Env is what a command is given. Out takes what was asked for, Err everything else.
type Env struct {
	In       io.Reader
	Out, Err io.Writer
	// Settings are how a folder's service is reached, as its settings say.
	Settings func(dir string) (Door, error)
	// Reads are the units in which people read of the fleet in a folder, as its settings say.
	Reads func(dir string) unit.System
	// Open runs a question on a folder's files, of which the service is stopped.
	Open func(ctx context.Context, dir string, do func(context.Context, *nats.Conn) error) error
}

// ExitError asks for an exit code of its own: 2 where rules or files could not be
// read, 3 where an answer lacks the vehicles of some partitions.
type ExitError struct {
	Code int
	Err  error
}

func (e ExitError) Error() string { return e.Err.Error() }

// Unwrap is the error itself.
func (e ExitError) Unwrap() error { return e.Err }

// Exit gives an error an exit code.
func Exit(code int, err error) error { return ExitError{code, err} }

// HintError is an error with the line that names the cure.
type HintError struct {
	Err  error
	Hint string
}

func (h HintError) Error() string { return h.Err.Error() }

// Unwrap is the error itself.
func (h HintError) Unwrap() error { return h.Err }

// Hint gives an error the line that names the cure.
func Hint(err error, hint string) error { return HintError{err, hint} }

// OrHint gives an error that names no cure yet the line that does.
func OrHint(err error, hint string) error {
	if errors.As(err, new(HintError)) || errors.As(err, new(ExitError)) {
		return err
	}
	return Hint(err, hint)
}

// WithHint is the error with its cure on the next line.
func WithHint(err error) string {
	if h := (HintError{}); errors.As(err, &h) {
		return err.Error() + "\nhint: " + h.Hint
	}
	return err.Error()
}

// Wants is how many arguments a command takes; with any other number it asks for them and
// shows a call that works.
func Wants(least, most int, ask, call string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) >= least && len(args) <= most {
			return nil
		}
		if len(args) > most {
			ask = fmt.Sprintf("%q is one argument too many; put a name with blanks in quotes", args[most])
		}
		return Exit(2, Hint(errors.New(ask), call))
	}
}

// Report writes an error, and its hint, as a command ends with it, and returns the
// exit code.
func Report(w io.Writer, err error) int {
	fmt.Fprintln(w, "telltale: "+WithHint(err))
	if e := (ExitError{}); errors.As(err, &e) {
		return e.Code
	}
	return 1
}

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

// Counter shows on a terminal how far a list of known length has got; elsewhere nothing.
type Counter struct {
	w     io.Writer // nil where there is nobody to look at it
	whole uint64
	shown time.Time
}

// NewCounter shows on w, if a person looks at it, how far it is to the last.
func NewCounter(w io.Writer, whole uint64) *Counter {
	c := &Counter{whole: whole}
	if Terminal(w) && whole > 0 {
		c.w = w
	}
	return c
}

// At is told of the place that was reached.
func (c *Counter) At(n uint64) {
	if c.w != nil && time.Since(c.shown) > 100*time.Millisecond {
		c.shown = time.Now()
		fmt.Fprintf(c.w, "\r%d of %d (%d %%)", n, c.whole, n*100/c.whole)
	}
}

// End takes the line away.
func (c *Counter) End() {
	if c.w != nil {
		fmt.Fprintf(c.w, "\r%s\r", strings.Repeat(" ", 50))
	}
}
