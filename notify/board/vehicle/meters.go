package vehicle

import (
	"cmp"
	"fmt"
	"strings"

	"telltale/engine/event"
	"telltale/engine/whole"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// meter is one instrument.
type meter struct {
	Name, Shows, On, Uses string
	Now                   string // what it is likely to show today
	Notes                 []string
	Doubts                []doubtful
	More                  string // doubts that are not told here
}

// doubtful is a value that is in doubt, and where it can be taken back.
type doubtful struct{ Says, History string }

func (v *told) meters() (out []meter) {
	for i := range v.Meters {
		out = append(out, v.meter(&v.Meters[i]))
	}
	return out
}

func (v *told) meter(m *whole.Meter) meter {
	out := meter{Name: clean(m.Name), Shows: cmp.Or(m.Shown(), wordUnread), On: v.by.Date(m.ReadOn), Uses: m.Uses()}
	if m.Read != nil && out.Uses == "" && !m.Untold {
		out.Uses = wordUnused
	}
	if m.Now != nil && *m.Now != *m.Read {
		out.Now = "about " + english.Quantity(m.Now)
	}
	if m.Untold {
		out.Notes = append(out.Notes, wordUntold)
	}
	if m.Silent != "" {
		out.Notes = append(out.Notes, fmt.Sprintf(wordSilent, clean(m.Name), v.by.Date(m.Silent)))
	}
	for _, p := range m.Replaced {
		out.Notes = append(out.Notes, fmt.Sprintf(wordChanged, v.by.Date(p.On), english.Quantity(&p.Last), english.Quantity(&p.First)))
	}
	for _, d := range m.Doubts {
		out.Doubts = append(out.Doubts, doubtful{english.Sentence(v.said(d.Says)), v.path("history") + query("what", "readings", "on", d.On)})
	}
	if more := m.Disputed - len(m.Doubts); more > 0 {
		out.More = fmt.Sprintf(wordMore, english.Counted(more, "more value in doubt", "more values in doubt"))
	}
	return out
}

// component is what holds a fluid.
type component struct {
	Name, Kind, Fluid, Holds string
	Torque, Source           string
	Fitted                   string
	Sample                   *sheet // the latest; nil without one
}

// sheet is the latest sample of a component.
type sheet struct {
	Badge    *frame.Badge // of what stands by it; nil where nothing does
	Number   string
	Drawn    string
	Says     string
	Forecast string
	Offer    string
	Accept   string // an address; "" where nothing is offered
	Path     string
}

func (v *told) components() (out []component) {
	for i := range v.Register.Components {
		c := &v.Register.Components[i]
		out = append(out, component{Name: clean(c.Name), Kind: clean(c.Kind), Fluid: clean(c.Fluid), Holds: holds(v, c),
			Torque: clean((&event.Figures{Torque: c.Torque}).TorqueText()), Source: clean(c.Source), Fitted: v.by.Date(c.InService), Sample: v.sheet(c.Name)})
	}
	return out
}

func holds(v *told, c *event.ComponentDef) string {
	if c.Capacity == nil {
		return ""
	}
	litres, err := c.Capacity.As(unit.Volume)
	if err != nil {
		return c.Capacity.String()
	}
	return v.by.Litres(litres)
}

func (v *told) sheet(component string) *sheet {
	for i := range v.Samples {
		s := &v.Samples[i]
		if s.Component != component {
			continue
		}
		out := &sheet{Number: clean(s.Number), Drawn: v.by.Date(s.Drawn), Says: v.said(s.Summary), Path: v.path("samples", component)}
		if len(s.Reasons) > 0 {
			b := frame.BadgeOf(s.Stage)
			out.Badge = &b
		}
		if s.Forecast != nil {
			out.Forecast = v.said(s.Forecast.Says)
		}
		if s.Offer != nil {
			out.Offer = english.Sentence(v.said(s.Offer.Says))
			if v.may(rights.Postpone) {
				out.Accept = v.answerPath("accept", "task", s.Offer.Task, component)
			}
		} else {
			out.Offer = english.Sentence(v.said(s.NoOffer))
		}
		return out
	}
	return nil
}

// measure is what was measured by hand of one part: what was last measured, and the rest.
type measure struct {
	Last string
	More []string
}

// measures are those of which there is a value, and the names of the others.
func (v *told) measures() (out []measure, not []string) {
	for i := range v.Measured {
		m := &v.Measured[i]
		if len(m.Points) == 0 {
			not = append(not, clean(m.Measure))
			continue
		}
		first, rest, _ := strings.Cut(m.Text(), "\n")
		one := measure{Last: english.Capital(v.said(first))}
		for line := range strings.Lines(rest) {
			one.More = append(one.More, english.Sentence(v.said(line)))
		}
		out = append(out, one)
	}
	return out, not
}
