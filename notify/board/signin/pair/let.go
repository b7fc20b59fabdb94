package pair

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"time"

	"telltale/engine/stream/sessions"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/board/limits"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// asking is a page of whoever lets a tablet in.
type asking struct {
	Form    *form.Form
	Digits  *form.Field
	Name    *form.Field
	ID      *form.Field
	Entry   *form.Field
	Code    string // the digits, and which tablet shows them, once they were found
	Tablet  string
	Example string
	None    string
}

func (s *Room) form(r *frame.Request, sent url.Values) *asking {
	who := form.TypistOf(r.Viewer.Person, r.Viewer.Zone, r.Now, unit.Metric)
	a := &asking{Form: form.New(who)}
	if sent != nil {
		a.Form = form.Read(sent, who)
	}
	return a
}

// typing is the page on which digits are typed.
func (s *Room) typing(_ context.Context, r *frame.Request) (*frame.Page, error) {
	a := s.form(r, nil)
	a.Digits = a.Form.Field("digits", wordDigits)
	lead := wordTypeLead
	if id := r.URL.Query().Get("let"); ids.MatchString(id) {
		lead = fmt.Sprintf(wordDone, id)
	}
	return s.typingPage(a, lead, 0)
}

func (s *Room) typingPage(a *asking, lead string, status int) (*frame.Page, error) {
	if len(s.People().Pairable()) == 0 {
		a.None, a.Example = wordNone, Example
	}
	p := &frame.Page{Section: frame.More, Title: a.Form.Title(wordType), Lead: lead, Status: status, Up: frame.Link{Words: "People", Path: "/people"}}
	var err error
	p.Body, err = templates.Body("typing", a)
	return p, err
}

// typed looks which tablet shows the digits. Each time counts, whatever was typed.
func (s *Room) typed(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a := s.form(r, r.PostForm)
	a.Digits = a.Form.Field("digits", wordDigits)
	code := strings.Join(strings.FieldsFunc(a.Digits.Value(), func(c rune) bool { return c == ' ' || c == '-' || c == '\u00a0' }), "")
	if !six(code) {
		a.Digits.Fault(wordSix)
		return s.typingPage(a, "", http.StatusUnprocessableEntity)
	}
	if wait := limits.Take(s.Wall(), limits.Use{Of: s.tries, Key: r.Viewer.Source()}); wait > 0 {
		a.Digits.Fault(wordTries, english.Plural(int((wait+time.Minute-1)/time.Minute), "minute"))
		return s.typingPage(a, "", http.StatusTooManyRequests)
	}
	var w waiting
	_, err := s.Sessions.Get(ctx, key(code), s.Wall(), &w)
	if errors.Is(err, sessions.ErrNone) || err == nil && w.Is != nil {
		a.Digits.Fault(wordWrong)
		return s.typingPage(a, "", http.StatusUnprocessableEntity)
	} else if err != nil {
		return nil, err
	}
	named := s.form(r, nil)
	named.Code, named.Tablet = code, w.Tablet
	return s.namingPage(r, named, &w, 0)
}

// ids are those of tablets: they stand in the source of events.
var ids = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

// fields are those of the second page.
func (s *Room) fields(a *asking) {
	a.Name = a.Form.Field("name", "Name").Need()
	a.Name.Hint = wordNameHint
	a.ID = a.Form.Field("id", "Id")
	a.ID.Hint = wordIDHint
	a.Entry = a.Form.Field("entry", "What it may do").Need()
	for _, e := range s.People().Pairable() {
		a.Entry.Choices = append(a.Entry.Choices, form.Choice{Value: e, Label: e})
	}
}

func (s *Room) namingPage(r *frame.Request, a *asking, w *waiting, status int) (*frame.Page, error) {
	if a.Name == nil {
		s.fields(a)
	}
	p := &frame.Page{Section: frame.More, Title: a.Form.Title(wordIsItThis), Status: status, Up: frame.Link{Words: wordType, Path: typePath},
		Lead: fmt.Sprintf(wordThis, w.Device, w.Asked.In(r.Viewer.Zone).Format("15:04"), cmp.Or(w.From, wordNowhere))}
	var err error
	p.Body, err = templates.Body("naming", a)
	return p, err
}

// let lets a tablet in: it becomes what was chosen once somebody presses on it.
func (s *Room) let(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a := s.form(r, r.PostForm)
	a.Code, a.Tablet = r.PostForm.Get("code"), r.PostForm.Get("tablet")
	var w waiting
	if !six(a.Code) {
		return nil, gone
	}
	mark, err := s.Sessions.Get(ctx, key(a.Code), s.Wall(), &w)
	switch {
	case errors.Is(err, sessions.ErrNone), err == nil && (w.Tablet != a.Tablet || w.Is != nil):
		return nil, gone // its digits may be another's by now
	case err != nil:
		return nil, err
	}
	is, err := s.read(ctx, a)
	if err != nil {
		return nil, err
	}
	if !a.Form.Right() {
		return s.namingPage(r, a, &w, http.StatusUnprocessableEntity)
	}
	is.By = r.Viewer.Source()
	w.Is = is
	if _, err := s.Sessions.Update(ctx, mark, w, s.Wall()); errors.Is(err, sessions.ErrChanged) {
		return nil, gone
	} else if err != nil {
		return nil, err
	}
	return &frame.Page{To: typePath + "?let=" + is.ID, Noted: ofDevices + is.ID + ", " + is.Entry}, nil
}

var gone = &frame.Fault{Status: http.StatusConflict, Title: wordGone}

// read reads what the tablet shall be.
func (s *Room) read(ctx context.Context, a *asking) (*tablet, error) {
	s.fields(a)
	is := &tablet{Name: a.Name.Text(), ID: strings.ToLower(a.ID.Text()), Entry: a.Entry.Choose()}
	if len([]rune(is.Name)) > mostName {
		a.Name.Fault("write at most %d letters", mostName)
	}
	if is.ID == "" {
		is.ID = ofName(is.Name)
	}
	if !ids.MatchString(is.ID) || len(is.ID) > mostID {
		if is.Name != "" {
			a.ID.Fault(wordLetters)
		}
		return is, nil
	}
	err := s.taken(ctx, is.ID)
	if errors.Is(err, errTaken) {
		a.ID.Fault(wordIDTaken)
		err = nil
	}
	return is, err
}

// ofName makes an id of a name: "North bay 2" is north-bay-2.
func ofName(name string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(name), func(c rune) bool { return (c < 'a' || c > 'z') && (c < '0' || c > '9') }), "-")
}
