package sheet

import (
	"telltale/engine/sample"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/wording"
	"telltale/rules/english"
)

// says writes texts for whoever looks: in their spelling but for names of others, with
// their dates, and nothing in them that would turn or hide what stands beside.
type says struct {
	wording.Reader
	names []string
}

func saysTo(v frame.Viewer, of *frame.Vehicle) says {
	names := []string{of.ID, of.Name, of.Plate}
	for _, c := range of.Components {
		names = append(names, c.Name, c.Fluid)
	}
	return says{wording.Reader{Person: v.Person}.On(of.Reads), names}
}

// text is one as it is.
func (s says) text(text string) string { return page.Clean(text, page.MaxText) }

// ours is a text of our own.
func (s says) ours(text string) string { return s.text(s.Ours(s.DatesIn(text), s.names...)) }

// fact is what is said under a label, and what belongs to it.
type fact struct {
	page.Line
	Under []string
}

// facts are the parts of what is said of a sheet, as sentences.
func (s says) facts(parts []sample.Part) (out []fact) {
	for _, p := range parts {
		f := fact{Line: page.Line{Label: english.Capital(s.ours(p.Label)), Text: english.Sentence(s.ours(p.Text))}}
		for _, u := range p.Under {
			f.Under = append(f.Under, english.Sentence(s.ours(u.Text)))
		}
		out = append(out, f)
	}
	return out
}

// unseen is what was not judged, below a heading that says so: each as it is.
func (s says) unseen(parts []sample.Part) []page.Line {
	out := s.lines(parts)
	for i := range out {
		if out[i].Label == english.Capital(sample.LabelNotJudged) {
			out[i].Label = ""
		}
	}
	return out
}

// lines are facts that nothing belongs to.
func (s says) lines(parts []sample.Part) (out []page.Line) {
	for _, f := range s.facts(parts) {
		out = append(out, f.Line)
	}
	return out
}
