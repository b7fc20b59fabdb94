package frame

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"time"
)

// Fault is why there is no page: what is said instead, and under which status.
type Fault struct {
	Status int
	Title  string // what is wrong, the page's heading
	Words  string // and what to do; may be empty
	// After is when it may be tried again; zero where that is not known.
	After time.Duration
}

func (f *Fault) Error() string { return f.Title + " " + f.Words }

// NotFound is the answer for what is not there, and for what the viewer may not see.
var NotFound = &Fault{Status: http.StatusNotFound, Title: wordNothing, Words: wordNoPage}

// TooLarge is the answer for a form or a file of more than so many bytes.
func TooLarge(most int64) *Fault {
	return &Fault{Status: http.StatusRequestEntityTooLarge, Title: wordTooLarge, Words: fmt.Sprintf(wordMost, most>>10)}
}

// faultOf is what is said of an error; sent says that something was to be stored, ours that
// the operator must know of it.
func faultOf(err error, sent bool, asked context.Context) (f *Fault, ours bool) {
	if large, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return TooLarge(large.Limit), false
	}
	if f, ok := errors.AsType[*Fault](err); ok {
		return f, false
	}
	f = &Fault{Status: http.StatusServiceUnavailable, Title: wordTrouble, Words: wordTryAgain, After: 30 * time.Second}
	if sent {
		f.Words = wordSentNot
	}
	return f, asked.Err() == nil
}
