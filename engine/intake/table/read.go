package table

import (
	"cmp"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/intake/job"
	"telltale/rules/english"
)

// Table is a file that was read whole.
type Table struct {
	// Events by the time at which they were reported; each has its row in Line.
	Events []event.Event
	Rows   int // with anything in them, below the headings
	// LeftOut are the rows that the mapping leaves out, NoValue those without any
	// meter value or result, Repeated those that say again what an earlier one says.
	LeftOut, NoValue, Repeated []int
	// TakenOut are the rows that were imported and then taken out; see Fresh.
	TakenOut []int
}

// Known is an event that the service knows, with the hash of what it says. TakenOut: it
// was taken out; the hash is "" where that came before the event.
type Known struct {
	event.ID
	Digest   string
	TakenOut bool
}

// Fleet is what a table is checked against.
type Fleet struct {
	Vehicles map[string]*event.VehicleData
	First    map[string]string // the first keys of vehicles that have another by now
	// Tasks gives the tasks and follow-ups that a vehicle has; nil where they are not
	// known.
	Tasks func(vehicle string) ([]job.Task, error)
	// Measures are what the rules have measured by hand; nil where that is not known.
	Measures func(vehicle string) (job.Measures, error)

	names map[string][]string // keys by each name, folded; nil until one is asked for
}

// FleetOf is the fleet that a register's events make, of which no tasks are known.
func FleetOf(register []event.Event) *Fleet {
	f := &Fleet{Vehicles: map[string]*event.VehicleData{}, First: map[string]string{}}
	for _, ev := range register {
		d := ev.Data.(*event.VehicleData)
		f.Vehicles[ev.Vehicle] = d
		if n := len(d.Was); n > 0 { // the newest stands first
			f.First[ev.Vehicle] = d.Was[n-1]
		}
	}
	return f
}

// Fresh are the events that are not known yet; known are those that are, by vehicle. A
// row that was taken out stays out, unless it says something else now. Where one is known
// with other content, or lies after the latest moment that an event may have, the error is
// a Faults.
func (t *Table) Fresh(file string, known map[string][]Known, latest time.Time) ([]event.Event, error) {
	var faults Faults
	var fresh []event.Event
	for _, ev := range t.Events {
		fault := func(text, hint string) {
			faults = append(faults, Fault{File: file, Row: ev.Line, Text: text, Hint: hint})
		}
		i := slices.IndexFunc(known[ev.Vehicle], func(k Known) bool { return k.ID == ev.ID })
		var k Known
		if i >= 0 {
			k = known[ev.Vehicle][i]
		}
		switch {
		case i >= 0 && k.TakenOut && (k.Digest == "" || k.Digest == ev.Hash()):
			t.TakenOut = append(t.TakenOut, ev.Line)
		case i >= 0 && !k.TakenOut && k.Digest != ev.Hash():
			fault(fmt.Sprintf("an entry %q of %s exists already and says something else", ev.ID.ID, ev.ID.Source), corrected(&ev))
		case i >= 0 && !k.TakenOut:
		case ev.Time.After(latest) || ev.Recorded.After(latest):
			fault("dated "+ev.Recorded.Format(time.DateOnly)+", which is more than a day ahead", "is the date order right?")
		default:
			fresh = append(fresh, ev)
		}
	}
	if faults != nil {
		return nil, faults
	}
	return fresh, nil
}

// corrected is how a row that is known comes in anew.
func corrected(ev *event.Event) string {
	if ev.Kind == event.SampleEvent {
		return "a corrected report has a higher revision: name its column, revision: {column: …}"
	}
	return "take the first out, then import again: telltale undo " + english.Typed(ev.Vehicle) + " " + english.Typed(ev.ID.ID)
}

// reader reads one file by a mapping.
type reader struct {
	*Mapping
	fleet  *Fleet // nil where nothing is checked
	file   string
	head   row
	at     map[*value]int // the column of each value, from 0
	faults Faults
	table  Table
	err    error // of a question to the fleet

	row   row
	ok    bool           // nothing is wrong with the row so far
	out   bool           // the mapping leaves the row out
	paths map[string]int // where in the event's data each column went

	ids     map[event.ID]int // the index of its event
	samples map[string]int   // of a table with one result a row: the index by row key
}

