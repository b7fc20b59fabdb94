package frame

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"strings"

	"telltale/engine/event"
	"telltale/engine/stream/audit"
	"telltale/notify/rights"
)

// hidden is [NotFound] of what there is, but not for who asks.
type hidden struct{ *Fault }

// Unwrap is NotFound.
func (h hidden) Unwrap() error { return h.Fault }

// deeds are what sending a form does, by what its route needs.
var deeds = map[rights.Verb]audit.What{
	rights.Reading: audit.Reading, rights.Work: audit.Work, rights.Sample: audit.Sample, rights.File: audit.Table,
	rights.Answer: audit.Answer, rights.Aside: audit.Answer, rights.AsideWarning: audit.Answer, rights.Postpone: audit.Answer, rights.OutOfService: audit.Answer,
	rights.TakeBackToday: audit.Void, rights.TakeBack: audit.Void, rights.TakeBackAny: audit.Void,
	rights.Anyone: audit.Changed, rights.Watch: audit.Changed, rights.Change: audit.Changed, rights.Glance: audit.Changed, rights.See: audit.Changed,
}

// noteDown writes down who did what: each form that changed something, was refused or did
// not work, each file that was saved, each look at what one has no right to see, and who asked
// too often (ASVS 5.0.0, 16.3.2 and 16.3.3).
//
// Looking, a look at what would follow, and a form that comes back to be mended change
// nothing and are not written. Pages that need no signing in write their own.
func (f *Frame) noteDown(ctx context.Context, r *Request, route Route, p *Page, err error) {
	others := route.Needs == rights.Open && route.Did == "" || !r.known && route.Needs != rights.Open
	if f.Audit == nil || others && !tooMany(err) {
		return
	}
	e := became(r, p, err)
	if e.Outcome == "" {
		return
	}
	_, path, _ := strings.Cut(route.Pattern, " ")
	e.What = cmp.Or(e.What, route.Did, deedOf(p), deeds[route.Needs], audit.Looked)
	if e.Outcome != audit.Done || e.What == audit.Changed {
		e.Words = cmp.Or(e.Words, path) // as the route has it: an address may hold what is secret
	}
	e.How, e.From = audit.Machine, audit.Network(f.Client(r.Request).String())
	if r.known {
		e.Who = r.Viewer.Source()
	}
	if r.Viewer.SignedIn != nil {
		e.How = r.Viewer.SignedIn.How
	}
	if strings.Contains(path, "{vehicle}") {
		e.Vehicle = f.registered(ctx, r.PathValue("vehicle"))
	}
	for _, one := range byVehicle(e, p, r.Viewer) {
		f.Audit.Write(ctx, one)
	}
}

// kinds are what was done by the kind of the event that it stored.
var kinds = map[event.Kind]audit.What{
	event.ReadingEvent: audit.Reading, event.MeterReplacedEvent: audit.Reading, event.ServiceEvent: audit.Work, event.SampleEvent: audit.Sample,
	event.AnswerEvent: audit.Answer, event.VoidEvent: audit.Void,
}

// deedOf is what was done by what it stored; "" where that says nothing.
func deedOf(p *Page) audit.What {
	if p == nil || len(p.Entered) == 0 {
		return ""
	}
	return kinds[p.Entered[0].Kind]
}

// byOf is who did the work that an event tells of, where that is not who entered it.
func byOf(ev *event.Event, who Viewer) string {
	if d, ok := ev.Data.(*event.ServiceData); ok && d.By != who.Name && d.By != who.ID {
		return d.By
	}
	return ""
}

// became is what became of a request; without an outcome where it is not written.
func became(r *Request, p *Page, err error) audit.Entry {
	sent := r.Method == http.MethodPost
	fault, said := errors.AsType[*Fault](err)
	_, unseen := errors.AsType[hidden](err)
	if unseen {
		fault = &Fault{Title: wordUnseen}
	}
	switch {
	case !sent && (unseen || said && fault.Status == http.StatusForbidden || tooMany(err)):
		return audit.Entry{What: audit.Looked, Outcome: audit.Refused, Why: fault.Title}
	case !sent && err == nil && p.File != nil && p.File.Name != "":
		return audit.Entry{What: audit.Export, Outcome: audit.Done, Words: p.File.Name}
	case !sent:
		return audit.Entry{}
	case said && fault.Status < http.StatusInternalServerError:
		return audit.Entry{Outcome: audit.Refused, Why: fault.Title}
	case err != nil || p.Status >= http.StatusInternalServerError:
		return audit.Entry{Outcome: audit.Failed}
	case !p.Nothing && (p.To != "" || len(p.Entered) > 0):
		return audit.Entry{Outcome: audit.Done, Words: p.Noted}
	}
	return audit.Entry{}
}

// tooMany reports whether somebody asked more often than one may.
func tooMany(err error) bool {
	fault, ok := errors.AsType[*Fault](err)
	return ok && fault.Status == http.StatusTooManyRequests
}

// byVehicle are the entries of a request that stored events of several vehicles: one of
// each, so that it is found by its vehicle.
func byVehicle(e audit.Entry, p *Page, who Viewer) (out []audit.Entry) {
	if e.Outcome != audit.Done || len(p.Entered) == 0 {
		return []audit.Entry{e}
	}
	at := map[string]int{}
	for k := range p.Entered {
		ev := &p.Entered[k]
		i, ok := at[ev.Vehicle]
		if !ok {
			i = len(out)
			at[ev.Vehicle] = i
			out = append(out, e)
			out[i].Vehicle = ev.Vehicle
		}
		out[i].Events = append(out[i].Events, ev.ID)
		out[i].By = cmp.Or(out[i].By, byOf(ev, who))
	}
	return out
}

// registered is the present name of a vehicle; "" where nobody registered it, since anybody
// can name one.
func (f *Frame) registered(ctx context.Context, name string) string {
	v, err := f.Service.RegisteredAs(ctx, name)
	if err != nil || v.VehicleData == nil {
		return ""
	}
	return v.Vehicle
}
