// Package cli is what all commands have in common: where they read and write, how an
// error asks for an exit code and names the cure, how the running service is found,
// and how lists are printed.
package cli

import (
	"errors"
	"fmt"
	"io"
)

// Env is what a command is given. Out takes what was asked for, Err everything else.
type Env struct {
	In       io.Reader
	Out, Err io.Writer
	// NATS is the address of the server that a folder's settings name; "" for none.
	NATS func(dir string) (string, error)
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

// WithHint is the error with its cure on the next line.
func WithHint(err error) string {
	if h := (HintError{}); errors.As(err, &h) {
		return err.Error() + "\nhint: " + h.Hint
	}
	return err.Error()
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
