// Package sheet is the board's pages about fluid samples: what a sheet says and what to do,
// with the figures beneath; all sheets of a component; and the form in which one is typed in.
package sheet

import (
	"context"
	"embed"
	"net/url"
	"strings"

	"telltale/engine/event"
	"telltale/engine/sample"
	"telltale/engine/stream/service"
	"telltale/notify/board/entry"
	"telltale/notify/board/frame"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

// Pages are those of the room; what is typed in goes the way of all entries.
func Pages(e *entry.Entries) []frame.Route {
	r := room{e.Frame, e}
	const of = "GET /v/{vehicle}/samples/{component}"
	return append(postAndGet(e.Frame, "/v/{vehicle}/sample", r.enter), []frame.Route{
		{Pattern: of, Handle: r.sample},
		{Pattern: of + "/{number}", Handle: r.sample},
		{Pattern: of + "/{number}/chart.svg", Handle: r.chart},
		{Pattern: of + "/{number}/made/{analyte}", Handle: r.made},
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

// The parts of an address beside its path: which of two samples with one number, and a
// number that no path can hold.
const (
	queryDrawn  = "drawn"
	queryNumber = "number"
)

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
		q.Number = req.FormValue(queryNumber)
	}
	all, err := service.Samples.Of(ctx, r.Service, q)
	if err != nil {
		return s, err
	}
	drawn := req.FormValue(queryDrawn)
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
	base, query := []string{"v", vehicle, "samples", l.Component}, url.Values{}
	if l.Again {
		query.Set(queryDrawn, l.Drawn)
	}
	if inPath(l.Number) {
		base = append(append(base, l.Number), more...)
	} else {
		query.Set(queryNumber, l.Number)
	}
	if len(query) == 0 {
		return frame.Path(base...)
	}
	return frame.Path(base...) + "?" + query.Encode()
}

// inPath reports whether an address can hold the number: of dots alone it cannot.
func inPath(number string) bool { return strings.Trim(number, ".") != "" }
