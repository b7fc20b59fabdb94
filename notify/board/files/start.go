package files

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"strings"

	"telltale/engine/intake/table"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
	"telltale/rules/source"
)

// start asks for a mapping and a table.
func (s *site) start(_ context.Context, r *frame.Request) (*frame.Page, error) {
	return s.asked(form.With(r.URL.Query(), s.typist(r)), "", r.MayAnywhere(rights.Watch))
}

// ownMapping is the choice of a mapping that is sent along.
const ownMapping = "-"

// asked is the page with its form, and with what is wrong in a mapping; who watches is told as
// well which of the folder cannot be read.
func (s *site) asked(f *form.Form, faulty string, watches bool) (*frame.Page, error) {
	list, err := s.folder.list()
	if err != nil {
		return nil, err
	}
	data := struct {
		Form                *form.Form
		Mapping, Own, Table *form.Field
		Broken              []offered
		Folder              bool
		Most, Faulty        string
	}{Form: f, Faulty: faulty, Mapping: f.Field("mapping", "Mapping"), Own: f.Field("own", "Mapping of your own"), Table: f.Field("table", "Table"),
		Folder: s.folder.dir != "", Most: wordMost}
	for _, o := range list {
		if o.Fault != "" {
			if watches {
				data.Broken = append(data.Broken, o)
			}
			continue
		}
		data.Mapping.Choices = append(data.Mapping.Choices, form.Choice{Value: o.Name, Label: o.Name + ": " + o.Is})
	}
	data.Mapping.Choices = append(data.Mapping.Choices, form.Choice{Value: ownMapping, Label: wordOwnMapping})
	data.Mapping.Before(data.Mapping.Choices[0].Value)
	body, err := templates.Body("start", data)
	p := page("Tables", wordStart)
	p.Up = frame.Link{Words: "Enter", Path: "/enter"}
	p.Body = body
	return p, err
}

// upload takes a table and its mapping, and goes on to the dry run.
func (s *site) upload(_ context.Context, r *frame.Request) (*frame.Page, error) {
	if err := multi(r); err != nil {
		return nil, err
	}
	f := form.Read(r.PostForm, s.typist(r))
	name, text := s.mapping(r, f)
	faulty := ""
	if text != nil {
		if _, err := table.ReadMapping(name, text); err != nil {
			f.Field("mapping", "Mapping").Fault(wordFaulty)
			faulty = firstFaults(err)
		}
	}
	h := s.sentTable(r, f)
	if len(f.Faults()) > 0 {
		p, err := s.asked(f, faulty, r.MayAnywhere(rights.Watch))
		if err != nil {
			return nil, err
		}
		return unread(p), nil
	}
	h.named, h.mapped = name, text
	return &frame.Page{To: frame.Path("files", "dry", s.held.put(h).hash), Nothing: true}, nil
}

// firstFaults are those that a page has room for.
func firstFaults(err error) string {
	const shown, room = 20, 16 << 10
	text := err.Error()
	if all, ok := errors.AsType[source.Faults](err); ok && len(all) > shown {
		text = fmt.Sprintf("%v\n… and %d more", all[:shown], len(all)-shown)
	}
	if len(text) > room {
		text = strings.ToValidUTF8(text[:room], "") + "…"
	}
	return text
}

// mapping is the one that was chosen, or sent along.
func (s *site) mapping(r *frame.Request, f *form.Form) (name string, text []byte) {
	chosen := f.Field("mapping", "Mapping")
	if chosen.Value() != ownMapping {
		text, err := s.folder.read(chosen.Value())
		if err != nil {
			chosen.Fault("there is no mapping %q in the folder", chosen.Text())
		}
		return chosen.Value(), text
	}
	own := f.Field("own", "Mapping of your own")
	text, head := s.sentFile(r, own, maxMapping)
	if head == nil {
		return "", nil
	}
	return plainName(head.Filename, "mapping.yaml"), text
}

// sentTable is the table that was sent.
func (s *site) sentTable(r *frame.Request, f *form.Form) *held {
	text, head := s.sentFile(r, f.Field("table", "Table"), maxFile)
	if head == nil {
		return nil
	}
	return &held{who: r.Viewer.Source(), name: plainName(head.Filename, "table.csv"), table: text}
}

// sentFile is the file that was sent in a field; what is wrong with it is noted there.
func (s *site) sentFile(r *frame.Request, d *form.Field, most int64) ([]byte, *multipart.FileHeader) {
	file, head, err := r.FormFile(d.Name)
	if err != nil {
		d.Fault("choose the file")
		return nil, nil
	}
	defer file.Close()
	if head.Size > most {
		d.Fault("it has %d KiB, and may have %d", head.Size>>10, most>>10)
		return nil, nil
	}
	text, err := io.ReadAll(file)
	switch {
	case err != nil:
		d.Fault("it could not be read; choose it again")
		return nil, nil
	case len(text) == 0:
		d.Fault("it is empty")
		return nil, nil
	}
	return text, head
}

// multi reads a form with files, all of it into memory.
func multi(r *frame.Request) error {
	err := r.ParseMultipartForm(maxUpload)
	if _, large := errors.AsType[*http.MaxBytesError](err); large {
		return &frame.Fault{Status: http.StatusRequestEntityTooLarge, Title: wordTooLarge, Words: wordMost}
	}
	if err != nil {
		return &frame.Fault{Status: http.StatusBadRequest, Title: wordUnread}
	}
	return nil
}
