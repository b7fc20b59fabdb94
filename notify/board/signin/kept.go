package signin

import (
	"maps"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strings"

	"telltale/notify/board/frame"
	"telltale/notify/page"
)

// kept is a form that somebody sent who was not signed in any more. It goes from page to
// page of signing in as a hidden field, and is sent to where it was meant for by whoever has
// signed in and presses the button: the board stores nothing of it.
type kept struct {
	To     string // the address that it was sent to
	Form   string // as it was sent
	Fields []field
}

type field struct{ Name, Value string }

// mostKept bounds what is kept of a form, in bytes: all but the largest.
const mostKept = 32 << 10

// keep is the form of a request; one that is too large has nothing but its absence. Nil
// where none can be sent again.
func keep(r *frame.Request) *kept { return keptOf(r.URL.RequestURI(), r.PostForm) }

// keptIn is what a page of signing in has brought along.
func keptIn(r *http.Request) *kept {
	form, err := url.ParseQuery(r.PostForm.Get("kept"))
	if err != nil {
		return nil
	}
	return keptOf(r.PostForm.Get("kept-to"), form)
}

func keptOf(to string, form url.Values) *kept {
	k := &kept{Form: form.Encode()}
	if len(k.Form) > mostKept {
		return &kept{}
	}
	if k.To = ownPath(to); k.To == "/" {
		return nil // no form is sent there
	}
	for _, name := range slices.Sorted(maps.Keys(form)) {
		for _, v := range form[name] {
			k.Fields = append(k.Fields, field{name, v})
		}
	}
	return k
}

// ownPath is an address of this board to go on to, "/" in place of any other: whoever signs
// in must not land elsewhere by an address that somebody made (ASVS 5.0.0, 3.7.2). The pages
// of signing in and out are none.
func ownPath(to string) string {
	const most = 2000
	u, err := url.Parse(to)
	switch {
	case err != nil, len(to) > most, u.Scheme != "", u.Host != "", u.User != nil, u.Opaque != "",
		!strings.HasPrefix(to, "/"), strings.HasPrefix(path.Clean(u.Path)+"/", frame.SignIn+"/"), path.Clean(u.Path) == signOutPath,
		strings.Contains(to, "\\"), strings.HasPrefix(u.Path, "//"), path.Clean(u.EscapedPath()) != u.EscapedPath(), page.Clean(to, most) != to:
		return "/"
	}
	u.Fragment, u.RawFragment = "", ""
	return u.String()
}

// onward goes on after signing in: to the form that was kept, else to a page.
func (d *Door) onward(r *frame.Request, to, who string) (*frame.Page, error) {
	k := keptIn(r.Request)
	if k == nil || k.To == "" {
		return &frame.Page{To: to}, nil
	}
	name := strings.TrimPrefix(strings.TrimPrefix(who, ofPeople), ofDevices)
	if p := d.People().Person(name); p != nil {
		name = p.Name
	}
	p := &frame.Page{Title: wordIn, Lead: wordInAs + page.Clean(name, 200) + ". " + wordStillHere}
	var err error
	p.Body, err = templates.Body("onward", k)
	return p, err
}
