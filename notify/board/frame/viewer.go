package frame

import (
	"context"
	"net/http"
	"slices"
	"time"

	"telltale/notify/people"
	"telltale/notify/rights"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Viewer is who looks at a page: in which units, days and words they read.
type Viewer struct {
	*people.Person
	// Operator: they hear of the service's own troubles.
	Operator bool
	// Chosen: they said on this device who they are.
	Chosen bool
	// Access is what they may do.
	Access people.Access
	// SignedIn is as whom; nil where nobody signs in.
	SignedIn *Identity

	reads unit.System
}

// Units are those in which the viewer reads.
func (v Viewer) Units() unit.System { return v.Person.Units().Or(v.reads) }

// Source is whose entries theirs are: a person's, or a tablet's.
func (v Viewer) Source() string {
	if v.SignedIn != nil && v.SignedIn.Tablet {
		return "/devices/" + v.ID
	}
	return "/people/" + v.ID
}

// whoCookie says on a device who looks, where nobody signs in. Such a board is reached from
// its own machine alone, where whoever sits there may do everything: the cookie opens nothing.
const whoCookie = "telltale-who"

// Nobody is who looks where people.yaml names nobody.
const Nobody = "board"

// stranger is who looks before anybody has signed in.
var stranger = Viewer{Person: people.Anyone("")}

// viewer is who is signed in; nil where somebody must and nobody is.
func (f *Frame) viewer(ctx context.Context, r *http.Request) (*Viewer, error) {
	if !f.SignsIn() {
		v := f.sitting(r)
		return &v, nil
	}
	id, err := f.Door.Identify(ctx, r)
	if err != nil || id == nil {
		return nil, err
	}
	d := f.People()
	v := Viewer{reads: f.Reads, SignedIn: id, Chosen: true}
	if id.Tablet {
		v.Person, v.Access = people.Anyone(id.Who), d.AccessBy(id.Entry)
		v.Person.Name = id.Name
	} else if v.Person = d.Person(id.Who); v.Person == nil {
		return nil, nil // gone from people.yaml since
	} else {
		v.Access = d.Access(id.Who)
	}
	v.Operator = v.Access.Anywhere(rights.Watch)
	return &v, nil
}

// sitting is whoever the device says, else the first operator, else the first person, where
// nobody signs in.
func (f *Frame) sitting(r *http.Request) Viewer {
	d := f.People()
	v := Viewer{reads: f.Reads, Access: people.Everything()}
	if c, err := r.Cookie(whoCookie); err == nil {
		v.Person = d.Person(c.Value)
		v.Chosen = v.Person != nil
	}
	if v.Person == nil {
		for _, id := range d.Operators() {
			if v.Person = d.Person(id); v.Person != nil {
				break
			}
		}
	}
	if v.Person == nil && len(d.People()) > 0 {
		v.Person = d.People()[0]
	}
	if v.Person == nil {
		v.Person = people.Anyone(Nobody)
	}
	v.Operator = len(d.Operators()) == 0 || slices.Contains(d.Operators(), v.ID)
	return v
}

// Choose has this device say who looks from now on.
func Choose(w http.Header, id string) {
	c := http.Cookie{Name: whoCookie, Value: id, Path: "/", MaxAge: int((365 * 24 * time.Hour).Seconds()), HttpOnly: true, SameSite: http.SameSiteLaxMode}
	w.Add("Set-Cookie", c.String())
}

// Letter reports whether the viewer prints on US letter paper, as on mails.
func (v Viewer) Letter() bool { return v.Spelling == english.American }