// Read reads a file, named so in the faults, as events. Anything wrong with it is
// a Faults, all at once, and then there are no events. fleet may be nil.
func (m *Mapping) Read(file string, in io.Reader, fleet *Fleet) (*Table, error) {
	return m.ReadFirst(file, in, fleet, maxRows)
}

// text is the whole file in UTF-8.
func (m *Mapping) text(file string, in io.Reader) (string, error) {
	raw, err := readAll(file, in)
	if err != nil {
		return "", err
	}
	text, fault := m.decode(file, raw)
	if fault != nil {
		return "", Faults{*fault}
	}
	return text, nil
}

// ReadFirst is [Mapping.Read] of no more than the first rows that have anything in them.
func (m *Mapping) ReadFirst(file string, in io.Reader, fleet *Fleet, most int) (*Table, error) {
	text, err := m.text(file, in)
	if err != nil {
		return nil, err
	}
	r := &reader{Mapping: m, fleet: fleet, file: file, at: map[*value]int{}, ids: map[event.ID]int{}, samples: map[string]int{}}
	head, body, faults := m.rows(file, text)
	body = body[:min(most, len(body))]
	r.head, r.faults = head, faults
	if head.cells == nil {
		if len(faults) == 0 {
			r.faults = Faults{{File: file, Text: fmt.Sprintf("it has no row %d with headings", m.heading), Hint: m.cure("heading: 1")}}
		}
		return nil, r.faults
	}
	r.resolve()
	if len(r.faults) == 0 {
		for _, r.row = range body {
			r.read()
		}
	}
	if r.err != nil {
		return nil, r.err
	}
	if len(r.faults) == 0 {
		r.finish()
	}
	if len(r.faults) > 0 {
		slices.SortStableFunc(r.faults, func(a, b Fault) int { return cmp.Or(cmp.Compare(a.Row, b.Row), cmp.Compare(a.Col, b.Col)) })
		return nil, r.faults
	}
	slices.SortStableFunc(r.table.Events, func(a, b event.Event) int { return a.Recorded.Compare(b.Recorded) })
	r.table.Rows = len(body)
	return &r.table, nil
}

// resolve finds the column of each value.
func (r *reader) resolve() {
	for _, v := range r.values() {
		switch {
		case v.number > len(r.head.cells):
			r.add(r.head.number, 1, "", "%s is column %d, the file has %d", v.key, v.number, len(r.head.cells))
		case v.number > 0:
			r.at[v] = v.number - 1
		case v.column != "":
			r.find(v)
		}
	}
}

func (m *Mapping) values() []*value {
	var out []*value
	for _, key := range keysOf(m.kind) {
		if v := m.fields[key]; v != nil {
			out = append(out, v)
		}
	}
	if m.of != nil {
		out = append(out, m.of.values()...)
	}
	for _, n := range slices.Concat(m.meters, m.results) {
		out = append(out, n.value)
	}
	if m.long != nil {
		out = append(out, m.long.analyte, m.long.result, m.long.unit)
	}
	for _, v := range out {
		if v.average != nil {
			out = append(out, v.average)
		}
	}
	return append(out, m.id...)
}

func (r *reader) find(v *value) {
	var found []int
	var have []string
	for i, cell := range r.head.cells {
		name := oneBlank(cell)
		if have = append(have, name); name == v.column {
			found = append(found, i)
		}
	}
	switch {
	case len(found) == 1:
		r.at[v] = found[0]
	case len(found) > 1:
		r.add(r.head.number, found[1]+1, r.cure(v.entry(fmt.Sprintf("column number: %d", found[0]+1))),
			"%d columns are headed %q", len(found), v.column)
	default:
		r.add(r.head.number, 1, r.missing(v, have), "no column is headed %q (%s)", v.column, v.key)
	}
}

