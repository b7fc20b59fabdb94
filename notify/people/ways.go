package people

import (
	"net/mail"
	"net/url"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/notify/page"
	"telltale/rules/source"
)

// Mail is the way that is for people; the others are for their programs, which get
// the transitions as they are.
const Mail = "mail"

// ways are those by which someone can be told, each with how its address is read.
var ways = []struct {
	name string
	read func(r *reader, n *yaml.Node, p *Person) string
}{{Mail, (*reader).address}, {"webhook", (*reader).webhook}, {"nats", (*reader).subject}, {"file", (*reader).folder}}

// WayNames are the names of the ways by which people and programs can be told.
func WayNames() (names []string) {
	for _, w := range ways {
		names = append(names, w.name)
	}
	return names
}

// Ways are those by which the person can be told.
func (p *Person) Ways() []string {
	return slices.DeleteFunc(WayNames(), func(way string) bool { return p.To[way] == "" })
}

func (r *reader) ways(m map[string]*yaml.Node, p *Person) map[string]string {
	to := map[string]string{}
	for _, w := range ways {
		if n := m[w.name]; n != nil {
			to[w.name] = w.read(r, n, p)
		}
	}
	return to
}

// address takes a bare address in ASCII. Others would need every server on the
// way to speak SMTPUTF8 (RFC 6531), which cannot be known at load.
func (r *reader) address(n *yaml.Node, _ *Person) string {
	s, ok := r.Given(n, "mail")
	if !ok {
		return ""
	}
	a, err := mail.ParseAddress(s)
	switch {
	case err == nil && a.Name != "":
		r.Fault(n, "write "+a.Address+"; the name belongs in `name`", "mail %q is more than an address", s)
	case err != nil || a.Address != s || len(s) > 254 || strings.ContainsAny(s, "\"\\ "):
		r.Fault(n, "", "mail %q is not an address like ines@example.org", s)
	case strings.IndexFunc(s, func(c rune) bool { return c > 126 || c < 33 }) >= 0:
		r.Fault(n, "write the domain in its xn-- form", "mail %q has letters beyond ASCII", s)
	}
	return s
}

func (r *reader) webhook(n *yaml.Node, p *Person) string {
	w := r.Mapping(n, "webhook", "url", "secret file")
	to := r.Text(w["url"], "url")
	p.SecretFile = r.Text(w["secret file"], "secret file")
	r.on = append(r.on, onDisk{w["secret file"], p.SecretFile, ofSecret})
	u, err := url.Parse(to)
	if err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Host == "" || u.User != nil || len(to) > 2000 {
		r.Fault(n, "write it like https://fleet.example.org/hook, without a password", "webhook url %q cannot be called", page.Clean(to, 200))
	}
	if p.SecretFile == "" {
		r.Fault(n, "name a file that holds whsec_ and the secret in base64", "webhook has no secret file to sign with")
	}
	return to
}

func (r *reader) subject(n *yaml.Node, _ *Person) string {
	s := r.Text(n, "nats")
	if s != "" && (strings.ContainsAny(s, " *>\t\r\n") || slices.Contains(strings.Split(s, "."), "") || s == "telltale" || strings.HasPrefix(s, "telltale.") || strings.HasPrefix(s, "$")) {
		r.Fault(n, "write it like fleet.alarms", "nats %q is not a subject of your own", page.Clean(s, 200))
	}
	return s
}

func (r *reader) folder(n *yaml.Node, _ *Person) string {
	path := r.Text(n, "file")
	r.on = append(r.on, onDisk{n, path, ofFolder})
	return path
}

// onDisk is a file or folder that the directory names, where it stands.
type onDisk struct {
	at   *yaml.Node
	path string
	is   onDiskKind
}

// onDiskKind is what lies there: the secret of a webhook, a folder to write to, or what a
// program's token is known by.
type onDiskKind uint8

const (
	ofSecret onDiskKind = iota
	ofFolder
	ofToken
)

var onDiskFaults = [...]struct{ text, hint string }{
	ofSecret: {"the secret file %q cannot be used: %v", "it holds whsec_ and the secret in base64; relative paths begin in the fleet's folder"},
	ofFolder: {"the folder %q cannot be written to: %v", "make it, or let the service write there"},
	ofToken:  {"the token file %q cannot be used: %v", "it holds the line that telltale programs add --token prints; relative paths begin in the fleet's folder"},
}

// Check looks at the files and folders that people.yaml names: secret says what is wrong
// with the file of a secret, folder what hinders writing into a folder, token what is wrong
// with the file of a program's token. What they say is a source.Faults.
func (d *Directory) Check(secret, folder, token func(path string) error) error {
	var faults source.Faults
	for _, o := range d.on {
		look := [...]func(string) error{ofSecret: secret, ofFolder: folder, ofToken: token}[o.is]
		if err := look(o.path); err != nil {
			say := onDiskFaults[o.is]
			faults = append(faults, d.file.NewFault(o.at, say.hint, say.text, o.path, err))
		}
	}
	if faults == nil {
		return nil
	}
	return faults.Sorted()
}
