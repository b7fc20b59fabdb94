package notify

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/notify/stages"
	"telltale/notify/wording"
	"telltale/rules/english"
)

// Listing is what a person's list is made of.
type Listing struct {
	Parts []engine.TurnPart
	Of    int    // how many parts there should be
	Last  Listed // the list before
	Leave string // where the person asks for no more; "" for nowhere
	// Answer gives the address at which a person answers an alarm; nil for none.
	Answer func(person string, t *alarm.Transition) string
	// Notes are what an operator's list says of the service itself.
	Notes []string

	told []string // the cautions that the person has read in full today
}

// Listed is what is kept of a list for the next one.
type Listed struct {
	Date   string              `json:"date,omitempty"`
	Print  string              `json:"print,omitempty"`  // changes with what is on it
	Counts map[alarm.Stage]int `json:"counts,omitempty"` // by stage, for an operator
}

// kept is what the next list is compared with.
func (l *list) kept() Listed {
	var all []string
	for _, e := range l.lines {
		all = append(all, strings.Join([]string{e.Home(), e.Component, e.Rule, string(e.To)}, "\x00"))
	}
	slices.Sort(all)
	k := Listed{Date: l.today, Print: key("print", all...)}
	if l.p.Form == people.ForOperator {
		k.Counts = l.byStage()
	}
	return k
}

func (l *list) byStage() map[alarm.Stage]int {
	n := map[alarm.Stage]int{}
	for _, e := range l.lines {
		n[e.To]++
	}
	return n
}

// ownerPage has a block for each vehicle, the worst vehicle first.
func (l *list) ownerPage(pg *sheet) {
	vehicles := l.worstFirst()
	if len(vehicles) == 1 {
		pg.Title = l.vehicles[vehicles[0]] + ", " + l.p.Date(l.today)
	}
	for _, v := range vehicles {
		pg.Blocks = append(pg.Blocks, l.vehicleBlock(v))
	}
	pg.group(groupOver, 0, l.overItems(l.Last.Date))
	pg.told(wording.HeadReady, l.ready())
	pg.told(wording.HeadMind, l.minds())
}

func (l *list) vehicleBlock(vehicle string) page.Block {
	b := page.Block{Heading: l.vehicles[vehicle]}
	for _, e := range l.lines {
		if e.Vehicle == vehicle {
			it := l.item(e)
			it.Heading = cmp.Or(stages.Of(e.To).Head, stages.Ahead)
			b.Items, b.Weight = append(b.Items, it), max(b.Weight, stages.Of(e.To).Weight)
		}
	}
	return b
}

// worstFirst are the vehicles on the list, by the worst that is on it of each.
func (l *list) worstFirst() []string {
	worst := map[string]int{}
	for _, e := range l.lines {
		worst[e.Vehicle] = max(worst[e.Vehicle], stages.Of(e.To).Severity)
	}
	return slices.SortedFunc(maps.Keys(worst), func(a, b string) int {
		return cmp.Or(worst[b]-worst[a], strings.Compare(a, b))
	})
}

// overItems are what ended since the list before and nobody has acknowledged.
func (l *list) overItems(since string) []page.Item {
	var out []page.Item
	for _, s := range l.over {
		when := s.Time.In(l.p.Zone).Format(time.DateOnly)
		if since == "" || when < since {
			continue
		}
		said := wording.EndOf(&s.Transition)
		if s.Due != nil {
			p := l.p.on(s.Reads)
			said = english.Sentences(said, wording.LabelNext+": "+p.DueNow(p.Said(&s.Transition)))
		}
		out = append(out, page.Item{Heading: cmp.Or(l.vehicles[s.Vehicle], s.Name, s.Vehicle), What: wording.WorkOn(&s.Transition),
			Lines: []page.Line{{Text: english.Sentences(wording.Noted(l.p.Date(when)), said)}}})
	}
	return out
}

// maxWorst bounds the lines of an operator's list.
const maxWorst = 20

// operatorPage counts, says what changed since the list before, and lists the worst.
func (l *list) operatorPage(pg *sheet) {
	now := l.byStage()
	counts := page.Block{Heading: wording.HeadCounts, Lines: []page.Line{{Label: wording.LabelFleet, Text: english.Counted(l.fleet, "vehicle", "vehicles") + "."}}}
	for _, name := range stages.Order {
		if before := l.Last.Counts[name]; now[name]+before > 0 {
			counts.Lines = append(counts.Lines, page.Line{Label: english.Capital(stages.Of(name).Many), Text: wording.CountSince(now[name], before, l.p.Date(l.Last.Date))})
		}
	}
	for _, n := range l.Notes {
		counts.Lines = append(counts.Lines, page.Line{Label: wording.LabelService, Text: n})
	}
	pg.Blocks = append(pg.Blocks, counts)
	worst := slices.Concat(l.at(alarm.Warning), l.at(alarm.Overdue), l.at(alarm.Caution), l.at(alarm.Due))
	pg.group(wording.HeadWorst, 3, worst[:min(len(worst), maxWorst)])
	pg.more(len(worst) - maxWorst)
	pg.told(wording.HeadMind, l.minds())
}

// Paper is a due list as a page of its own, to be printed and filled in: what says stop
// first, then the work by what to do first, each with a box to tick and room for the
// meter and who did it; in the units, dates and spelling of a person. The text says the
// same on a terminal. today is YYYY-MM-DD; heading names what the list is of, "" for all.
func Paper(who *people.Person, today, heading string, work []due.Item, alarms []alarm.Listed) (text, html string, fault error) {
	as := *who
	as.Form = people.ForWorkshop
	l := &list{p: readerOf(&as), today: today, paper: true, vehicles: map[string]string{}}
	l.now, _ = time.Parse(time.DateOnly, today)
	for i := range alarms {
		if s := &alarms[i]; !s.Task && s.To != alarm.Normal && s.Standing != alarm.Returned && s.Standing != alarm.OutOfService {
			l.put(&line{Listed: *s}, s.Name)
		}
	}
	l.sortLines()
	for i := range work {
		l.put(lineOf(&work[i]), work[i].Name)
	}
	pg := l.sheet()
	if heading != "" {
		pg.Title += ", " + heading
	}
	l.workshopPage(pg)
	pg.Note(l.shelvedWords(), l.p.Ours(wording.StandingNote))
	text, html, fault = pg.Write()
	return text, strings.TrimSpace(html) + "\n", fault
}

// sheet is the page of a list, on the paper that is usual where its reader is.
func (l *list) sheet() *sheet {
	return &sheet{page.Page{Title: l.title(), Lead: l.counts(), Letter: l.p.Spelling == english.American}}
}

// put puts a line on the list, or counts it as put aside.
func (l *list) put(e *line, name string) {
	if e.Standing == alarm.Shelved || !e.ShelvedUntil.IsZero() {
		l.shelved++
		return
	}
	l.vehicles[e.Vehicle] = name
	p := l.p.on(e.Reads)
	if e.Transition = *p.Spelled(p.Said(&e.Transition), name); e.work != nil {
		e.work = p.SaidOf(e.work)
	}
	l.lines = append(l.lines, e)
}

// shelvedWords says how many lines are not shown; "" for none.
func (l *list) shelvedWords() string {
	if l.shelved == 0 {
		return ""
	}
	return fmt.Sprintf(shelvedNote, english.Counted(l.shelved, "line", "lines"))
}
