package frame

import (
	"net/http"
	"net/url"

	"telltale/notify/rights"
)

// ways are the routes of the board, to ask whether a link may be followed before it is
// offered.
type ways struct {
	mux   *http.ServeMux
	needs map[string]rights.Verb // by pattern
}

// Leads reports whether whoever looks may follow a link to a page of the board that is of no
// vehicle: a way that ends at "not yours" is not offered.
func (r *Request) Leads(path string) bool {
	at, err := url.Parse(path)
	if err != nil || r.ways == nil {
		return false
	}
	_, pattern := r.ways.mux.Handler(&http.Request{Method: http.MethodGet, URL: at, Host: r.Host})
	needs, ok := r.ways.needs[pattern]
	return ok && (needs == rights.Open || r.Viewer.Access.Anywhere(needs))
}