// missing is the cure for a column that is not there.
func (r *reader) missing(v *value, have []string) string {
	if len(have) == 1 {
		for _, d := range []struct{ mark, word string }{{";", "semicolon"}, {"\t", "tab"}, {"|", "bar"}, {",", "comma"}} {
			if strings.Count(r.head.cells[0], d.mark) > 1 && d.mark != string(r.delimiter) {
				return r.cure("delimiter: " + d.word)
			}
		}
	}
	hint := "its columns are: " + shortened(strings.Join(have, ", "), 200)
	if near := nearColumn(v.column, have); near != "" {
		hint = r.cure(v.entry("column: "+strconv.Quote(near))) + "; " + hint
	}
	return hint
}

func (r *reader) add(row, col int, hint, format string, args ...any) {
	r.ok = false
	r.faults = append(r.faults, Fault{r.file, row, col, fmt.Sprintf(format, args...), hint})
}

// fault reports what is wrong with the row's cell of a value.
func (r *reader) fault(v *value, cure, format string, args ...any) {
	r.add(r.row.number, r.col(v), cure, format, args...)
}

func (r *reader) wrong(v *value, w wrong) {
	cure := w.cure
	if key, _, ok := strings.Cut(cure, ": "); ok && slices.Contains(keysOf(r.kind), key) {
		cure = r.cure(cure)
	}
	r.fault(v, cure, "%s%s", w.text, r.under(v))
}

// under names the column in a fault.
func (r *reader) under(v *value) string {
	if c, ok := r.at[v]; ok {
		return fmt.Sprintf(" (column %q)", oneBlank(r.head.cells[c]))
	}
	return ""
}

// col is the column of a value from 1.
func (r *reader) col(v *value) int {
	if c, ok := r.at[v]; ok {
		return c + 1
	}
	return 1
}

// read reads one row.
func (r *reader) read() {
	r.ok, r.out, r.paths = true, false, map[string]int{}
	if !r.shape() {
		return
	}
	events := r.events()
	switch {
	case r.out:
		r.table.LeftOut = append(r.table.LeftOut, r.row.number)
	case !r.ok:
	case len(events) == 0:
		r.table.NoValue = append(r.table.NoValue, r.row.number)
	}
	if !r.ok || r.out {
		return
	}
	for _, ev := range events {
		r.keep(ev)
	}
}

// shape looks at the row's cells as such.
func (r *reader) shape() bool {
	n, want := len(r.row.cells), len(r.head.cells)
	switch {
	case n < want:
		r.add(r.row.number, n+1, "each row needs as many cells as the headings", "%d cells, but the headings are %d", n, want)
	case n > want && !blankRow(r.row.cells[want:]):
		r.add(r.row.number, want+1, "a cell that holds the delimiter must be in quotes", "%d cells, but the headings are %d", n, want)
	}
	for i, c := range r.row.cells {
		if len(c) > maxCell {
			r.add(r.row.number, i+1, "", "a cell of %d bytes; the limit is %d", len(c), maxCell)
		}
	}
	return r.ok
}

// keep takes the event in, checked as one that came in any other way.
func (r *reader) keep(ev event.Event) {
	ev, ok := r.checked(ev)
	if !ok {
		return
	}
	if r.long != nil {
		r.gather(ev)
		return
	}
	if i, there := r.ids[ev.ID]; there {
		if have := &r.table.Events[i]; have.Digest == ev.Digest {
			r.table.Repeated = append(r.table.Repeated, r.row.number)
		} else {
			r.twice(have.Line, ev.ID.ID)
		}
		return
	}
	r.ids[ev.ID] = len(r.table.Events)
	r.table.Events = append(r.table.Events, ev)
}

func (r *reader) twice(first int, id string) {
	if r.kind == event.VehicleEvent {
		r.add(r.row.number, r.col(r.fields["vehicle"]), "keep one of them", "the same vehicle as in row %d, but says something else", first)
		return
	}
	cure := "id: [" + strings.Join(r.idNames(), ", ") + ", ANOTHER COLUMN]"
	if r.kind == event.SampleEvent {
		cure = "revision: {column: …}, or " + cure
	}
	r.add(r.row.number, 1, r.cure(cure), "it has the id %q as row %d has, but says something else", id, first)
}

