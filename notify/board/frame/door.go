package frame

import (
	"context"
	"net/http"
	"net/url"
	"time"

	"telltale/engine/stream/audit"
	"telltale/notify"
	"telltale/notify/people"
	"telltale/notify/rights"
	"telltale/rules/english"
)

// Door tells who a request is from, where people sign in.
type Door interface {
	// Identify is who is signed in on the device of the request; nil where nobody is.
	Identify(context.Context, *http.Request) (*Identity, error)
	// Strange answers a request for which somebody must sign in first, or again: with where
	// to, or a page that keeps what was typed.
	Strange(context.Context, *Request) (*Page, error)
}

// Identity is who is signed in on a device.
type Identity struct {
	// Who is a person's id, or a tablet's.
	Who string
	// Tablet: it is a workshop's tablet, which is no one person; Entry is the one of rights
	// that it was paired for, Name how people call it.
	Tablet      bool
	Entry, Name string
	// Session names the sign-in among those of the person; it opens nothing.
	Session string
	// How they signed in.
	How audit.How
	// Strong is when they last showed two factors, or one that is as good; zero for never.
	Strong time.Time
	// Lately: that was in the last 15 minutes, see [Recent].
	Lately bool
}

// SignsIn reports whether whoever looks must sign in.
func (f *Frame) SignsIn() bool { return f.Door != nil && (f.Asks == nil || f.Asks()) }

// Recent is how long ago somebody may have shown two factors who changes who else comes in
// (ASVS 5.0.0, 7.5.1).
const Recent = 15 * time.Minute

// SignIn is the address at which people sign in.
const SignIn = "/sign-in"

// Back writes where to go on after signing in into an address: a page of this board.
func Back(path, to string) string {
	if to == "" || to == "/" {
		return path
	}
	return path + "?" + url.Values{"to": {to}}.Encode()
}

// May says whether the viewer may do something to a vehicle: nil, [NotFound] where they may
// not even know of it, or a Fault that names who may.
func (f *Frame) May(r *Request, verb rights.Verb, v Vehicle) error {
	return f.may(r, verb, notify.VehicleOf(v.ID, v.VehicleData))
}

func (f *Frame) may(r *Request, verb rights.Verb, v people.Vehicle) error {
	switch {
	case r.Viewer.Access.Allows(verb, v):
		return nil
	case verb.OfVehicle() && !r.Viewer.Access.Allows(rights.Glance, v):
		return hidden{NotFound}
	}
	return f.notYours(verb, v)
}

// VehicleTo is a vehicle that the address does not name, to do something to it.
func (f *Frame) VehicleTo(ctx context.Context, r *Request, verb rights.Verb, name string) (Vehicle, error) {
	v, err := f.vehicle(ctx, name)
	if err == nil {
		err = f.May(r, verb, v)
	}
	return v, err
}

// MayAnywhere is nil where whoever looks may do something to some vehicle, or a Fault that
// names who may.
func (f *Frame) MayAnywhere(r *Request, verb rights.Verb) error {
	if r.MayAnywhere(verb) {
		return nil
	}
	return f.notYours(verb, people.Vehicle{})
}

// MayTo says of the vehicles of a page what whoever looks may do to each. A vehicle is looked
// up where their rights hang on it, and once.
func (f *Frame) MayTo(r *Request) func(verb rights.Verb, vehicle string) bool {
	kept := map[string]*Vehicle{}
	return func(verb rights.Verb, vehicle string) bool {
		switch {
		case r.Viewer.Access.Over(verb) == "":
			return true
		case !r.Viewer.Access.Anywhere(verb):
			return false
		}
		v, known := kept[vehicle]
		if !known {
			if one, err := f.vehicle(r.Context(), vehicle); err == nil {
				v = &one
			}
			kept[vehicle] = v
		}
		return v != nil && r.MayHere(verb, *v)
	}
}

func (f *Frame) notYours(verb rights.Verb, v people.Vehicle) error {
	fault := &Fault{Status: http.StatusForbidden, Title: wordNotYours}
	if who := f.People().May(verb, v); len(who) > 0 {
		fault.Words = english.Sentence("who may: " + english.List("and", who))
	}
	return fault
}

// MayHere says whether the button for something belongs on a page of the vehicle.
func (r *Request) MayHere(verb rights.Verb, v Vehicle) bool {
	return r.Viewer.Access.Allows(verb, notify.VehicleOf(v.ID, v.VehicleData))
}

// MayTakeBackAny says whether whoever looks may take back what others entered. Where nobody
// signs in, it is for those who hear of the service's own troubles, as a courtesy.
func (r *Request) MayTakeBackAny(v Vehicle) bool {
	if r.Viewer.SignedIn == nil {
		return r.Viewer.Operator
	}
	return r.MayHere(rights.TakeBackAny, v)
}

// MayAnywhere says whether the way to something belongs on a page of many vehicles.
func (r *Request) MayAnywhere(verb rights.Verb) bool { return r.Viewer.Access.Anywhere(verb) }

// allowed checks what a route needs before it is served.
func (f *Frame) allowed(ctx context.Context, r *Request, needs rights.Verb) error {
	if needs == rights.Open || needs == rights.Anyone {
		return nil
	}
	name := r.PathValue("vehicle")
	if name == "" || !needs.OfVehicle() {
		return f.MayAnywhere(r, needs)
	}
	if r.Viewer.Access.Over(needs) == "" {
		return nil // of all vehicles, of which the handler says whether this is one
	}
	_, err := f.VehicleTo(ctx, r, needs, name)
	if err == error(NotFound) {
		return hidden{NotFound} // nobody registered it, so it is nobody's; and names may be guessed
	}
	return err
}

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
