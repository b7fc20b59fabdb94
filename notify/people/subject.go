package people

import (
	"strings"

	"gopkg.in/yaml.v3"
)

// subjectOf reads what the fleet's own sign-in knows a person by: at most 255 ASCII
// characters (OpenID Connect Core 1.0, 2), compared as they are.
func (r *reader) subjectOf(n *yaml.Node) string {
	s, ok := r.Given(n, "subject")
	if !ok {
		return ""
	}
	if len(s) > 255 || strings.IndexFunc(s, func(c rune) bool { return c < ' ' || c > '~' }) >= 0 {
		r.Fault(n, "copy it from the page that says nobody is known by it", "a subject has at most 255 ASCII characters")
	}
	for _, p := range r.people {
		if p.Subject == s {
			r.Fault(n, "", "subject: %q is known by the same", p.ID)
		}
	}
	return s
}

// Subject is whom the fleet's own sign-in knows by a subject; nil where there is nobody.
func (d *Directory) Subject(subject string) *Person {
	for _, p := range d.people {
		if subject != "" && p.Subject == subject {
			return p
		}
	}
	return nil
}
