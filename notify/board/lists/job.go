package lists

import (
	"cmp"
	"context"
	"net/url"

	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/rights"
	"telltale/rules/english"
)

// job opens the form of work with the ticked lines of one vehicle.
func (s site) job(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	lines, p, err := ticked(r.URL.Query(), frame.Due, duePath)
	if lines == nil {
		return p, err
	}
	order, by := grouped(lines, func(l line) string { return l.Vehicle })
	may := s.MayTo(r)
	for _, v := range order {
		if !may(rights.Work, v) {
			_, err := s.VehicleTo(ctx, r, rights.Work, v)
			return nil, cmp.Or(err, error(frame.NotFound))
		}
	}
	if len(order) == 1 {
		return &frame.Page{To: workPath(order[0], lines...)}, nil
	}
	var acts []act
	for _, v := range order {
		acts = append(acts, act{page.Clean(v, 80) + ", " + english.Counted(len(by[v]), "line", "lines"), workPath(v, by[v]...)})
	}
	return which(frame.Due, duePath, "Which vehicle?", "A job is on one vehicle, and lines of several were ticked. Begin with one of them.", acts)
}

// which asks which of several is meant.
func which(section, back, title, lead string, acts []act) (*frame.Page, error) {
	body, err := templates.Body("acts", acts)
	return &frame.Page{Section: section, Title: title, Lead: lead, Up: frame.Link{Words: section, Path: back}, Body: body}, err
}

// maxTicked bounds the lines that are ticked at once: a list's page has fewer.
const maxTicked = 100

// ticked are the lines whose boxes were ticked; where there are none, the page that says so.
func ticked(v url.Values, section, back string) (out []line, none *frame.Page, err error) {
	for _, s := range v["line"] {
		l, ok := lineOf(s)
		if !ok {
			return nil, nil, wrong("%q is no line of a list.", page.Clean(s, 80))
		}
		out = append(out, l)
	}
	switch {
	case len(out) == 0:
		none, err = which(section, back, "No line was ticked", "Go back to the list, tick the box of each line that you mean, and press the button again.", []act{{"Back to the list", back}})
		return nil, none, err
	case len(out) > maxTicked:
		return nil, nil, wrong("At most %d lines can be ticked at once.", maxTicked)
	}
	return out, nil, nil
}

// ackPath opens the form that acknowledges these.
func ackPath(lines []line) string {
	v := url.Values{}
	for _, l := range lines {
		v.Add("line", l.String())
	}
	return "/standing/acknowledge?" + v.Encode()
}

// grouped are lines by what they have in common, and that in the order of the lines.
func grouped(lines []line, of func(line) string) (order []string, by map[string][]line) {
	by = map[string][]line{}
	for _, l := range lines {
		if by[of(l)] == nil {
			order = append(order, of(l))
		}
		by[of(l)] = append(by[of(l)], l)
	}
	return order, by
}
