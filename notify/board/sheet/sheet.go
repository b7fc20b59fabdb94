// Package sheet is the board's pages about fluid samples: what a sheet says and what to do,
// with the figures beneath; all sheets of a component; and the form in which one is typed in.
package sheet

import (
	"context"
	"embed"

	"telltale/engine/event"
	"telltale/engine/sample"
	"telltale/engine/stream/service"
	"telltale/notify/board/entry"
	"telltale/notify/board/frame"
	rate "telltale/notify/board/limits"
	"telltale/notify/rights"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

// Pages are those of the room; what is typed in goes the way of all entries.
func Pages(e *entry.Entries) []frame.Route {
	r := room{e.Frame, e}
	const of = "GET /v/{vehicle}/samples/{component}"
	return append(postAndGet(e.Frame, "/v/{vehicle}/sample", r.enter), []frame.Route{
		{Pattern: of, Needs: rights.See, Handle: r.sample},
		{Pattern: of + "/{number}", Needs: rights.See, Handle: r.sample},
		{Pattern: of + "/{number}/chart.svg", Needs: rights.See, Costs: rate.Part, Handle: r.chart},
		{Pattern: of + "/{number}/made/{analyte}", Needs: rights.See, Handle: r.made},
	}...)
}

type room struct {
	*frame.Frame
	entries *entry.Entries
}

// sheet is the sample that an address means.
type sheet struct {
	vehicle   frame.Vehicle
	component *event.ComponentDef
	// of is nil where the component has no such sample.
	of *sample.Verdict
}

// meant finds the sample that the address means: of a number, or the latest.
func (r room) meant(ctx context.Context, req *frame.Request) (s sheet, err error) {
	if s.vehicle, err = r.Vehicle(ctx, req); err != nil {
		return s, err
	}
	if s.component = s.vehicle.ComponentNamed(req.PathValue("component")); s.component == nil {
		return s, frame.NotFound
	}
	q := req.Question()
	q.Vehicle, q.Component, q.Number = s.vehicle.ID, s.component.Name, req.PathValue("number")
	if q.Number == "" {
		q.Number = req.FormValue(frame.QueryNumber)
	}
	all, err := service.Samples.Of(ctx, r.Service, q)
	if err != nil {
		return s, err
	}
	drawn := req.FormValue(frame.QueryDrawn)
	for i := range all {
		if drawn == "" || all[i].Drawn == drawn {
			s.of = &all[i]
			return s, nil
		}
	}
	if q.Number != "" {
		return s, frame.NotFound
	}
	return s, nil
}

// path leads to the sample of a line; drawn where its number alone leads to another.
func path(vehicle string, l *sample.Line, more ...string) string {
	drawn := ""
	if l.Again {
		drawn = l.Drawn
	}
	return frame.SamplePath(vehicle, l.Component, l.Number, drawn, more...)
}
