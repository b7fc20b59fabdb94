// Package programs is the board's page of the programs that speak to the service: what each
// may, whether it is connected, when something last came from it, and what was refused.
package programs

import (
	"context"
	"embed"
	"fmt"
	"net/http"
	"time"

	"telltale/engine/stream/audit"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/programs"
	"telltale/notify/programs/gate"
	"telltale/notify/rights"
	"telltale/rules/english"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

// Pages are those of programs.
func Pages(f *frame.Frame) []frame.Route {
	s := &site{f}
	return []frame.Route{
		{Pattern: "GET /programs", Needs: rights.Watch, Handle: s.list},
		{Pattern: "POST /programs/{name}/end", Needs: rights.Change, Did: audit.SessionEnded, Handle: s.end},
	}
}

type site struct{ *frame.Frame }

// program is one as it is shown.
type program struct {
	Name, Key, May, Where string
	Connections           []connection
	Refused               string
	Subject, Why          string
	End                   string // where its connections are ended
	Connects              bool   // one that sends over HTTP stays on no line
}

type connection struct{ From, Since, Last string }

type listPage struct {
	Ended    string
	Joined   bool // the server is somebody's own, and its accounts decide
	Closed   bool
	Programs []program
	Unknown  string
	Change   bool
}

const wordOpen = "people.yaml names no programs: whoever reaches the NATS server, on this machine alone, may send and ask."

// list shows what each program may, and how it stands.
func (s *site) list(_ context.Context, r *frame.Request) (*frame.Page, error) {
	d := s.People()
	data := listPage{Joined: s.Own.NATS != "", Closed: d.Closed() || s.SignsIn(), Change: r.Viewer.Access.Anywhere(rights.Change)}
	if name := r.URL.Query().Get("ended"); name != "" {
		data.Ended = page.Clean(name, 64)
	}
	p := &frame.Page{Section: frame.More, Title: "Programs", Lead: wordOpen}
	if data.Closed {
		p.Lead = "Gateways and other programs that may send events, and what each may."
	}
	if s.Own.Gate == nil {
		var err error
		p.Body, err = templates.Body("programs", data)
		return p, err
	}
	all, unknown, err := s.Own.Gate.Statuses()
	if err != nil {
		return nil, err
	}
	for i := range all {
		data.Programs = append(data.Programs, s.program(r, &all[i]))
	}
	if unknown.Count > 0 {
		data.Unknown = fmt.Sprintf("%s, the last on %s: %s", english.Counted(unknown.Count, "try", "tries"), moment(r, unknown.At), unknown.Why)
	}
	p.Body, err = templates.Body("programs", data)
	return p, err
}

func (s *site) program(r *frame.Request, st *gate.Status) program {
	p := program{Name: st.ID, Key: "by a token, over HTTP", May: may(st), Where: page.Clean(st.Where, 400)}
	if st.Key != "" {
		p.Key, p.Connects = "key "+programs.Short(st.Key), true
	}
	for _, c := range st.Connections {
		p.Connections = append(p.Connections, connection{page.Clean(c.From, 80), moment(r, c.Since), moment(r, c.Last)})
	}
	if len(p.Connections) > 0 {
		p.End = frame.Path("programs", st.ID) + "/end"
	}
	if st.Refused.Count > 0 {
		p.Refused = fmt.Sprintf("%s since the service was started, the last on %s", english.Counted(st.Refused.Count, "time", "times"), moment(r, st.Refused.At))
		p.Subject, p.Why = page.Clean(st.Refused.Subject, 200), page.Clean(st.Refused.Why, 400)
	}
	return p
}

// may says what a program may, in a sentence.
func may(st *gate.Status) string {
	switch {
	case st.Operator:
		return "It may do everything, as an operator."
	case len(st.Sends) == 0:
		return "It may ask about all vehicles, and send nothing."
	}
	text := "It may send " + english.List("and", st.Sends) + " of all vehicles"
	if st.Where != "" {
		text = "It may send " + english.List("and", st.Sends) + " of some vehicles"
		if st.Key != "" {
			text = fmt.Sprintf("It may send %s of %s", english.List("and", st.Sends), english.Plural(st.Vehicles, "vehicle"))
		}
	}
	if st.Asks {
		text += ", and ask about all"
	}
	return text + "."
}

// moment writes a time of the viewer's wall.
func moment(r *frame.Request, t time.Time) string {
	return r.Viewer.Day(t) + ", " + t.In(r.Viewer.Zone).Format("15:04")
}

// end ends the connections of a program.
func (s *site) end(_ context.Context, r *frame.Request) (*frame.Page, error) {
	name := r.PathValue("name")
	if s.Own.Gate == nil {
		return nil, frame.NotFound
	}
	n, err := s.Own.Gate.End(name)
	if err != nil {
		return nil, err
	}
	if n == 0 {
		return nil, &frame.Fault{Status: http.StatusConflict, Title: "It is not connected", Words: "Nothing was ended. To keep a program out, take it out of people.yaml."}
	}
	return &frame.Page{To: "/programs?ended=" + name, Noted: "the connections of the program " + name + " were ended"}, nil
}
