// Package try is the board's pages on which a change of the rules is tried: what the check
// says of a chapter's text, its cases run, and what it would have changed over a part of the
// fleet. Nothing here puts rules in force: the folder does, or telltale adopt.
package try

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"telltale/engine/stream"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/board/rulebook/ran"
	"telltale/notify/rights"
	"telltale/rules"
	"telltale/rules/english"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

// maxText is how long a chapter may be; in a form each of its letters may take three.
const (
	maxText = 256 << 10
	maxForm = 3*maxText + 16<<10
)

// Pages are the pages on which a change is tried.
func Pages(f *frame.Frame) []frame.Route {
	s := &site{Frame: f, shelf: stream.NewShelf(f.Log), runs: &runs{}}
	return []frame.Route{
		{Pattern: "GET /rules/try", Needs: rights.Watch, Handle: s.start},
		{Pattern: "POST /rules/try", Needs: rights.Watch, Handle: s.look, MaxBody: maxForm},
		{Pattern: "GET /rules/try/{id}", Needs: rights.Watch, Handle: s.show},
		{Pattern: "POST /rules/try/{id}/stop", Needs: rights.Watch, Handle: s.stop},
		{Pattern: "GET /rules/try/{id}/file", Needs: rights.Watch, Handle: s.file},
	}
}

type site struct {
	*frame.Frame
	shelf *stream.Shelf
	runs  *runs
}

// inForce is the book in force and its files; a fault says so where there is none.
func (s *site) inForce(ctx context.Context) (*rules.Book, []rules.File, error) {
	hash, err := s.Log.BookInForce(ctx)
	if err != nil {
		return nil, nil, err
	}
	if hash == "" {
		return nil, nil, noBook
	}
	b, err := s.shelf.Book(ctx, hash)
	if err != nil {
		return nil, nil, err
	}
	files, err := s.Log.BookFiles(ctx, hash)
	return b, files, err
}

// start shows the text that a change begins with: of the rule's file, of a file, or of a
// change that was tried before.
func (s *site) start(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	b, files, err := s.inForce(ctx)
	if errors.Is(err, noBook) {
		return &frame.Page{Section: frame.More, Title: "Try a change", Lead: english.Sentences(wordNoBook, wordNoBookDo), Up: toRules}, nil
	}
	if err != nil {
		return nil, err
	}
	q := r.URL.Query()
	f := form.New(s.typist(r))
	name := fileOf(b, q.Get("rule"))
	if name == "" {
		name = q.Get("file")
	}
	if before := s.runs.get(q.Get("again")); before != nil {
		f = form.With(before.asked, s.typist(r))
		name = before.asked.Get("file")
		f.Field("text", "Text").Before(before.text)
	}
	return s.page(ctx, r, f, files, name, nil)
}

// fileOf is the file in which a rule or task stands; "" where there is none of the name.
func fileOf(b *rules.Book, rule string) string {
	for _, k := range b.Tasks {
		if k.Name == rule {
			return ran.File(k.At.File)
		}
	}
	for _, k := range b.Rules {
		if k.Name == rule {
			return ran.File(k.At.File)
		}
	}
	return ""
}

func (s *site) typist(r *frame.Request) form.Typist {
	return form.TypistOf(r.Viewer.Person, r.Viewer.Zone, r.Now, r.Viewer.Units())
}

// asking is the form, with what the check says of what was sent.
type asking struct {
	Form                         *form.Form
	File, Text, Of               *form.Field
	Vehicle, Tag, Days           *form.Field
	Files                        []string
	Begins                       string
	Checked                      *checked
	SampleSize, TagMost, Seconds int
}

// The ways to choose vehicles.
const (
	ofVehicle = "vehicle"
	ofTag     = "tag"
	ofSample  = "sample"
)

// fields are those of the form; files are of the book in force, and the text begins with
// the one named.
func (s *site) fields(ctx context.Context, f *form.Form, files []rules.File, name string) (*asking, error) {
	a := &asking{Form: f, SampleSize: sampleSize, TagMost: mostOfTag, Seconds: int(atMost.Seconds())}
	for _, file := range files {
		a.Files = append(a.Files, ran.File(file.Name))
	}
	if name == "" && len(a.Files) > 0 {
		name = a.Files[0]
	}
	a.Begins = name
	a.File, a.Text = f.Field("file", "Name of the file").Before(name), f.Field("text", "Text")
	for _, file := range files {
		if ran.File(file.Name) == name && !f.Typed() && a.Text.Value() == "" {
			a.Text.Before(string(file.Text))
		}
	}
	a.Of = f.Field("of", "Over which vehicles").Before(ofSample)
	a.Of.Choices = []form.Choice{{Value: ofSample, Label: fmt.Sprintf("a sample of %d", sampleSize)}, {Value: ofTag, Label: fmt.Sprintf("those of a tag, at most %d", mostOfTag)}, {Value: ofVehicle, Label: "one vehicle"}}
	a.Vehicle, a.Tag = f.Field("vehicle", "Vehicle"), f.Field("tag", "Tag")
	tags, err := s.tags(ctx)
	if err != nil {
		return nil, err
	}
	a.Tag.Choices = append(a.Tag.Choices, form.Choice{Label: "none"})
	for _, t := range tags {
		a.Tag.Choices = append(a.Tag.Choices, form.Choice{Value: t, Label: t})
	}
	a.Days = f.Field("days", "Over the last").Before("90")
	for _, d := range daysBack {
		a.Days.Choices = append(a.Days.Choices, form.Choice{Value: d, Label: d + " days"})
	}
	return a, nil
}

// page is the page with the form.
func (s *site) page(ctx context.Context, r *frame.Request, f *form.Form, files []rules.File, name string, c *checked) (*frame.Page, error) {
	a, err := s.fields(ctx, f, files, name)
	if err != nil {
		return nil, err
	}
	a.Checked = c
	return a.page()
}

func (a *asking) page() (*frame.Page, error) {
	p := &frame.Page{Section: frame.More, Title: "Try a change", Lead: wordLead, Up: toRules}
	if a.Form.Typed() && !a.Form.Right() {
		p.Title, p.Status = "Not tried: put this right first", http.StatusUnprocessableEntity
	}
	var err error
	p.Body, err = templates.Body("try", a)
	return p, err
}

// file is the text that was tried, to be saved.
func (s *site) file(_ context.Context, r *frame.Request) (*frame.Page, error) {
	run := s.runs.get(r.PathValue("id"))
	if run == nil {
		return nil, forgotten
	}
	return &frame.Page{File: &frame.File{Type: "application/yaml; charset=utf-8", Name: run.file, Body: []byte(run.text)}}, nil
}

// unix is a text with the line ends of files: forms send others.
func unix(text string) string { return strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(text) }
