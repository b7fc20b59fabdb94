// Package frame is what all pages of the board share: how they ask the service, who looks
// at them, how they are written, and what is refused before a page is asked.
//
// A page is a [Route] whose [Handler] gives back a [Page]; [Frame.Handler] puts the routes
// together. A page asks the service in this process (service.Due.Of and the like) with
// [Request.Question], which carries the units of whoever looks. An error becomes a page of
// its own: a [*Fault] says which, every other is trouble of ours.
package frame

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"net/http"
	"time"

	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/engine/stream/audit"
	"telltale/engine/stream/service"
	"telltale/engine/whole"
	"telltale/notify/board/limits"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/notify/rights"
	"telltale/rules/unit"
)

// Frame is what the pages stand on.
type Frame struct {
	// Service answers what pages ask, and Log stores what is entered.
	Service *service.Service
	Log     *stream.Log
	// People are those of people.yaml as it was read last.
	People func() *people.Directory
	// Now is the clock by which pages and entries are dated.
	Now func(context.Context) (time.Time, error)
	// Reads are the units of telltale.yaml, for who names none.
	Reads unit.System
	// URL is how people reach the board, without a slash at its end: in codes on paper.
	URL string
	// From is the sender of the mails, like "Telltale <telltale@example.org>": days for a
	// calendar are known again by it.
	From string
	// Dir is the fleet's folder; "" where the pages have none.
	Dir    string
	Logger *slog.Logger
	// Live tells open pages what has changed; nil where none are told.
	Live *Live
	// Own is what the program knows beside the log.
	Own Own
	// Door tells who is signed in; nil where nobody signs in, and whoever reaches the board
	// may do everything.
	Door Door
	// Asks reports whether people must sign in now, as the folder has it: people.yaml may come
	// to say who may do what while the service runs. Nil: they must where there is a Door.
	Asks func() bool
	// Limits bound what one person or address may ask; nil for nothing, as where nobody signs
	// in: who sits at the machine itself may do worse.
	Limits *limits.Pages
	// Proxies are in front of the board, and say for whom they ask.
	Proxies limits.Proxies
	// Audit keeps who did what; nil where nobody does.
	Audit *audit.Log
	// Hosts are names beside those of the loopback under which the board answers.
	Hosts []string

	kept kept
}

// Route is a page and its address, as net/http.ServeMux has patterns: "GET /v/{vehicle}".
type Route struct {
	Pattern string
	Handle  Handler
	// Needs is what the viewer must be allowed: on the vehicle that the address names, on any
	// where it names none. A handler with vehicles of its own asks [Frame.May].
	Needs rights.Verb
	// Costs is against which limit its requests count.
	Costs limits.Kind
	// Did is what sending a form there does, for who asks who did what; by Needs where empty.
	Did audit.What
	// MaxBody bounds what a form may send, in bytes; 16 KiB where 0.
	MaxBody int64
	// Within is how long sending and answer may take; what the server allows where 0.
	Within time.Duration
}

// Handler makes the page that a request asks for.
type Handler func(context.Context, *Request) (*Page, error)

// Request is one request and who looks.
type Request struct {
	*http.Request
	Viewer Viewer
	// Now is the clock's time, see Frame.Now.
	Now time.Time

	needs rights.Verb // of the route
	ways  *ways
	costs limits.Kind

	// known: it is known who looks.
	known bool
}

// Question asks in the units of whoever looks, of the vehicles on which they may do what the
// page needs.
func (r *Request) Question() service.Question {
	if r.needs.OfVehicle() {
		return r.QuestionOver(r.needs)
	}
	return r.QuestionOver(rights.Glance)
}

// QuestionOver is a Question of the vehicles on which whoever looks may do something.
func (r *Request) QuestionOver(verb rights.Verb) service.Question {
	return service.Question{Units: append([]string{}, r.Viewer.Units().Names()...), Sees: r.Viewer.Access.Over(verb)}
}

// Vehicle is one that is registered, by its present name.
type Vehicle struct {
	ID string
	*event.VehicleData
	// Where is its zone: days on its pages are days there.
	Where *time.Location
}

// Title is how people call it.
func (v Vehicle) Title() string {
	const most = 200
	return page.Clean(cmp.Or(v.Name, v.ID), most)
}

// Units are those in which the viewer reads of the vehicle.
func (v Vehicle) Units(who Viewer) unit.System {
	own, _ := unit.SystemOf(v.Reads) // checked when it came in
	return own.Or(who.Units()).Or(unit.Metric)
}

// Vehicle is the one that the address names; [NotFound] where nobody registered it.
func (f *Frame) Vehicle(ctx context.Context, r *Request) (Vehicle, error) {
	return f.vehicle(ctx, r.PathValue("vehicle"))
}

func (f *Frame) vehicle(ctx context.Context, name string) (Vehicle, error) {
	v, err := f.Service.RegisteredAs(ctx, name)
	switch {
	case err != nil:
		return Vehicle{}, err
	case v.VehicleData == nil:
		return Vehicle{}, NotFound
	}
	where, err := time.LoadLocation(v.Zone)
	if err != nil {
		where = time.UTC
	}
	return Vehicle{v.Vehicle, v.VehicleData, where}, nil
}

// Whole is all that the service tells of a vehicle, in the units of whoever asks;
// [NotFound] where it tells nothing.
func (f *Frame) Whole(ctx context.Context, r *Request, vehicle string) (whole.Vehicle, error) {
	q := r.Question()
	q.Vehicle = vehicle
	list, err := service.Vehicle.Of(ctx, f.Service, q)
	switch {
	case err != nil:
		return whole.Vehicle{}, err
	case len(list) == 0:
		return whole.Vehicle{}, NotFound
	}
	return list[0], nil
}

// Missing takes out of an error which partitions did not answer; what came with it is
// whole but for their vehicles.
func Missing(err error) (partitions []int, other error) {
	if i, ok := errors.AsType[*service.Incomplete](err); ok {
		return i.Partitions, nil
	}
	return nil, err
}
