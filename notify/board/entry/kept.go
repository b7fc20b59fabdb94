package entry

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"

	"telltale/notify/board/frame"
)

const (
	wordNotNow = "This does not work just now."
	wordStill  = "What you typed is still here. Send it again in a minute: nothing is entered twice."
)

// typed is one value of a form that was sent.
type typed struct{ Name, Value string }

// Kept has a form that was sent while the service does not answer come back with a button
// to send it again: not even the page of the form could be made then.
func Kept(f *frame.Frame, handle frame.Handler) frame.Handler {
	return func(ctx context.Context, r *frame.Request) (*frame.Page, error) {
		p, err := handle(ctx, r)
		if fault := (*frame.Fault)(nil); err == nil || r.Method != http.MethodPost || errors.As(err, &fault) {
			return p, err
		}
		f.Logger.Error("entering", "page", r.URL.Path, "error", err)
		var all []typed
		for name, values := range r.PostForm {
			for _, v := range values {
				all = append(all, typed{name, v})
			}
		}
		slices.SortStableFunc(all, func(a, b typed) int { return strings.Compare(a.Name, b.Name) })
		p = &frame.Page{Section: frame.Enter, Title: wordNotNow, Lead: wordStill, Status: http.StatusServiceUnavailable, Header: http.Header{"Retry-After": {"30"}}}
		p.Body, err = templates.Body("kept", all)
		return p, err
	}
}
