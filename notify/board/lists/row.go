package lists

import (
	"cmp"
	"net/url"
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/listing"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/rights"
	"telltale/notify/stages"
	"telltale/notify/wording"
	"telltale/rules/english"
)

// row is a line of a list.
type row struct {
	page.Item        // Heading is the vehicle's name
	Path      string // of the vehicle
	Badge     frame.Badge
	Notes     []string // what else is to be known
	Press     *act     // what is done first of all, if anything
	Acts      []act
	Tick      string // what a box that is ticked says; "" for no box
	Code      string // where the vehicle's code is
	Paper     bool   // with room to write
	Own       bool   // its own stage is shown, as where a group is of a vehicle

	of       line
	standing alarm.Standing
	work     *due.Item // nil of what is no work
	stage    alarm.Stage
	minds    []string
	own      map[string]string // the words of those of them that the book explains
	reads    []string
}

// act is what can be done.
type act struct{ Words, Path string }

// rows makes a viewer's rows.
type rows struct {
	frame.Viewer
	today string // YYYY-MM-DD
	may   func(verb rights.Verb, vehicle string) bool
}

func (s site) rowsFor(r *frame.Request) rows {
	return rows{r.Viewer, r.Now.In(r.Viewer.Zone).Format(time.DateOnly), s.MayTo(r)}
}

func (m rows) reader(reads []string) wording.Reader {
	return wording.Reader{Person: m.Person}.On(reads)
}

// of is the row of a line of a list.
func (m rows) of(l *listing.Line, view listing.View) row {
	var w row
	switch {
	case l.Due != nil && (l.Alarm == nil || l.Alarm.ShelvedUntil.IsZero()):
		w = m.work(l.Due)
	case l.Due != nil:
		w = m.work(l.Due)
		w.Notes = append(w.Notes, asideUntil(m.Day(l.Alarm.ShelvedUntil)))
	default:
		w = m.alarm(l.Alarm)
	}
	return w.finish(m, view)
}

// work is the row of a piece of work.
func (m rows) work(i *due.Item) row {
	p := m.reader(i.Reads)
	i = p.SaidOf(i)
	w := row{Item: p.Work(i, m.today), of: line{i.Vehicle, i.Task, i.Component}, work: i, stage: i.Stage, minds: i.Cautions, own: i.OwnCautions, reads: i.Reads}
	w.Heading = event.Label(cmp.Or(i.Name, i.Vehicle), i.Plate)
	if i.Range != "" {
		w.Notes = append(w.Notes, english.Sentence(i.Range))
	}
	return w
}

// alarm is the row of what stands.
func (m rows) alarm(s *alarm.Listed) row {
	p := m.reader(s.Reads)
	said := *s
	said.Transition = *p.Spelled(p.Said(&s.Transition), s.Name)
	said.Advise = frame.Advise(&said.Transition)
	w := row{Item: p.Alarm(&said), of: line{s.Vehicle, s.Rule, s.Component}, standing: s.Standing, stage: s.To, minds: s.Cautions, own: s.OwnCautions, reads: s.Reads}
	w.Heading = cmp.Or(s.Name, s.Vehicle)
	if s.Task {
		w.What = wording.WorkOn(&said.Transition)
	}
	if s.To == alarm.Normal {
		was := "It was: " + stages.Of(s.From).Head
		w.Strong, w.Lines = "", []page.Line{{Text: english.Sentences(wording.EndOf(&said.Transition), wording.Noted(p.Day(s.Since)), was)}}
	}
	switch {
	case !s.ShelvedUntil.IsZero():
		w.Notes = append(w.Notes, asideUntil(m.Day(s.ShelvedUntil)))
	case s.Standing == alarm.Acknowledged:
		w.Notes = append(w.Notes, "Acknowledged.")
	}
	return w
}

// press is what is done about the row first of all, where it stands in a view; nil for
// nothing.
func (w *row) press(m rows, view listing.View) *act {
	switch {
	case view == listing.Out:
		return w.answer(m, "Back to service", line{Vehicle: w.of.Vehicle}, "in service")
	case view == listing.Aside || w.standing == alarm.Shelved:
		return w.answer(m, "Bring back", w.of, "unshelve")
	case w.work != nil && m.may(rights.Work, w.of.Vehicle):
		return &act{"Enter work", workPath(w.of.Vehicle, w.of)}
	case w.unanswered():
		return w.answer(m, "Acknowledge", w.of, "acknowledge")
	}
	return nil
}

// answer is the way to an answer about the row; nil for whoever may not give it.
func (w *row) answer(m rows, words string, of line, answer string) *act {
	if !m.may(rights.OfAnswer(answer, w.stage == alarm.Warning), w.of.Vehicle) {
		return nil
	}
	return &act{words, answerPath(of, answer)}
}

// unanswered reports whether nobody has said that they know of it.
func (w *row) unanswered() bool {
	return w.work == nil && (w.standing == alarm.Unacknowledged || w.standing == alarm.Returned)
}

