package files

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"slices"
	"strconv"

	"telltale/engine/follows"
	"telltale/engine/intake/table"
	"telltale/engine/intake/table/chosen"
	"telltale/engine/stream/service"
	"telltale/engine/stream/tables"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// newMapping asks for a table to be looked at.
func (s *site) newMapping(_ context.Context, r *frame.Request) (*frame.Page, error) {
	return s.askTable(form.New(s.typist(r)))
}

func (s *site) askTable(f *form.Form) (*frame.Page, error) {
	data := struct {
		Form       *form.Form
		Of, Table  *form.Field
		Most, Kept string
	}{Form: f, Of: f.Field("of", "What is in it?").Before(string(chosen.Readings)), Table: f.Field("table", "Table"), Most: wordMost}
	data.Of.Choices = sortChoices()
	p := page("Make a mapping", wordMapping)
	var err error
	p.Body, err = templates.Body("new", data)
	return p, err
}

func sortChoices() (out []form.Choice) {
	for _, s := range chosen.Sorts {
		out = append(out, form.Choice{Value: string(s), Label: sorts[string(s)]})
	}
	return out
}

// look takes the table.
func (s *site) look(_ context.Context, r *frame.Request) (*frame.Page, error) {
	if err := multi(r); err != nil {
		return nil, err
	}
	f := form.Read(r.PostForm, s.typist(r))
	h := s.sentTable(r, f)
	if !slices.Contains(chosen.Sorts, chosen.Sort(f.Field("of", "What is in it?").Value())) {
		f.Field("of", "What is in it?").Fault("choose one")
	}
	if len(f.Faults()) > 0 {
		p, err := s.askTable(f)
		if err != nil {
			return nil, err
		}
		return unread(p), nil
	}
	h = s.held.put(h)
	w := table.Seems(h.table)
	return &frame.Page{To: newAt(h.hash, chosen.Sort(f.Field("of", "").Value()), w), Nothing: true}, nil
}

// newAt is the address of the page that asks what the columns mean.
func newAt(hash string, of chosen.Sort, w table.Writing) string {
	q := url.Values{"of": {string(of)}, "encoding": {w.Encoding}, "delimiter": {w.Delimiter}, "heading": {strconv.Itoa(w.Heading)}}
	return frame.Path("files", "new", hash) + "?" + q.Encode()
}

// asWritten is what the table is of, and how it is written, as the address or the form says.
func asWritten(v url.Values) (chosen.Sort, table.Writing) {
	of, w := chosen.Readings, table.Writing{Encoding: "utf-8", Delimiter: "comma", Heading: 1}
	if s := chosen.Sort(v.Get("of")); slices.Contains(chosen.Sorts, s) {
		of = s
	}
	if e := v.Get("encoding"); slices.Contains(table.Encodings(), e) {
		w.Encoding = e
	}
	if d := v.Get("delimiter"); slices.Contains(table.Delimiters(), d) {
		w.Delimiter = d
	}
	if n, err := strconv.Atoi(v.Get("heading")); err == nil && n >= 1 && n <= 1000 {
		w.Heading = n
	}
	return of, w
}

// shownCells is how many cells of a column are shown.
const shownCells = 3

// mapped is the page that asks what the columns mean.
type mapped struct {
	*fields
	Hash, File, Named  string
	Sorts              []form.Choice
	Encodings, Parted  []string
	Rows               int
	Unreadable         string // why the table cannot be read as it is said to be written
	More               int    // columns that are not asked after
	Units, Known       []string
	Text               string // of the mapping; "" until it was asked for
	Tried              bool
	Faults             table.Faults // of the rows
	MoreFaults, Events int
	First              []rowSays
	Folder, Gone       bool
}

// columns shows the columns of a table.
func (s *site) columns(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	h := s.kept(r)
	if h == nil {
		return nil, forgotten
	}
	of, w := asWritten(r.URL.Query())
	data, err := s.mapped(ctx, r, h, of, w, form.New(s.typist(r)), nil)
	if err != nil {
		return nil, err
	}
	return data.page()
}

func (m *mapped) page() (*frame.Page, error) {
	p := page("What the columns mean", english.Sentences("the table "+m.File+" has "+english.Plural(m.Rows, "row"), wordMapping))
	if m.Gone {
		p.Lead = wordNoTable
	}
	var err error
	p.Body, err = templates.Body("columns", m)
	return p, err
}

// mapped is the page's own part; h is nil where the table is held no more, and then the
// headings are those that were sent.
func (s *site) mapped(ctx context.Context, r *frame.Request, h *held, of chosen.Sort, w table.Writing, f *form.Form, sent []string) (*mapped, error) {
	m := &mapped{Named: named[string(of)], Sorts: sortChoices(), Encodings: table.Encodings(), Parted: table.Delimiters(), Folder: s.folder.dir != "" && r.MayAnywhere(rights.Watch), Gone: h == nil}
	headings, first := sent, [][]string(nil)
	if h != nil {
		m.Hash, m.File = h.hash, h.name
		looked, err := table.Look(h.name, bytes.NewReader(h.table), w, shownCells)
		if faults, wrong := errors.AsType[table.Faults](err); wrong {
			m.Unreadable = english.Sentence(faults[0].Text)
			looked = &table.Looked{}
		} else if err != nil {
			return nil, err
		}
		headings, first, m.Rows = looked.Headings, looked.First, looked.Rows
	}
	m.More = max(0, len(headings)-maxColumns)
	m.fields = newFields(f, of, w, headings, first)
	m.Units = unitsOf(of)
	var err error
	m.Known, err = s.names(ctx, r, of)
	return m, err
}

