package lists

import (
	"context"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/sync/errgroup"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/listing"
	"telltale/engine/stream/service"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/rights"
	"telltale/notify/wording"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// The addresses of the lists.
const (
	duePath      = "/due"
	standingPath = "/standing"
	vehiclesPath = "/vehicles"
)

// list is what the template of a list gets.
type list struct {
	Local   string // says of codes that they lead nowhere else
	Views   []view
	Filters *filters
	Nothing *nothing
	Groups  []group
	Form    string // where ticked lines go to; "" for none
	Press   string // what its button says
	Ready   []page.Line
	Mind    []page.Line
	Pager   *pager
	Acts    []act // print and the like
	Paper   bool  // it is to be printed
	Heads   heads
}

// heads are the headings that mails have too.
type heads struct{ Ready, Mind string }

var mailHeads = heads{wording.HeadReady, wording.HeadMind}

// view is another list in the same place.
type view struct {
	Name, Path string
	Is         bool
}

type pager struct {
	Back, Next, Count string
	Size              int
}

// due is what work is due, in the order in which to do it.
func (s site) due(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, err := read(r, listing.Due)
	if err != nil {
		return nil, err
	}
	return s.duePage(ctx, r, a, duePath)
}

// duePage is the page of a due list, under an address of its own.
func (s site) duePage(ctx context.Context, r *frame.Request, a ask, path string) (*frame.Page, error) {
	if err := s.resolved(ctx, r, &a); err != nil {
		return nil, err
	}
	var p listing.Page
	var missing []int
	var stops stops
	var kinds map[string]int
	err := atOnce(
		func() (err error) { p, missing, err = s.dueLines(ctx, r, a); return err },
		func() (err error) { stops, err = s.stopFirst(ctx, r, a); return err },
		func() (err error) { kinds, err = s.kinds(ctx, r, a); return err },
	)
	if err != nil {
		return nil, err
	}
	m := s.rowsFor(r)
	all := append(stops.rows, m.all(p.Lines, listing.Due)...)
	l := list{Groups: groups(all), Form: "/due/job", Press: "Enter the ticked work as one job", Pager: a.pager(path, &p, stops), Heads: mailHeads}
	l.Ready, l.Mind = m.beside(all)
	f := a.filters(path, m.Date, []choice{
		{"stage", "Stage", stageOptions([]alarm.Stage{alarm.Overdue, alarm.Due, alarm.Soon}, p.Stages, a.Stage)},
		{"tag", "Tag", options(p.Tags, a.Tag, "all", tagWords)},
		{"kind", "Kind of vehicle", options(kinds, a.Kind, "all", same)},
		{"ahead", "How far ahead", aheadOptions(a.Ahead)},
	}, tick{"law", "Required by law only", a.Statutory}, tick{"aside", "Also what is put aside", a.Aside})
	f.Day = true
	l.Filters = &f
	if !l.ticks(true) {
		l.Form = ""
	}
	if len(all) == 0 {
		l.Groups = nil
		if l.Nothing, err = s.nothingOn(ctx, r, a, path, wording.NothingDue, missing); err != nil {
			return nil, err
		}
	}
	l.Acts = a.files(duePath, len(all) > 0, true)
	return s.written(ctx, r, frame.Page{Section: frame.Due, Title: dueTitle(m, a), About: a.about(), Lead: leadOf(stops.counted(p.Stages)), Missing: missing, Work: len(all) > 0}, "list", l)
}

// written is the page with a list as its body. While the service starts, it says so above.
func (s site) written(ctx context.Context, r *frame.Request, p frame.Page, template string, data any) (*frame.Page, error) {
	if template != "paper" && template != "yard" && template != "labels" { // what is being printed stays as it is
		p.Watch = "*"
	}
	body, err := templates.Body(template, data)
	if err != nil {
		return nil, err
	}
	if len(p.Missing) == 0 && !s.Service.HealthOfAll(ctx).Ready {
		notice, err := templates.Body("notice", wordStarting+" "+wordStartingDo)
		if err != nil {
			return nil, err
		}
		body = notice + body
	}
	p.Body = body
	return &p, nil
}

// dueTitle is "Due list, Friday 6 Jun 2031", as the mail's.
func dueTitle(m rows, a ask) string {
	if a.On != "" {
		return m.reader(nil).DueTitle(a.On)
	}
	return m.reader(nil).DueTitle(m.today)
}

// about is what the list is of, for the page's title.
func (a ask) about() string {
	if a.Vehicle != "" {
		return page.Clean(a.Vehicle, 80)
	}
	_, value, _ := strings.Cut(a.Tag, "=")
	return page.Clean(value, 80)
}

// leadOf sums a list up: "2 overdue, 1 due."
func leadOf(n map[alarm.Stage]int) string { return english.Sentence(wording.Counts(n)) }

// all are the rows of lines.
func (m rows) all(lines []listing.Line, view listing.View) (out []row) {
	for i := range lines {
		w := m.of(&lines[i], view)
		switch {
		case view == listing.Out || view == listing.Aside:
		case w.work != nil && m.may(rights.Work, w.of.Vehicle), w.unanswered() && m.may(rights.Answer, w.of.Vehicle):
			w.Tick = w.of.String()
		}
		out = append(out, w)
	}
	return out
}

// maxStops bounds the alarms above a due list.
const maxStops = 20

// atOnce asks several questions at once: where partitions do not answer, each waits for
// them.
func atOnce(questions ...func() error) error {
	var g errgroup.Group
	for _, q := range questions {
		g.Go(q)
	}
	return g.Wait()
}

// stops are the alarms for which a vehicle is to be stopped: those that are shown, and how
// many there are.
type stops struct {
	rows []row
	all  int
}

// counted are the stages of a list with what is to stop.
func (s stops) counted(n map[alarm.Stage]int) map[alarm.Stage]int {
	out := map[alarm.Stage]int{alarm.Warning: s.all}
	maps.Copy(out, n)
	return out
}

// stopFirst are the stops of the vehicles that the list is of: they stand above its first
// page.
func (s site) stopFirst(ctx context.Context, r *frame.Request, a ask) (out stops, err error) {
	if a.reckoned() || len(a.Stage) > 0 {
		return out, nil
	}
	first := a.After == "" && a.Before == ""
	a.View, a.Stage, a.Limit, a.Statutory, a.After, a.Before = listing.Standing, []alarm.Stage{alarm.Warning}, maxStops, false, "", ""
	p, err := s.lines(ctx, r, a)
	if _, err = frame.Missing(err); err != nil { // the list itself says who did not answer
		return out, err
	}
	m := s.rowsFor(r)
	for i := range p.Lines {
		if first {
			out.rows = append(out.rows, m.of(&p.Lines[i], listing.Standing))
		}
	}
	out.all = p.Total
	return out, nil
}

// dueLines are the lines of the page, and the partitions that did not answer.
func (s site) dueLines(ctx context.Context, r *frame.Request, a ask) (p listing.Page, missing []int, err error) {
	if a.reckoned() {
		p, err = s.reckon(ctx, r, a)
	} else {
		p, err = s.lines(ctx, r, a)
	}
	missing, err = frame.Missing(err)
	return p, missing, err
}

// mostReckoned is of how many vehicles a list is worked out on the spot, without a tag:
// some 150 µs each.
const mostReckoned = 1000

// reckon works a list out that reaches ahead, or is for another day.
func (s site) reckon(ctx context.Context, r *frame.Request, a ask) (p listing.Page, err error) {
	if a.Tag == "" && a.Vehicle == "" {
		all, err := s.vehiclesPage(ctx, r, ask{Limit: 1})
		if _, err = frame.Missing(err); err != nil {
			return p, err
		}
		switch {
		case a.On != "":
			return p, &frame.Fault{Status: http.StatusUnprocessableEntity, Title: wordOnOne, Words: "Choose a tag, or come from the vehicle's page."}
		case all.Total > mostReckoned:
			return p, &frame.Fault{Status: http.StatusUnprocessableEntity, Title: sprintf(wordSlow, unit.Grouped(float64(all.Total))+" vehicles"), Words: "Choose one first."}
		}
	}
	if a.Vehicle == "" {
		if err := s.TakeList(r); err != nil {
			return p, err
		}
	}
	q := r.QuestionOver(rights.See)
	q.Vehicle, q.Tag, q.Ahead, q.On = a.Vehicle, a.Tag, a.Ahead, a.On
	work, err := service.Due.Of(ctx, s.Service, q)
	return a.pageOf(work), err
}

// pageOf is the page of a list that was worked out whole.
func (a ask) pageOf(work []due.Item) (p listing.Page) {
	p.View, p.Stages, p.Tags = a.View, map[alarm.Stage]int{}, map[string]int{}
	var all []*due.Item
	for i := range work {
		it := &work[i]
		if !a.takes(it) {
			continue
		}
		p.Stages[it.Stage]++
		if len(a.Stage) == 0 || slices.Contains(a.Stage, it.Stage) {
			all = append(all, it)
			for name, value := range it.Tags {
				p.Tags[name+"="+value]++
			}
		}
	}
	p.Total = len(all)
	from, to := a.place(all)
	for _, it := range all[from:to] {
		p.Lines = append(p.Lines, listing.Line{Key: lineKey(it), Due: it})
	}
	if from > 0 {
		p.Back = lineKey(all[from])
	}
	if to < len(all) {
		p.Next = lineKey(all[to-1])
	}
	return p
}

// place is where the page begins and ends; at the list's beginning where the line that it
// should follow is gone.
func (a ask) place(all []*due.Item) (from, to int) {
	limit := a.Limit
	if limit == 0 {
		limit = pageLines
	}
	at := func(key string) int {
		return slices.IndexFunc(all, func(it *due.Item) bool { return lineKey(it) == key })
	}
	switch {
	case a.After != "":
		from = at(a.After) + 1
	case a.Before != "":
		from = max(0, at(a.Before)-limit)
	}
	return from, min(len(all), from+limit)
}

func lineKey(it *due.Item) string { return line{it.Vehicle, it.Task, it.Component}.String() }

// takes reports whether the list has the piece of work, apart from its stage.
func (a ask) takes(it *due.Item) bool {
	texts := english.Folded(strings.Join([]string{it.Vehicle, it.Name, it.Plate, it.Task, it.Title, it.Component}, "\n"))
	for _, w := range strings.Fields(a.Q) {
		if !strings.Contains(texts, english.Folded(w)) {
			return false
		}
	}
	return (a.Aside || !it.Shelved) && (!a.Statutory || it.Statutory) && (a.Person == "" || slices.Contains(it.People, a.Person)) && (a.Rule == "" || a.Rule == it.Task)
}

// pager leads to the pages beside this one; what stands above them counts as well.
func (a ask) pager(path string, p *listing.Page, above stops) *pager {
	out := &pager{Count: counted(len(p.Lines)+len(above.rows), p.Total+above.all), Size: pageLines}
	if p.Total+above.all == 0 {
		return nil
	}
	if p.Back != "" {
		out.Back = a.at(path, "before", p.Back)
	}
	if p.Next != "" {
		out.Next = a.at(path, "after", p.Next)
	}
	return out
}

// counted is "50 of 24,307 lines".
func counted(shown, all int) string {
	if shown == all {
		return english.Counted(all, "line", "lines")
	}
	return unit.Grouped(float64(shown)) + " of " + english.Counted(all, "line", "lines")
}

func aheadOptions(chosen int) []option {
	out := []option{{"", "what is due or soon", chosen == 0}}
	for _, n := range aheads {
		out = append(out, option{strconv.Itoa(n), "the next " + strconv.Itoa(n) + " days", n == chosen})
	}
	if chosen > 0 && !slices.Contains(aheads, chosen) {
		out = append(out, option{strconv.Itoa(chosen), "the next " + strconv.Itoa(chosen) + " days", true})
	}
	return out
}

// files are the ways to take a list along.
func (a ask) files(path string, any, dates bool) (out []act) {
	if !any {
		return nil
	}
	out = []act{{"Print", a.at(path + "/print")}, {"As a table (CSV)", a.at(path + ".csv")}}
	if dates {
		out = append(out, act{"For a calendar", a.at(path + ".ics")})
	}
	return out
}

// kinds are the kinds of vehicles there are, with how many of each.
func (s site) kinds(ctx context.Context, r *frame.Request, a ask) (map[string]int, error) {
	p, err := s.vehiclesPage(ctx, r, ask{Tag: a.Tag, Limit: 1})
	_, err = frame.Missing(err)
	return p.Kinds, err
}
