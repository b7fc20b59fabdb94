package frame

import (
	"bytes"
	"context"
	"html/template"
	"mime"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
	"unicode"

	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/notify/wording"
)

// The sections of the board, as its first row names them.
const (
	Today    = "Today"
	Due      = "Due"
	Standing = "Standing"
	Vehicles = "Vehicles"
	Enter    = "Enter"
	More     = "More"
)

type section struct{ Name, Path string }

var sections = [...]section{
	{Today, "/"}, {Due, "/due"}, {Standing, "/standing"}, {Vehicles, "/vehicles"}, {Enter, "/enter"}, {More, "/more"},
}

// sections are those to which whoever looks may go.
func (r *Request) sections() (out []section) {
	for _, s := range sections {
		if r.Leads(s.Path) {
			out = append(out, s)
		}
	}
	return out
}

// Page is what a handler gives back: one of a page with a body, a file, or the way to
// another page.
type Page struct {
	// Section is the one of the first row that the page is in.
	Section string
	// Title is the page's heading, About what it is of where the heading does not say so:
	// "Why", "Bus 7".
	Title, About string
	// Lead sums the page up in a sentence.
	Lead string
	// Up is where the page hangs: "Bus 7" at "/v/bus-07". May be empty.
	Up Link
	// Body is the page's own part, of Templates.Body.
	Body template.HTML
	// Missing are the partitions whose vehicles the page lacks.
	Missing []int
	// Work: the page asks for work, so that it says what comes before it.
	Work bool
	// Watch is of which vehicle a change makes the page another, "*" for any; "" where none
	// does.
	Watch string
	// Status is 200 where 0.
	Status int
	// Header are more headers.
	Header http.Header

	// Entered are the events that the request stored, for who asks who did what. Noted are
	// other words for that: the name of a file, how many rows. Nothing: what was sent changed
	// nothing, though the browser is led on.
	Entered []event.Event
	Noted   string
	Nothing bool

	File *File  // in place of a body
	To   string // in place of both: where to go on, after an entry
}

// Link is an address with its words.
type Link struct{ Words, Path string }

// File is what is not a page: a table to save, a picture, a calendar.
type File struct {
	Type string // the media type
	Name string // under which it is saved; "" where the browser shows it
	Body []byte
}

// layout is what the layout's template gets.
type layout struct {
	*Page
	Full             string
	Style, Script    string
	Icon             string
	Sections         []section
	Viewer           Viewer
	AsOf, Absent     string
	Changed, Lost    string
	Note             string
	Letter, Operator bool
}

// write writes what a handler gave back.
func (f *Frame) write(w http.ResponseWriter, r *Request, p *Page) {
	h := w.Header()
	for k, v := range p.Header {
		h[k] = append(h[k], v...)
	}
	switch {
	case p.To != "":
		h.Set("Location", p.To)
		w.WriteHeader(http.StatusSeeOther)
		return
	case p.File != nil:
		h.Set("Content-Type", p.File.Type)
		if p.File.Name != "" {
			h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": p.File.Name}))
		}
		f.send(w, p.Status, p.File.Body)
		return
	}
	l := layout{Page: p, Full: p.Title, Style: stylePath, Script: scriptPath, Icon: iconPath, Changed: wordChanged, Lost: wordLost, Sections: r.sections(), Viewer: r.Viewer, Letter: r.Viewer.Letter()}
	if p.About != "" {
		l.Full += ", " + p.About
	}
	if !r.Now.IsZero() && !r.Now.Equal(stream.Unclocked) {
		l.AsOf = r.Viewer.Day(r.Now) + ", " + r.Now.In(r.Viewer.Zone).Format("15:04")
	}
	l.Absent = Absent(p.Missing, stream.Partitions)
	if p.Work {
		l.Note = wording.StandingNote
	}
	var b bytes.Buffer
	if err := base.ExecuteTemplate(&b, "layout", l); err != nil {
		f.Logger.Error("writing a page", "page", written(r.URL.Path), "error", err)
		http.Error(w, wordTrouble, http.StatusInternalServerError)
		return
	}
	h.Set("Content-Type", "text/html; charset=utf-8")
	f.send(w, p.Status, harmless(b.Bytes()))
}

// harmless takes out of a page the marks that turn the direction of what follows or are not
// seen at all, and control characters: no text of ours has any, whatever texts of others
// have.
func harmless(page []byte) []byte {
	return bytes.Map(func(r rune) rune {
		if unicode.Is(unicode.Cf, r) || unicode.IsControl(r) && r != '\n' && r != '\t' {
			return -1
		}
		return r
	}, page)
}

func (f *Frame) send(w http.ResponseWriter, status int, body []byte) {
	w.Header().Set("Content-Length", strconv.Itoa(len(body)))
	if status != 0 {
		w.WriteHeader(status)
	}
	if _, err := w.Write(body); err != nil {
		f.Logger.Debug("writing a page", "error", err) // whoever asked is gone
	}
}

// fault writes an error as a page.
func (f *Frame) fault(ctx context.Context, w http.ResponseWriter, r *Request, err error) {
	fault, ours := faultOf(err, r.Method == http.MethodPost, ctx)
	if ours {
		f.Logger.Error("making a page", "page", written(r.URL.Path), "error", err)
	}
	if fault.After > 0 {
		w.Header().Set("Retry-After", strconv.Itoa(int(fault.After/time.Second)))
	}
	f.write(w, r, &Page{Title: fault.Title, Lead: fault.Words, Status: fault.Status})
}

// written is a path for the log, without the secret of a link for signing in (ASVS 5.0.0,
// 16.2.5).
func written(path string) string {
	if strings.HasPrefix(path, SignIn+"/") {
		return SignIn + "/…"
	}
	return path
}

// Path writes an address of which the parts may hold anything: Path("v", id, "work").
func Path(parts ...string) string {
	var b strings.Builder
	for _, p := range parts {
		b.WriteString("/" + url.PathEscape(p))
	}
	return b.String()
}
