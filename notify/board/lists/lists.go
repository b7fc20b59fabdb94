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
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

// Pages are the routes of the lists.
func Pages(f *frame.Frame) []frame.Route {
	s := site{f, &entry.Latest[[]fact]{}, &stood{}}
	return []frame.Route{
		{Pattern: "GET /{$}", Handle: s.today},
		{Pattern: "GET /due", Handle: s.due},
		{Pattern: "GET /due/print", Handle: s.duePrint},
		{Pattern: "GET /due/job", Handle: s.job},
		{Pattern: "GET /due.csv", Handle: s.dueTable},
		{Pattern: "GET /due.ics", Handle: s.dueCalendar},
		{Pattern: "GET /standing", Handle: s.standing},
		{Pattern: "GET /standing/print", Handle: s.standingPrint},
		{Pattern: "GET /standing.csv", Handle: s.standingTable},
		{Pattern: "GET /standing/acknowledge", Handle: s.acknowledge},
		{Pattern: "POST /standing/acknowledge", Handle: entry.Kept(f, s.acknowledge), MaxBody: 64 << 10},
		{Pattern: "GET /readings", Handle: s.readings},
		{Pattern: "POST /readings", Handle: entry.Kept(f, s.readings), MaxBody: 64 << 10},
		{Pattern: "GET /several/{id}", Handle: s.severalEntered},
		{Pattern: "GET /vehicles", Handle: s.vehicles},
		{Pattern: "GET /vehicles/print", Handle: s.vehiclesPrint},
		{Pattern: "GET /vehicles.csv", Handle: s.vehiclesTable},
		{Pattern: "GET /labels", Handle: s.labels},
		{Pattern: "GET /v/{vehicle}/code.svg", Handle: s.code},
	}
}

type site struct {
	*frame.Frame
	// done is what forms for several vehicles entered.
	done *entry.Latest[[]fact]
	past *stood
}
