package passkey

import (
	"context"
	"html/template"
	"net/http"
	"net/url"
	"strings"

	"telltale/notify/board/frame"
	"telltale/notify/rights"
)

// Also is what stands on the page of signing in: the button, or for who must show a passkey
// and has none how to get one. Hidden is sent along: where to go on, a form that was kept.
func (s *Room) Also(ctx context.Context, r *frame.Request, hidden []frame.Hidden) (template.HTML, error) {
	id := r.Viewer.SignedIn
	if id != nil && s.fleets(r.Viewer.ID) {
		return "", nil // the way to their provider stands there too
	}
	if id == nil || id.Tablet || !r.Viewer.Access.Anywhere(rights.Change) || !asksForTwo(r) {
		if s.party == nil {
			return "", nil
		}
		return templates.Body("button", s.button(hidden))
	}
	if s.party == nil {
		return templates.Body("none", wordAddNoWay+s.why)
	}
	h, err := s.Keys.Of(ctx, r.Viewer.ID)
	if err != nil {
		return "", err
	}
	if s.has(r, &h) {
		return templates.Body("button", s.button(hidden))
	}
	to := ""
	for _, f := range hidden {
		if f.Name == "to" {
			to = f.Value
		}
	}
	return templates.Body("first", &first{wordAddDo, frame.Link{Words: wordAddFirst, Path: frame.Back(MinePath, to)}})
}

// asksForTwo reports whether two factors are asked for, and not that somebody signs in again
// in any way: as a page of oneself does.
func asksForTwo(r *frame.Request) bool {
	own := strings.HasPrefix(r.URL.Path, "/me/") || strings.HasPrefix(r.URL.Path, frame.SignIn)
	return r.URL.Query().Has("again") || r.Method == http.MethodPost && !own
}

// button is the one that signs in.
func (s *Room) button(hidden []frame.Hidden) *frame.Passkey {
	return &frame.Passkey{Path: signInPath, Says: wordIn, At: s.party.Origin, Words: wordsGet, Hidden: hidden}
}

// brought are the fields that a page of signing in takes along.
func brought(r *frame.Request) (hidden []frame.Hidden) {
	from := r.PostForm
	if r.Method == http.MethodGet {
		from = r.URL.Query()
	}
	for _, name := range []string{"to", "kept", "kept-to"} {
		if v := from.Get(name); v != "" {
			hidden = append(hidden, frame.Hidden{Name: name, Value: v})
		}
	}
	return hidden
}

// page is the one on which somebody signs in with a passkey.
func (s *Room) page(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	return s.pageWith(ctx, r, "", 0)
}

func (s *Room) pageWith(ctx context.Context, r *frame.Request, wrong string, status int) (*frame.Page, error) {
	if s.party == nil {
		return nil, noParty
	}
	to := r.FormValue("to")
	if id := r.Viewer.SignedIn; id != nil && !id.Tablet && status == 0 && !s.fleets(r.Viewer.ID) {
		h, err := s.Keys.Of(ctx, r.Viewer.ID)
		if err != nil {
			return nil, err
		}
		if !s.has(r, &h) {
			return &frame.Page{To: frame.Back(MinePath, to)}, nil // they can have none to show
		}
	}
	p := &frame.Page{Title: wordIn, Lead: wrong, Status: status}
	var err error
	p.Body, err = templates.Body("in", map[string]any{"Button": s.button(brought(r)), "Mail": frame.Back(frame.SignIn, to)})
	return p, err
}

// Offer is where to go on after somebody signed in by a mail: to the offer of a passkey, once
// for each person, else to where they wanted to go.
func (s *Room) Offer(ctx context.Context, person, to string) (string, error) {
	if s.party == nil {
		return to, nil
	}
	h, err := s.Keys.Of(ctx, person)
	if err != nil || h.Offered || len(h.Keys) > 0 {
		return to, err
	}
	if err := s.Keys.Change(ctx, person, offered); err != nil {
		return to, err
	}
	return MinePath + "?" + url.Values{"to": {to}}.Encode(), nil
}
