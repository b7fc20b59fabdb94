// Package form is what people type into a page. A form keeps what was typed as it was
// typed; numbers and days are read as the person writes them; what is wrong is tied to
// its field, and what is only doubtful is asked back once.
//
// A page reads a form in three steps:
//
//	f := form.Read(r.PostForm, who)           // form.New(who) for an empty one
//	day := f.Field("day", "Day").Day()        // every field, in the order of the page
//	drained := f.Field("drained", "Fluid drained").Quantity(unit.Volume, 1000)
//	if !f.Right() { … show the page again, with status 422 }
//
// and shows it by the templates of [Templates]: form.summary, form.hidden, and one for
// each sort of field. Fields are read before the page is shown, so that the faults are
// known; a page that is opened for the first time reads an empty form, and shows it
// without its faults.
package form

import (
	"cmp"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"

	"telltale/notify/people"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Typist is who fills a form in, and where and when.
type Typist struct {
	// DecimalComma: 4,5 is four and a half; else 4.5 is.
	DecimalComma bool
	// Dates is the order of dates of figures, "6/6/2031".
	Dates people.DateOrder
	// Units are chosen unless somebody chooses others.
	Units unit.System
	// Zone is the vehicle's: its days are those of the form.
	Zone *time.Location
	Now  time.Time
}

// TypistOf is the person who fills in a form about a vehicle: its days are those of the
// zone, UTC where it is nil.
func TypistOf(p *people.Person, zone *time.Location, now time.Time, units unit.System) Typist {
	return Typist{p.DecimalComma, p.Dates, units, cmp.Or(zone, time.UTC), now}
}

// Today is the day of the vehicle's zone, as YYYY-MM-DD.
func (t Typist) Today() string { return t.Now.In(t.Zone).Format(time.DateOnly) }

// DayAfter is the day that many days after today, as YYYY-MM-DD; before it where days is
// below 0.
func (t Typist) DayAfter(days int) string {
	return t.Now.In(t.Zone).AddDate(0, 0, days).Format(time.DateOnly)
}

// Form is a form as somebody filled it in.
type Form struct {
	Typist
	// ID is made with the form, and what is entered by it is named after it: sent twice
	// it is entered once.
	ID string
	// Part tells the forms of one page apart, in the identities of their fields; "" where
	// there is one.
	Part string

	values  url.Values
	typed   bool // by somebody; else it is as it is first shown
	fields  []*Field
	general []string // faults of no field
	doubted []string // doubts of no field
	sure    []string // keys of the doubts that were shown
}

// The names of the fields that every form has.
const (
	idName   = "form"
	sureName = "sure"
)

var plainID = regexp.MustCompile(`^[0-9a-f]{20}$`)

// New is an empty form, with an identity of its own.
func New(t Typist) *Form { return &Form{Typist: t, ID: newID(), values: url.Values{}} }

// With is an empty form of which some values are filled in, as by a link.
func With(v url.Values, t Typist) *Form {
	f := New(t)
	for name, all := range v {
		if name != idName && name != sureName {
			f.values[name] = slices.Clone(all)
		}
	}
	return f
}

// Read is a form as it was sent. One without an identity gets one.
func Read(v url.Values, t Typist) *Form {
	f := &Form{Typist: t, ID: v.Get(idName), values: v, typed: true, sure: v[sureName]}
	if !plainID.MatchString(f.ID) {
		f.ID = newID()
	}
	return f
}

func newID() string {
	var b [10]byte
	_, _ = rand.Read(b[:]) // which does not fail
	return hex.EncodeToString(b[:])
}

// Typed reports whether somebody sent the form; else it is as it is first shown.
func (f *Form) Typed() bool { return f.typed }

// Field is the field of that name, and how the page calls it.
func (f *Form) Field(name, label string) *Field {
	for _, d := range f.fields {
		if d.Name == name {
			return d
		}
	}
	d := &Field{form: f, Name: name, Label: label}
	f.fields = append(f.fields, d)
	return d
}

// Fault notes what is wrong with the form as a whole, as a sentence.
func (f *Form) Fault(format string, args ...any) {
	f.general = append(f.general, english.Sentence(fmt.Sprintf(format, args...)))
}

// Doubt notes what of the form as a whole is asked back once, as a sentence.
func (f *Form) Doubt(format string, args ...any) {
	f.doubted = append(f.doubted, english.Sentence(fmt.Sprintf(format, args...)))
}

// Said is what is wrong with a field or, without one, with the form.
type Said struct {
	Field *Field // nil for the form as a whole
	Text  string // a sentence
}

// Faults are what must be put right: of the form, then of its fields in their order. A
// form that nobody sent has none.
func (f *Form) Faults() (out []Said) {
	if !f.typed {
		return nil
	}
	for _, text := range f.general {
		out = append(out, Said{nil, text})
	}
	for _, d := range f.fields {
		if d.fault != "" {
			out = append(out, Said{d, d.fault})
		}
	}
	return out
}

// all are the doubts, shown before or not, each with its key.
func (f *Form) all(do func(s Said, key string)) {
	if !f.typed {
		return
	}
	for _, text := range f.doubted {
		do(Said{nil, text}, keyOf("", text))
	}
	for _, d := range f.fields {
		if d.doubt != "" {
			do(Said{d, d.doubt}, d.key())
		}
	}
}

// Doubts are what is asked back, and was not shown to whoever sent the form.
func (f *Form) Doubts() (out []Said) {
	f.all(func(s Said, key string) {
		if !slices.Contains(f.sure, key) {
			out = append(out, s)
		}
	})
	return out
}

// Right reports whether the form was sent, with nothing wrong or left to ask back.
func (f *Form) Right() bool { return f.typed && len(f.Faults()) == 0 && len(f.Doubts()) == 0 }

// Asked are the keys of all doubts that the page shows, for its hidden fields: sent
// again they are meant.
func (f *Form) Asked() (out []string) {
	f.all(func(_ Said, key string) { out = append(out, key) })
	return out
}

// Title is the title of the page: that nothing was entered stands first.
func (f *Form) Title(title string) string {
	if f.typed && !f.Right() {
		return "Not entered yet: " + title
	}
	return title
}

// Verb is what stands on the button.
func (f *Form) Verb(verb string) string {
	if len(f.Faults()) == 0 && len(f.Doubts()) > 0 {
		return verb + " all the same"
	}
	return verb
}

// Values are all that was typed, without the form's own fields; in no order.
func (f *Form) Values() url.Values {
	out := url.Values{}
	for name, all := range f.values {
		if name != idName && name != sureName {
			out[name] = all
		}
	}
	return out
}

// maxLine bounds what is kept of a text.
const maxLine = 500

// line keeps what someone wrote to one line of a sensible length, without what no event
// may hold.
func line(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && !unicode.IsSpace(r) {
			return -1
		}
		return r
	}, s)
	s = english.OneLine(strings.ToValidUTF8(s, "\uFFFD"))
	if r := []rune(s); len(r) > maxLine {
		s = string(r[:maxLine])
	}
	return s
}

// keyOf is a doubt in a few letters: a value that was changed since is asked after again.
func keyOf(name, text string) string {
	sum := sha256.Sum256([]byte(name + "\x00" + text))
	return hex.EncodeToString(sum[:8])
}
