package lists

import (
	"bytes"
	"context"
	"encoding/csv"
	"net/http"
	"strconv"
	"strings"
	"time"

	"telltale/engine/due"
	"telltale/engine/listing"
	"telltale/notify/board/frame"
	"telltale/notify/cells"
	"telltale/rules/unit"
)

// mostRows bounds the lines of a table.
const mostRows = 20_000

// harmless is a text in one line that no spreadsheet takes for a formula.
func harmless(s string) string {
	return cells.Harmless(strings.Join(strings.Fields(strings.ToValidUTF8(s, "\uFFFD")), " "))
}

// table writes rows as RFC 4180 has it, in UTF-8 without a mark before it; texts are made
// harmless, numbers and days are as they are.
func table(name string, rows [][]string) (*frame.Page, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	if err := w.WriteAll(rows); err != nil {
		return nil, err
	}
	return &frame.Page{File: &frame.File{Type: "text/csv; charset=utf-8; header=present", Name: name, Body: b.Bytes()}}, nil
}

// all are the lines of a list, from its first page to its last. A table never lacks some of
// the fleet without a word: where partitions do not answer there is none.
func (s site) all(ctx context.Context, r *frame.Request, a *ask) (out []listing.Line, err error) {
	if err := s.resolved(ctx, r, a); err != nil {
		return nil, err
	}
	a.After, a.Before, a.Limit = "", "", paperLines
	for {
		var p listing.Page
		if a.reckoned() {
			p, err = s.reckon(ctx, r, *a)
		} else {
			p, err = s.lines(ctx, r, *a)
		}
		switch {
		case err != nil:
			return nil, complete(err)
		case p.Total > mostRows:
			return nil, &frame.Fault{Status: http.StatusUnprocessableEntity, Title: sprintf(wordLong, unit.Grouped(float64(p.Total)), unit.Grouped(mostRows))}
		}
		if out = append(out, p.Lines...); p.Next == "" {
			return out, nil
		}
		a.After = p.Next
	}
}

// complete says of partitions that did not answer that there is no file without them.
func complete(err error) error {
	missing, other := frame.Missing(err)
	if len(missing) == 0 {
		return other
	}
	return &frame.Fault{Status: http.StatusServiceUnavailable, Title: "Some of the fleet did not answer in time.", Words: "A file without its vehicles would mislead whoever reads it, so there is none. Try again in a minute.", After: time.Minute}
}

var dueHead = []string{"vehicle", "name", "plate", "component", "task", "title", "stage", "required by law", "why", "due date", "due at", "past by", "unit", "likely", "early", "late", "last done", "postponed", "put aside", "have ready", "tags"}

// wholeDue is the whole due list that the address asks for, for a file.
func (s site) wholeDue(ctx context.Context, r *frame.Request) ([]listing.Line, rows, error) {
	a, err := read(r, listing.Due)
	if err != nil {
		return nil, rows{}, err
	}
	lines, err := s.all(ctx, r, &a)
	return lines, s.rowsFor(r), err
}

// dueTable is the whole due list as a table.
func (s site) dueTable(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	lines, m, err := s.wholeDue(ctx, r)
	if err != nil {
		return nil, err
	}
	out := [][]string{dueHead}
	for i := range lines {
		if it := lines[i].Due; it != nil {
			out = append(out, m.dueRecord(it))
		}
	}
	return table("due-"+m.today+".csv", out)
}

func (m rows) dueRecord(it *due.Item) []string {
	p := m.reader(it.Reads)
	it = p.SaidOf(it)
	at, past, u := "", "", ""
	if it.PastBy != nil {
		u = p.Units().Distance
		if past = inUnit(*it.PastBy, it.Unit, p.Units()); it.DueAt != nil {
			at = inUnit(*it.DueAt, it.Unit, p.Units())
		}
		if it.Unit == "s" {
			u = "h"
		}
	}
	return []string{harmless(it.Vehicle), harmless(it.Name), harmless(it.Plate), harmless(it.Component), harmless(it.Task), harmless(it.Title), string(it.Stage), yes(it.Statutory),
		harmless(p.WhyDue(it, m.today)), it.DueDate, at, past, u, it.Likely, it.Early, it.Late, harmless(it.LastDone), harmless(it.Postponed), yes(it.Shelved),
		harmless(needsOf(p.Ready([]*due.Item{it}))), harmless(tagsOf(it.Tags))}
}

// inUnit is a meter's value in metres or seconds as whole numbers of the reader's unit, or
// of hours.
func inUnit(v float64, base string, reads unit.System) string {
	if base == "s" {
		v, base = v/3600, "h"
	}
	return strconv.FormatFloat(unit.Quantity{Value: v, Unit: base}.In(reads).Value, 'f', 0, 64)
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

var standingHead = []string{"vehicle", "name", "component", "rule", "title", "stage", "standing", "since", "put aside until", "found", "do", "likely source", "tags"}

// standingTable is what stands as a table.
func (s site) standingTable(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, err := s.standingAsk(r)
	if err != nil {
		return nil, err
	}
	lines, err := s.all(ctx, r, &a)
	if err != nil {
		return nil, err
	}
	m := s.rowsFor(r)
	out := [][]string{standingHead}
	for i := range lines {
		al := lines[i].Alarm
		if al == nil {
			continue
		}
		t := m.reader(al.Reads).Said(&al.Transition)
		until := ""
		if !al.ShelvedUntil.IsZero() {
			until = al.ShelvedUntil.UTC().Format(time.RFC3339)
		}
		out = append(out, []string{harmless(t.Vehicle), harmless(al.Name), harmless(t.Component), harmless(t.Rule), harmless(t.Title), string(t.To), string(t.Standing),
			al.Since.UTC().Format(time.RFC3339), until, harmless(t.Message), harmless(t.Advise), harmless(strings.Join(t.PointsTo, "; ")), harmless(tagsOf(al.Tags))})
	}
	return table(string(a.View)+"-"+m.today+".csv", out)
}

var vehicleHead = []string{"vehicle", "name", "plate", "kind", "in service since", "state", "worst", "worst of", "next", "next on", "last reading", "tags"}

// vehiclesTable is the list of vehicles as a table.
func (s site) vehiclesTable(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, err := read(r, "")
	if err != nil {
		return nil, err
	}
	m := s.rowsFor(r)
	out := [][]string{vehicleHead}
	for a.Limit = paperLines; ; {
		p, err := s.vehiclesPage(ctx, r, a)
		switch {
		case err != nil:
			return nil, complete(err)
		case p.Total > mostRows:
			return nil, &frame.Fault{Status: http.StatusUnprocessableEntity, Title: sprintf(wordLong, unit.Grouped(float64(p.Total)), unit.Grouped(mostRows))}
		}
		for i := range p.Vehicles {
			out = append(out, m.vehicleRecord(&p.Vehicles[i]))
		}
		if p.Next == "" {
			return table("vehicles-"+m.today+".csv", out)
		}
		a.After = p.Next
	}
}

func (m rows) vehicleRecord(v *listing.Vehicle) []string {
	w := m.vehicle(v)
	worst, next, on := "", "", ""
	if v.Worst != nil {
		worst = string(v.Worst.To)
	}
	if v.Next != nil {
		next, on = v.Next.Title, firstOn(v.Next)
	}
	state := listing.InService
	if w.State != "" {
		state = w.State
	}
	return []string{harmless(v.Vehicle), harmless(v.Name), harmless(v.Plate), harmless(v.Kind), v.InService, state, worst, harmless(w.WorstOf), harmless(next), on, v.LastRead, harmless(tagsOf(v.Tags))}
}