// idNames are the headings that name a row, or the kind's own parts.
func (r *reader) idNames() []string {
	var out []string
	for _, v := range r.id {
		out = append(out, v.column)
	}
	if out != nil {
		return out
	}
	for _, key := range idParts[r.kind] {
		if v := r.fields[key]; v != nil && v.column != "" {
			out = append(out, v.column)
		}
	}
	return out
}

// checked takes the event through the one set of checks for all ways in, and finds
// the column that a fault speaks of.
func (r *reader) checked(ev event.Event) (event.Event, bool) {
	read, err := intake.Checked(ev)
	if read.Line = r.row.number; err == nil {
		return read, true
	}
	col, longest := 1, -1
	if f, ok := errors.AsType[*intake.Fault](err); ok {
		for path, c := range r.paths {
			if strings.HasPrefix(f.At, path) && len(path) > longest {
				col, longest = c, len(path)
			}
		}
	}
	r.add(r.row.number, col, "", "%s", strings.TrimPrefix(err.Error(), "data.")) // an event's word, not the table's
	return read, false
}

// gather puts the results of rows of one sample together.
func (r *reader) gather(ev event.Event) {
	d := ev.Data.(*event.SampleData)
	i, there := r.samples[ev.ID.ID]
	if !there {
		r.samples[ev.ID.ID] = len(r.table.Events)
		r.table.Events = append(r.table.Events, ev)
		return
	}
	have := &r.table.Events[i]
	if what := differs(have, &ev); what != "" {
		r.add(r.row.number, r.paths["data."+what], "", "the same sample as row %d, but with another %s", have.Line, what)
		return
	}
	all := have.Data.(*event.SampleData)
	for _, res := range all.Results {
		if res.Analyte == d.Results[0].Analyte {
			r.add(r.row.number, r.col(r.long.analyte), "", "%s of this sample is already in an earlier row", res.Analyte)
			return
		}
	}
	all.Results = append(all.Results, d.Results...)
}

// differs names what two rows of one sample do not agree on.
func differs(a, b *event.Event) string {
	x, y := *a.Data.(*event.SampleData), *b.Data.(*event.SampleData)
	switch {
	case a.Vehicle != b.Vehicle:
		return "vehicle"
	case !a.Time.Equal(b.Time) || x.Drawn != y.Drawn:
		return "date"
	case !a.Recorded.Equal(b.Recorded):
		return "date of report"
	case cmp.Compare(fmt.Sprint(x.FluidAge, x.AverageAge, x.Density), fmt.Sprint(y.FluidAge, y.AverageAge, y.Density)) != 0:
		return "age or density"
	case fmt.Sprint(x.Meters) != fmt.Sprint(y.Meters):
		return "meter value"
	case x.Taken != y.Taken || x.Laboratory != y.Laboratory || x.Method != y.Method || x.Point != y.Point:
		return "laboratory, method or point"
	}
	return ""
}

// finish gives samples put together of several rows the hash of the whole.
func (r *reader) finish() {
	if r.long == nil {
		return
	}
	for i, ev := range r.table.Events {
		r.row.number, r.paths = ev.Line, nil
		r.table.Events[i], _ = r.checked(ev)
	}
}

// first is the key by which the vehicle's events are known for good.
func (r *reader) first(vehicle string) string {
	if r.fleet == nil {
		return vehicle
	}
	return cmp.Or(r.fleet.First[vehicle], vehicle)
}

// identity names the row's event: the same file gives the same names.
func (r *reader) identity(own []string) event.ID {
	parts := own
	switch {
	case r.idByRow:
		parts = []string{"row", strconv.Itoa(r.row.number)}
	case r.id != nil:
		parts = nil
		for _, v := range r.id {
			text := r.cell(v)
			if text == "" {
				r.fault(v, "", "empty, but it names the row%s", r.under(v))
			}
			parts = append(parts, text)
		}
	}
	for i := range parts {
		parts[i] = strings.NewReplacer("%", "%25", "/", "%2F").Replace(parts[i])
	}
	id := strings.Join(parts, "/")
	if len(id) > 200 { // with the meter's name within what an identity may be long
		id = fmt.Sprintf("%x", sha256.Sum256([]byte(id)))
	}
	return event.ID{Source: r.source, ID: id}
}
