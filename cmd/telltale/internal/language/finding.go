package language

import (
	"context"
	"maps"
	"os"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"telltale/engine/event"
	"telltale/rules"
	"telltale/rules/source"
)

// Finding is one thing that the check says of a file.
type Finding struct {
	source.Fault
	// Question: it is not wrong, but deserves a second look.
	Question bool
	// ToFill: a figure is to be filled in there, or something else is worth knowing.
	ToFill bool
}

// Checked is what a folder's files come to.
type Checked struct {
	Findings []Finding
	Book     *rules.Book   // nil where the rules have faults
	Register []event.Event // none where it has faults
}

// Check checks a folder, of whose files those in open have another text than on the disk.
// Files are named by their whole paths.
type Check func(dir string, open map[string]string) Checked

// tell publishes what was found in a folder: of each open file, of each with a finding,
// and of each of which a finding stands that is gone.
func (s *server) tell(dir string, open map[string]document, c Checked) {
	found, tell := map[string][]Finding{}, map[string]bool{}
	for _, f := range c.Findings {
		found[f.File], tell[f.File] = append(found[f.File], f), true
	}
	for path := range open {
		tell[path] = true
	}
	s.mu.Lock()
	before := s.checked[dir]
	for _, f := range before.Findings {
		tell[f.File] = true
	}
	if c.Book == nil {
		c.Book = before.Book // whose names are still good to offer
	}
	if c.Register == nil {
		c.Register = before.Register
	}
	s.checked[dir] = c
	s.mu.Unlock()
	for _, path := range slices.Sorted(maps.Keys(tell)) {
		d, ok := open[path]
		if !ok {
			text, _ := os.ReadFile(path) // one that is gone has no line to point at
			d = document{uri: uriOf(path), text: string(text)}
		}
		// An editor that is gone needs to know nothing.
		_ = s.rpc.Notify(context.Background(), "textDocument/publishDiagnostics",
			diagnostics{URI: d.uri, Version: d.version, Diagnostics: diagnosed(d.text, found[path])})
	}
}

// diagnosed are findings as the editor shows them; an empty list clears what it showed.
func diagnosed(text string, findings []Finding) []diagnostic {
	out := []diagnostic{}
	for _, f := range findings {
		out = append(out, diagnosis(text, f))
	}
	return out
}

func diagnosis(text string, f Finding) diagnostic {
	d := diagnostic{Range: spanOf(text, f.Place, f.Width), Severity: severityError, Source: "telltale", Message: f.Text}
	switch {
	case f.Question:
		d.Severity = severityWarning
	case f.ToFill:
		d.Severity = severityInformation
	}
	if f.Hint != "" {
		d.Message += "\n" + f.Hint
	}
	return d
}

// actions are the cures within a range that need no thought.
func (s *server) actions(_ context.Context, p *actionQuestion) ([]codeAction, error) {
	d, c := s.at(p.Document)
	out := []codeAction{}
	for _, f := range c.Findings {
		shown := diagnosis(d.text, f)
		if f.Fix == nil || f.File != pathOf(p.Document.URI) || !shown.Range.touches(p.Range) {
			continue
		}
		edit := textEdit{spanOf(d.text, source.Place{Line: f.Fix.Line, Col: f.Fix.Col}, f.Fix.Width), f.Fix.Text}
		out = append(out, codeAction{Title: titleOf(f.Fault), Kind: "quickfix", Diagnostics: []diagnostic{shown}, Preferred: true,
			Edit: workspaceEdit{map[string][]textEdit{p.Document.URI: {edit}}}})
	}
	return out, nil
}

// titleOf is what an editor calls a cure: what it writes or, where that is nothing to be
// seen, what the hint says of it.
func titleOf(f source.Fault) string {
	if strings.TrimSpace(f.Fix.Text) != "" || f.Hint == "" {
		return "Write " + f.Fix.Text
	}
	first, size := utf8.DecodeRuneInString(f.Hint)
	return string(unicode.ToUpper(first)) + f.Hint[size:]
}

// at is a document as it is open, and what its folder came to.
func (s *server) at(id documentID) (document, Checked) {
	s.mu.Lock()
	defer s.mu.Unlock()
	path := pathOf(id.URI)
	return s.open[path], s.checked[folderOf(path)]
}
