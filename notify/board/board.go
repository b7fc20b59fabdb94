// Package board is the web pages for people who never open a terminal: what is due, what
// is wrong, a vehicle, entering, deciding, trying a rule. They are served by the service
// itself, written on the server, and complete without a script.
//
// Package frame has what all pages share. Each of the other packages below is a room of
// pages; [Handler] puts them together.
package board

import (
	"embed"
	"net/http"
	"slices"

	"telltale/notify/board/enter"
	"telltale/notify/board/entry"
	"telltale/notify/board/files"
	"telltale/notify/board/frame"
	"telltale/notify/board/lists"
	"telltale/notify/board/operator"
	"telltale/notify/board/programs"
	"telltale/notify/board/rulebook"
	"telltale/notify/board/rulebook/try"
	"telltale/notify/board/sheet"
	"telltale/notify/board/trail"
	"telltale/notify/board/vehicle"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

// Handler serves all pages of the board.
func Handler(f *frame.Frame) http.Handler { return f.Handler(Routes(f)...) }

// Routes are all pages of the board, with what each needs.
func Routes(f *frame.Frame) []frame.Route {
	e := entry.New(f)
	return slices.Concat(
		pages(f),
		lists.Pages(f),
		enter.Routes(e),
		e.Routes(),
		vehicle.Pages(f),
		sheet.Pages(e),
		files.Pages(f, f.Dir),
		operator.Pages(f),
		rulebook.Pages(f),
		try.Pages(f),
		inAndOut(f),
		trail.Pages(f),
		programs.Pages(f),
	)
}

// pages are those that belong to no room.
func pages(f *frame.Frame) []frame.Route {
	s := site{f}
	return []frame.Route{
		{Pattern: "GET /me", Handle: s.me},
		{Pattern: "POST /me", Handle: s.choose},
		{Pattern: "GET /more", Handle: s.more},
	}
}

type site struct{ *frame.Frame }
