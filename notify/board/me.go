package board

import (
	"context"
	"html/template"
	"net/http"
	"time"

	"telltale/notify/board/frame"
	"telltale/notify/board/signin"
	"telltale/notify/board/signin/passkey"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// me says who looks, and how they read; and where nobody signs in, lets whoever sits there
// say who.
func (s site) me(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	type choice struct {
		ID, Name string
		Is       bool
	}
	data := struct {
		Viewer  frame.Viewer
		Facts   []page.Line
		Choices []choice
		Where   template.HTML // one is signed in
		// Passkeys is where one's own are; "" where there are none.
		Passkeys string
	}{Viewer: r.Viewer, Facts: readsAs(r.Viewer, r.Now)}
	if d, ok := s.Door.(*signin.Door); ok && s.SignsIn() {
		where, err := d.Mine(ctx, r)
		if err != nil {
			return nil, err
		}
		data.Where = where
		if party, _ := passkey.PartyOf(s.URL); party != nil && !r.Viewer.SignedIn.Tablet && (d.Elsewhere == nil || !d.Elsewhere(r.Viewer.Person)) {
			data.Passkeys = passkey.MinePath
		}
	}
	if !s.SignsIn() {
		for _, p := range s.People().People() {
			data.Choices = append(data.Choices, choice{p.ID, p.Name, p.ID == r.Viewer.ID})
		}
	}
	body, err := templates.Body("me", data)
	return &frame.Page{Title: "You", Lead: "You look at these pages as " + r.Viewer.Name + ".", Body: body}, err
}

var forms = map[people.Form]string{
	people.ForWorkshop: "what to do, by how urgent it is",
	people.ForOwner:    "by vehicle",
	people.ForOperator: "counts, and the worst first",
}

// readsAs says how a person reads.
func readsAs(v frame.Viewer, now time.Time) []page.Line {
	units := v.Units().Or(unit.Metric).Names()
	for i := range units {
		units[i] = english.Unit(units[i])
	}
	return []page.Line{
		{Label: "Units", Text: english.List("and", units)},
		{Label: "Dates", Text: "as " + v.Day(now)},
		{Label: "Time zone", Text: v.Zone.String()},
		{Label: "First page and list", Text: forms[v.Form]},
	}
}

// choose has the device look as somebody else from now on.
func (s site) choose(_ context.Context, r *frame.Request) (*frame.Page, error) {
	if s.SignsIn() { // who looks is who signed in
		return nil, frame.NotFound
	}
	who := s.People().Person(r.PostForm.Get("who"))
	if who == nil {
		return nil, &frame.Fault{Status: http.StatusUnprocessableEntity, Title: "There is nobody of that name in people.yaml."}
	}
	p := &frame.Page{To: "/me", Header: http.Header{}, Noted: "this device is " + who.ID + "'s from now on"}
	frame.Choose(p.Header, who.ID)
	return p, nil
}
