package main

import (
	"errors"
	"fmt"
	"strings"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/cases"
	"telltale/rules"
	"telltale/rules/source"
)

// finding is one thing that the check says of a folder, as --json prints it. Line, column
// and width are absent where it is of no place in a file.
type finding struct {
	Severity severity    `json:"severity"`
	File     string      `json:"file,omitempty"`
	Line     int         `json:"line,omitempty"`
	Column   int         `json:"column,omitempty"`
	Width    int         `json:"width,omitempty"` // characters at fault, from Column
	Text     string      `json:"text"`
	Hint     string      `json:"hint,omitempty"`
	Fix      *source.Fix `json:"fix,omitempty"` // the cure as data
}

// severity is how a finding is to be taken.
type severity string

// The severities: what keeps the book from being judged by, an example that came out
// otherwise than expected, what deserves a second look, what is no slip if the fleet has
// none such, and a figure that waits for its user.
const (
	isFault    severity = "fault"
	isFailed   severity = "failed case"
	isQuestion severity = "question"
	isNote     severity = "note"
	isToFill   severity = "to fill in"
)

func findingOf(s severity, f *source.Fault) finding {
	return finding{s, f.File, f.Line, f.Col, f.Width, f.Text, f.Hint, f.Fix}
}

// teller says what the check finds: to people on stderr, or to whoever takes it as data.
type teller struct {
	s    cli.Env
	take func(severity, *source.Fault) // nil: people read it
	err  error                         // of writing
}

// tell says what a place in a file has.
func (t *teller) tell(is severity, f *source.Fault) {
	if t.take != nil {
		t.take(is, f)
		return
	}
	fmt.Fprintf(t.s.Err, "%s: %s\n", is, f.String())
}

// ask asks about what stands at no place.
func (t *teller) ask(format string, args ...any) {
	if t.take != nil {
		t.take(isQuestion, &source.Fault{Text: fmt.Sprintf(format, args...)})
		return
	}
	fmt.Fprintf(t.s.Err, "question: "+format+"\n", args...)
}

// faults gives what is wrong to whoever takes it as data; people read the error itself.
func (t *teller) faults(err error) {
	if t.take == nil || err == nil {
		return
	}
	placed, others := apart(err)
	for i := range placed {
		t.take(isFault, &placed[i])
	}
	for _, e := range others {
		f := source.Fault{Text: e.Error()}
		if h := (cli.HintError{}); errors.As(e, &h) {
			f.Hint = h.Hint
		}
		t.take(isFault, &f)
	}
}

// apart takes an error of several files apart: the faults that have a place, in order, and
// the rest.
func apart(err error) (placed source.Faults, others []error) {
	var walk func(err error)
	walk = func(err error) {
		if fs, ok := err.(source.Faults); ok {
			placed = append(placed, fs...)
			return
		}
		switch e := err.(type) {
		case nil:
		case interface{ Unwrap() []error }:
			for _, one := range e.Unwrap() {
				walk(one)
			}
		case interface{ Unwrap() error }:
			if fs := source.Faults(nil); errors.As(err, &fs) || several(err) {
				walk(e.Unwrap())
				return
			}
			others = append(others, err)
		default:
			others = append(others, err)
		}
	}
	walk(err)
	return placed.Sorted(), others
}

// several reports whether more than one error is joined in this one.
func several(err error) bool {
	for ; err != nil; err = errors.Unwrap(err) {
		if _, ok := err.(interface{ Unwrap() []error }); ok {
			return true
		}
	}
	return false
}

// toFill lists what waits for figures.
func (t *teller) toFill(book *rules.Book) {
	if t.take == nil {
		toFill(t.s, book)
		return
	}
	for i := range book.ToFill {
		t.tell(isToFill, &book.ToFill[i])
	}
}

// failed tells a case that did not come out: what was expected beside what came.
func (t *teller) failed(r *cases.Result) {
	switch {
	case t.take == nil:
		fmt.Fprintln(t.s.Out, r.String())
	case len(r.Faults) > 0:
		for i := range r.Faults {
			t.tell(isFailed, &r.Faults[i])
		}
	default:
		f := r.Case.Fault("", "")
		f.Text = strings.TrimPrefix(r.String(), f.Place.String()+": ")
		t.tell(isFailed, &f)
	}
}
