package passkey

import (
	"context"
	"net/http"
	"net/url"

	"telltale/notify/board/frame"
)

// In is the button that signs in; nil where the board can have none. It goes on as the page
// of the request would: to a page, or to a form that was kept.
func (s *Room) In(r *frame.Request) *frame.Passkey {
	if s.party == nil {
		return nil
	}
	b := &frame.Passkey{Path: signInPath, Says: wordIn, At: s.party.Origin, Words: wordsGet}
	from := r.PostForm
	if r.Method == http.MethodGet {
		from = r.URL.Query()
	}
	for _, name := range []string{"to", "kept", "kept-to"} {
		if v := from.Get(name); v != "" {
			b.Hidden = append(b.Hidden, frame.Hidden{Name: name, Value: v})
		}
	}
	return b
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
	if id := r.Viewer.SignedIn; id != nil && !id.Tablet && status == 0 {
		h, err := s.Keys.Of(ctx, r.Viewer.ID)
		if err != nil {
			return nil, err
		}
		if !h.Has() {
			return &frame.Page{To: frame.Back(minePath, to)}, nil // they can have none to show
		}
	}
	p := &frame.Page{Title: wordIn, Lead: wrong, Status: status}
	var err error
	p.Body, err = templates.Body("in", map[string]any{"Button": s.In(r), "Mail": frame.Back(frame.SignIn, to)})
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
	return minePath + "?" + url.Values{"to": {to}}.Encode(), nil
}
