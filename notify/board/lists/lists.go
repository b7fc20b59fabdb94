// Package lists is the board's lists: what to do today, what is due, what stands, the
// vehicles; on paper, as a table, as a calendar.
//
// A list's address holds all that it is asked for, so it can be kept as a bookmark. A page
// has 50 lines; the next one begins behind the last line of this one, whatever came or went
// meanwhile.
package lists

import (
	"embed"

	"telltale/notify/board/entry"
	"telltale/notify/board/frame"
	"telltale/notify/board/limits"
	"telltale/notify/rights"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

// Pages are the routes of the lists.
func Pages(f *frame.Frame) []frame.Route {
	s := site{f, &entry.Latest[[]fact]{}, &stood{}}
	return []frame.Route{
		{Pattern: "GET /{$}", Handle: s.today},
		{Pattern: "GET /due", Needs: rights.See, Handle: s.due},
		{Pattern: "GET /due/print", Needs: rights.See, Costs: limits.Fleet, Handle: s.duePrint},
		{Pattern: "GET /due/job", Needs: rights.Work, Handle: s.job},
		{Pattern: "GET /due.csv", Needs: rights.See, Costs: limits.Fleet, Handle: s.dueTable},
		{Pattern: "GET /due.ics", Needs: rights.See, Costs: limits.Fleet, Handle: s.dueCalendar},
		{Pattern: "GET /standing", Needs: rights.Glance, Handle: s.standing},
		{Pattern: "GET /standing/print", Needs: rights.Glance, Costs: limits.Fleet, Handle: s.standingPrint},
		{Pattern: "GET /standing.csv", Needs: rights.Glance, Costs: limits.Fleet, Handle: s.standingTable},
		{Pattern: "GET /standing/acknowledge", Needs: rights.Answer, Handle: s.acknowledge},
		{Pattern: "POST /standing/acknowledge", Needs: rights.Answer, Handle: entry.Kept(f, s.acknowledge), MaxBody: 64 << 10},
		{Pattern: "GET /readings", Needs: rights.Reading, Handle: s.readings},
		{Pattern: "POST /readings", Needs: rights.Reading, Handle: entry.Kept(f, s.readings), MaxBody: 64 << 10},
		{Pattern: "GET /several/{id}", Needs: rights.Reading, Handle: s.severalEntered},
		{Pattern: "GET /vehicles", Needs: rights.Glance, Handle: s.vehicles},
		{Pattern: "GET /vehicles/print", Needs: rights.Glance, Costs: limits.Fleet, Handle: s.vehiclesPrint},
		{Pattern: "GET /vehicles.csv", Needs: rights.See, Costs: limits.Fleet, Handle: s.vehiclesTable},
		{Pattern: "GET /labels", Needs: rights.Glance, Costs: limits.Fleet, Handle: s.labels},
		{Pattern: "GET /v/{vehicle}/code.svg", Needs: rights.Glance, Costs: limits.Part, Handle: s.code},
	}
}

type site struct {
	*frame.Frame
	// done is what forms for several vehicles entered.
	done *entry.Latest[[]fact]
	past *stood
}