// unitsOf are the units that the numbers of such a table may have.
func unitsOf(of chosen.Sort) (out []string) {
	for _, m := range of.Meanings() {
		if !m.Number {
			continue
		}
		for _, u := range unit.Names(m.Kinds...) {
			if !slices.Contains(out, u) {
				out = append(out, u)
			}
		}
	}
	return out
}

// names are those of meters, analytes or measures that a column may have.
func (s *site) names(ctx context.Context, r *frame.Request, of chosen.Sort) (out []string, err error) {
	if of == chosen.Samples {
		out = analytes.Names()
	}
	list, err := service.Register.Of(ctx, s.Service, r.Question())
	if _, other := frame.Missing(err); other != nil {
		return nil, err
	}
	for _, v := range list {
		for _, m := range v.Meters {
			if !slices.Contains(out, m.Name) && len(out) < 300 {
				out = append(out, m.Name)
			}
		}
	}
	if of == chosen.Measures && len(list) > 0 {
		measures, err := tables.Measures(ctx, s.at(), list[0].Vehicle)
		if err != nil {
			return nil, err
		}
		for name := range measures {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out, nil
}

// choose makes the mapping that was chosen, and shows it, saves it or goes on with it.
func (s *site) choose(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	h := s.kept(r)
	f := form.Read(r.PostForm, s.typist(r))
	of, w := asWritten(r.PostForm)
	var sentHeadings []string
	for i := 1; r.PostForm.Has(fmt.Sprintf("c%d-heading", i)) && i <= maxColumns; i++ {
		sentHeadings = append(sentHeadings, r.PostForm.Get(fmt.Sprintf("c%d-heading", i)))
	}
	data, err := s.mapped(ctx, r, h, of, w, f, sentHeadings)
	if err != nil {
		return nil, err
	}
	name := data.SaveAs.Text()
	if name == "" {
		name = "mapping"
	}
	m, text, faults := data.chosen().Mapping(name + ".yaml")
	data.blame(faults)
	data.Text = string(text)
	do := r.PostForm.Get("do")
	if do == "save" { // the folder is everybody's
		if err := s.MayAnywhere(r, rights.Watch); err != nil {
			return nil, err
		}
		s.save(data, text)
	}
	if len(f.Faults()) > 0 {
		p, err := data.page()
		if err != nil {
			return nil, err
		}
		return unread(p), nil
	}
	switch {
	case do == "text":
		return &frame.Page{File: &frame.File{Type: "application/yaml; charset=utf-8", Name: name + ".yaml", Body: text}}, nil
	case do == "save":
		return &frame.Page{To: "/files?" + url.Values{"mapping": {name + ".yaml"}}.Encode(), Noted: fmt.Sprintf(wordMade, name, hashOf(string(text))[:12])}, nil
	case do == "go" && h != nil:
		return &frame.Page{To: frame.Path("files", "dry", s.held.put(&held{who: h.who, name: h.name, table: h.table, named: name + ".yaml", mapped: text}).hash), Nothing: true}, nil
	}
	if h != nil {
		err = s.try(ctx, r, data, m, h)
	}
	if err != nil {
		return nil, err
	}
	return data.page()
}

// save writes the mapping into the folder; what keeps it from that is noted at its name.
func (s *site) save(m *mapped, text []byte) {
	name := m.SaveAs.Text()
	switch {
	case s.folder.dir == "":
		m.SaveAs.Fault("there is no folder to save it in; download it")
	case !saveable.MatchString(name):
		m.SaveAs.Fault("give it a name of %s", wordSaveAs)
	case len(m.Form.Faults()) > 0: // which stand at their fields
	default:
		err := s.folder.save(name+".yaml", text)
		if errors.Is(err, fs.ErrExist) {
			m.SaveAs.Fault("there is a mapping of that name already, and it stays as it is: choose another name")
		} else if err != nil {
			s.Logger.Error("saving a mapping", "name", name, "error", err)
			m.SaveAs.Fault("it could not be saved; download it")
		}
	}
}

// try reads the table by the mapping, and shows what its first rows come to.
func (s *site) try(ctx context.Context, r *frame.Request, data *mapped, m *table.Mapping, h *held) error {
	done, err := s.alone(ctx)
	if err != nil {
		return err
	}
	defer done()
	fleet, err := tables.Fleet(ctx, s.at(), r.Question().Sees)
	if err != nil {
		return err
	}
	data.Tried = true
	t, err := m.Read(h.name, bytes.NewReader(h.table), fleet)
	faults, wrong := errors.AsType[table.Faults](err)
	switch {
	case wrong:
		data.Faults, data.MoreFaults = faults[:min(len(faults), shownFaults)], max(0, len(faults)-shownFaults)
		t, err = m.ReadFirst(h.name, bytes.NewReader(h.table), fleet, shownRows)
		if _, wrong := errors.AsType[table.Faults](err); wrong {
			return nil
		}
	case err == nil:
		data.Events = len(t.Events)
	}
	if err != nil {
		return err
	}
	for i := range t.Events[:min(len(t.Events), shownRows)] {
		ev := &t.Events[i]
		data.First = append(data.First, rowSays{ev.Line, ev.Vehicle, r.Viewer.Day(ev.Time), follows.What(ev, unit.System{})})
	}
	return nil
}
