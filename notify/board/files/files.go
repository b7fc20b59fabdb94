// Package files brings tables in: a file is chosen with its mapping, looked at in a dry
// run, and sent whole or not at all. Who has no mapping makes one by looking at the table.
//
// A file that was uploaded is held in memory for a while under its hash, and nowhere else.
package files

import (
	"context"
	"embed"
	"net/http"
	"strings"
	"time"

	"telltale/engine/stream/service"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

// What may be sent: a table, and a mapping beside it.
const (
	maxFile    = 8 << 20
	maxRows    = 50_000
	maxMapping = 256 << 10
	maxUpload  = maxFile + maxMapping + 64<<10 // with the fields beside
	maxChoices = 1 << 20                       // of all columns
	within     = 5 * time.Minute               // of what reads a whole table
)

// Pages are the pages of tables; dir is the fleet's folder, in which mappings/ is, and ""
// where there is none.
func Pages(f *frame.Frame, dir string) []frame.Route {
	s := &site{Frame: f, folder: folder{dir}, held: newShelf(), one: make(chan struct{}, 1)}
	return []frame.Route{
		{Pattern: "GET /files", Needs: rights.File, Handle: s.start},
		{Pattern: "POST /files", Needs: rights.File, Handle: s.upload, MaxBody: maxUpload, Within: within},
		{Pattern: "GET /files/dry/{hash}", Needs: rights.File, Handle: s.dry, Within: within},
		{Pattern: "POST /files/dry/{hash}", Needs: rights.File, Handle: s.send, Within: within},
		{Pattern: "GET /files/sent/{hash}", Needs: rights.File, Handle: s.sent},
		{Pattern: "GET /files/register/{hash}", Needs: rights.File, Handle: s.register},
		{Pattern: "GET /files/new", Needs: rights.File, Handle: s.newMapping},
		{Pattern: "POST /files/new", Needs: rights.File, Handle: s.look, MaxBody: maxUpload, Within: within},
		{Pattern: "GET /files/new/{hash}", Needs: rights.File, Handle: s.columns},
		{Pattern: "POST /files/new/{hash}", Needs: rights.File, Handle: s.choose, MaxBody: maxChoices, Within: within},
	}
}

type site struct {
	*frame.Frame
	folder folder
	held   *shelf
	one    chan struct{} // a table is read against the service one after the other
}

// at is where a table is asked after and sent.
func (s *site) at() service.At { return service.At{Conn: s.Log.Conn, Service: s.Service} }

// alone waits until no other table is being read; the caller must call done.
func (s *site) alone(ctx context.Context) (done func(), err error) {
	select {
	case s.one <- struct{}{}:
		return func() { <-s.one }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (s *site) typist(r *frame.Request) form.Typist {
	return form.TypistOf(r.Viewer.Person, r.Viewer.Zone, r.Now, r.Viewer.Units())
}

// kept is the file that the address names, if it is whoever asks who sent it; nil where it is
// not, or is held no more.
func (s *site) kept(r *frame.Request) *held {
	h := s.held.get(r.PathValue("hash"))
	if h == nil || h.who != r.Viewer.Source() {
		return nil
	}
	return h
}

// forgotten is the answer for a file that is held no more.
var forgotten = &frame.Fault{Status: http.StatusNotFound, Title: wordForgotten, Words: wordForgottenDo}

// page is one of this room; up leads back to its first page.
func page(title, lead string) *frame.Page {
	return &frame.Page{Section: frame.Enter, Title: title, Lead: lead, Up: frame.Link{Words: "Tables", Path: "/files"}}
}

// unread is the page again with what is wrong with its form.
func unread(p *frame.Page) *frame.Page {
	p.Status = http.StatusUnprocessableEntity
	p.Title = "Not read: " + strings.ToLower(p.Title[:1]) + p.Title[1:]
	return p
}
