package enter

import (
	"context"
	"slices"
	"time"

	"telltale/engine/stream/audit"
	"telltale/notify/board/form"
)

// whoDid is who did the work: on one's own device whoever looks, unless they name another. A
// workshop's tablet is no one person, so somebody must be named there: one of those who were
// named on it in the last month, or another.
type whoDid struct {
	One   *form.Field // of those; nil where there are none, or on one's own device
	Named *form.Field
}

// another is the choice of who is none of those.
const another = "-"

func (s site) whoDid(ctx context.Context, a *asked) whoDid {
	w := whoDid{Named: a.form.Field("by", "Who did it").Before(byOf(a.r.Viewer))}
	w.Named.Suggest = s.names()
	if in := a.r.Viewer.SignedIn; in == nil || !in.Tablet {
		return w
	}

	w.Named.Before("")
	lately := s.lately(ctx, a.r.Viewer.Source())
	if w.Named.Needed = lately == nil; lately == nil {
		return w
	}
	w.Named.Label = "The name, if it was somebody else"
	w.One = a.form.Field("who", "Who did it")
	for _, name := range lately {
		w.One.Choices = append(w.One.Choices, form.Choice{Value: name, Label: name})
	}
	w.One.Choices = append(w.One.Choices, form.Choice{Value: another, Label: "somebody else"})
	return w
}

// text is the name; that nobody is named is a fault where somebody must be.
func (w whoDid) text() string {
	if w.One == nil {
		return w.Named.Text()
	}
	if name := w.Named.Text(); name != "" {
		return name
	}
	w.One.Needed = true
	switch name := w.One.Choose(); name {
	case another:
		w.Named.Fault("who did it is missing")
		return ""
	default:
		return name
	}
}

const (
	// mostNames is how many names are offered, and lookedAt among how many entries they are
	// looked for.
	mostNames = 8
	lookedAt  = 200
	month     = 30 * 24 * time.Hour
)

// lately are those who were named as having done work in entries of a tablet, the last one
// first. Where the trail does not answer there are none: a name can be typed.
func (s site) lately(ctx context.Context, source string) (names []string) {
	if s.Audit == nil {
		return nil
	}
	p, err := s.Audit.List(ctx, audit.Query{Who: source, What: audit.Work, Since: time.Now().Add(-month), Limit: lookedAt})
	if err != nil {
		s.Logger.Warn("looking for who worked here lately", "error", err)
	}
	for _, e := range p.Entries {
		if e.By != "" && !slices.Contains(names, e.By) && len(names) < mostNames {
			names = append(names, e.By)
		}
	}
	return names
}
