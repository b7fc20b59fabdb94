package files

import (
	"bytes"
	"context"
	"errors"
	"fmt"

	"telltale/engine/event"
	"telltale/engine/follows"
	"telltale/engine/intake/table"
	"telltale/engine/stream/tables"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// How much of each list is shown.
const (
	shownFaults  = 50
	shownDoubts  = 50
	shownFollows = 50
	shownRows    = 8
)

// rows are some rows of a table, and why they make no event.
type rows struct {
	What string
	Rows string
}

// rowSays is what a row says, or what is doubted of it.
type rowSays struct {
	Row     int
	Vehicle string
	Day     string
	Says    string
}

// follow is what becomes of the alarms of a rule or task.
type follow struct {
	Rule     string
	Badge    *frame.Badge // of the stage that is reached; nil where none is
	Change   string       // where no stage is reached
	On       string
	Vehicles []string // where they are few
}

// dryRun is what a file comes to, as the page has it.
type dryRun struct {
	Hash, File, Mapping string
	Counts              []rows // of rows, as facts
	Faults              table.Faults
	More                int // faults that are not shown
	Doubts              []rowSays
	MoreDoubts          int
	Follows             []follow
	MoreFollows         int
	First               []rowSays
	Fresh               int
	Vehicles            *comparison // of a table of vehicles
}

// dry shows what a file would bring.
func (s *site) dry(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	h := s.kept(r)
	if h == nil || h.mapped == nil {
		return nil, forgotten
	}
	data := dryRun{Hash: h.hash, File: h.name, Mapping: h.named}
	d, m, err := s.read(ctx, r, h)
	faults, wrong := errors.AsType[table.Faults](err)
	switch {
	case err != nil && !wrong:
		return nil, err
	case wrong:
		data.Faults, data.More = faults[:min(len(faults), shownFaults)], max(0, len(faults)-shownFaults)
	case m.Vehicles():
		return s.dryVehicles(ctx, r, &data, m, d.Table)
	default:
		data.say(r.Viewer, d)
	}
	if d != nil && d.Table != nil {
		data.count(d)
	}
	p := page("What "+h.name+" would bring", data.lead())
	p.Body, err = templates.Body("dry", data)
	return p, err
}

// read reads a file against the service.
func (s *site) read(ctx context.Context, r *frame.Request, h *held) (*tables.Dry, *table.Mapping, error) {
	m, err := table.ReadMapping(h.named, h.mapped)
	if err != nil {
		return nil, nil, err
	}
	done, err := s.alone(ctx)
	if err != nil {
		return nil, nil, err
	}
	defer done()
	if m.Vehicles() {
		t, err := m.Read(h.name, bytes.NewReader(h.table), nil)
		return &tables.Dry{Table: t}, m, err
	}
	d, err := tables.Read(ctx, s.at(), r.Viewer.Units().Names(), m, tables.File{Name: h.name, In: bytes.NewReader(h.table), Most: maxRows, Sees: r.Viewer.Access.Sees()})
	if d == nil || d.Table == nil {
		return d, m, err
	}
	others := s.notTheirs(r, h.name, d.Table)
	if wrong, _ := errors.AsType[table.Faults](err); others != nil {
		return d, m, append(others, wrong...)
	}
	return d, m, err
}

// notTheirs are the rows of a file that whoever sent it may not enter: of vehicles that they
// see and may not enter tables for, and under the name of somebody. Of others' vehicles they
// were told that there are none. Nil where there is no such row.
func (s *site) notTheirs(r *frame.Request, file string, t *table.Table) (faults table.Faults) {
	may := s.MayTo(r)
	for i := range t.Events {
		ev := &t.Events[i]
		switch {
		case !may(rights.File, ev.Vehicle):
			faults = append(faults, table.Fault{File: file, Row: ev.Line, Col: 1, Text: fmt.Sprintf(wordNotFor, ev.Vehicle), Hint: wordNotForDo})
		case i == 0 && event.Personal(ev.ID.Source):
			faults = append(faults, table.Fault{File: file, Row: ev.Line, Col: 1, Text: fmt.Sprintf(wordNotFrom, ev.ID.Source), Hint: wordNotFromDo})
		}
	}
	return faults
}

// lead sums the dry run up.
func (d *dryRun) lead() string {
	switch {
	case len(d.Faults) > 0:
		return wordNoneStored
	case d.Fresh == 0:
		return wordAllKnown
	}
	return english.Sentences(english.Plural(d.Fresh, "event")+" would be new", wordNothing)
}

// count counts the rows.
func (d *dryRun) count(of *tables.Dry) {
	t := of.Table
	add := func(what string, n int, list []int) {
		if n > 0 {
			d.Counts = append(d.Counts, rows{what, joined(n, list)})
		}
	}
	add("Rows read", t.Rows, nil)
	add("Events that they make", len(t.Events), nil)
	if len(d.Faults) == 0 {
		d.Counts = append(d.Counts, rows{"New", fmt.Sprint(d.Fresh)}, rows{"Stored already", fmt.Sprint(of.Before())})
	}
	add("Rows left out by the mapping", len(t.LeftOut), t.LeftOut)
	add("Rows without any value", len(t.NoValue), t.NoValue)
	add("Rows that repeat an earlier one", len(t.Repeated), t.Repeated)
	add("Rows taken back before, so left out", len(t.TakenOut), t.TakenOut)
}

// joined is how many, and the first rows of them.
func joined(n int, list []int) string {
	var names []string
	for _, r := range list[:min(len(list), 10)] {
		names = append(names, fmt.Sprint(r))
	}
	switch {
	case list == nil:
		return fmt.Sprint(n)
	case len(list) > len(names):
		names = append(names, "others")
	}
	return fmt.Sprintf("%d: row %s", n, english.List("and", names))
}

// say takes over what would follow.
func (d *dryRun) say(who frame.Viewer, of *tables.Dry) {
	d.Fresh = len(of.Fresh())
	for i := range of.Events {
		ev := &of.Events[i]
		if len(d.First) < shownRows {
			d.First = append(d.First, rowSays{ev.Line, ev.Vehicle, who.Day(ev.Time), follows.What(ev, unit.System{})})
		}
		for _, says := range doubts(of, i) {
			if len(d.Doubts) == shownDoubts {
				d.MoreDoubts++
				continue
			}
			d.Doubts = append(d.Doubts, rowSays{ev.Line, ev.Vehicle, who.Day(ev.Time), english.Sentence(says)})
		}
	}
	all := of.Follows()
	d.MoreFollows = max(0, len(all)-shownFollows)
	for i := range all[:min(len(all), shownFollows)] {
		d.Follows = append(d.Follows, followOf(&all[i]))
	}
}

// doubts are what of a row would not be believed, or not be used.
func doubts(of *tables.Dry, i int) (out []string) {
	out = append(out, of.Would[i].Doubts...)
	for _, n := range of.Would[i].NotUsed {
		out = append(out, "not used: "+n.Refused)
	}
	return out
}

func followOf(f *tables.Follow) follow {
	out := follow{Rule: f.Rule, Change: f.Change, On: f.On()}
	if f.To != "" { // whose word the badge has
		b := frame.BadgeOf(f.To)
		out.Badge, out.Change = &b, ""
	}
	if len(f.Vehicles) <= 3 {
		out.Vehicles = f.Vehicles
	}
	if f.Times > len(f.Vehicles) {
		out.Change += fmt.Sprintf(" (%d times)", f.Times)
	}
	return out
}