// acts are what else can be done.
func (w *row) acts(m rows, view listing.View) (out []act) {
	var answer *act
	switch {
	case view == listing.Out || view == listing.Aside || w.standing == alarm.Shelved:
	case w.work != nil && !w.work.Statutory:
		answer = w.answer(m, "Postpone", w.of, "postpone")
	case w.work == nil && w.stage != alarm.Normal:
		answer = w.answer(m, "Put aside", w.of, "shelve")
	}
	if answer != nil {
		out = append(out, *answer)
	}
	if m.may(rights.See, w.of.Vehicle) {
		out = append(out, act{"Why", whyPath(w.of)})
	}
	return out
}

// finish cleans the row, whoever its texts come from, and adds what all rows have.
func (w row) finish(m rows, view listing.View) row {
	w.Item = w.Item.Cleaned()
	for i := range w.Notes {
		w.Notes[i] = page.Clean(w.Notes[i], page.MaxText)
	}
	w.Path, w.Code = frame.Path("v", w.of.Vehicle), frame.Path("v", w.of.Vehicle, "code.svg")
	w.Badge, w.Press, w.Acts = frame.BadgeOf(w.stage), w.press(m, view), w.acts(m, view)
	return w
}

func asideUntil(day string) string { return "Put aside until " + day + "." }

// group is a part of a list under a heading.
type group struct {
	Heading string
	Path    string // of what the heading names; "" for none
	Badge   *frame.Badge
	Weight  int
	Colour  string
	Lines   []page.Line
	Rows    []row
	Acts    []act
	More    act // the rest of it; zero where all is shown
}

// groups puts rows under the headings of lists, the first first; rows of one stage stand in
// the order in which they come.
func groups(all []row) (out []group) {
	for _, g := range wording.Groups {
		one := groupOf(g)
		for i := range all {
			if all[i].stage == g.Stage {
				one.Rows = append(one.Rows, all[i])
			}
		}
		if len(one.Rows) > 0 {
			out = append(out, one)
		}
	}
	return out
}

func groupOf(g wording.Group) group {
	b := frame.BadgeOf(g.Stage)
	b.Word, b.Weight = g.Heading, g.Weight
	return group{Badge: &b, Weight: g.Weight, Colour: b.Colour}
}

// beside is what belongs to a list: what to have ready, and what to mind, each once.
func (m rows) beside(all []row) (ready, mind []page.Line) {
	var work []*due.Item
	var reads []string
	minds := wording.Minds{Reader: m.reader(nil)}
	for i := range all {
		w := &all[i]
		if i == 0 {
			reads = w.reads
		} else if !slices.Equal(reads, w.reads) {
			reads = nil
		}
		if w.work != nil {
			work = append(work, w.work)
		}
		minds.Add(w.minds, w.own)
	}
	return cleaned(m.reader(reads).Ready(work)), cleaned(minds.All())
}

func cleaned(lines []page.Line) []page.Line {
	return page.Item{Lines: lines}.Cleaned().Lines
}

// line names a line of a list: a rule or task of a vehicle.
type line struct{ Vehicle, Rule, Component string }

// String is what a ticked box sends.
func (l line) String() string {
	v := url.Values{"v": {l.Vehicle}, "r": {l.Rule}}
	if l.Component != "" {
		v.Set("c", l.Component)
	}
	return v.Encode()
}

// lineOf reads what a ticked box sent.
func lineOf(s string) (line, bool) {
	v, err := url.ParseQuery(s)
	return line{v.Get("v"), v.Get("r"), v.Get("c")}, err == nil && v.Get("v") != "" && v.Get("r") != ""
}

// The addresses of other rooms that lists lead to.

// workPath opens the form of work on the vehicle with these tasks ticked.
func workPath(vehicle string, lines ...line) string {
	v := url.Values{}
	for _, l := range lines {
		if slices.ContainsFunc(lines, func(o line) bool { return o.Rule == l.Rule && o.Component != l.Component }) {
			v.Add("task", l.Rule+"@"+l.Component)
			continue
		}
		if v.Add("task", l.Rule); l.Component != "" && !v.Has("component") {
			v.Set("component", l.Component)
		}
	}
	return frame.Path("v", vehicle, "work") + "?" + v.Encode()
}

// answerPath opens the form of an answer to what stands there.
func answerPath(l line, answer string) string {
	v := url.Values{"answer": {answer}}
	if l.Rule != "" {
		v.Set("rule", l.Rule)
	}
	if l.Component != "" {
		v.Set("component", l.Component)
	}
	return frame.Path("v", l.Vehicle, "answer") + "?" + v.Encode()
}

// whyPath is the page that says why it stands there.
func whyPath(l line) string {
	p := frame.Path("v", l.Vehicle, "why", l.Rule)
	if l.Component != "" {
		p += "?" + url.Values{"component": {l.Component}}.Encode()
	}
	return p
}
