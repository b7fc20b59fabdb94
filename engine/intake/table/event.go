package table

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/intake/job"
	"telltale/engine/intake/typed"
	"telltale/engine/record"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/source"
	"telltale/rules/unit"
)

// idParts are the fields that name a row where the mapping does not say.
var idParts = map[event.Kind][]string{
	event.SampleEvent:  {"number", "component", "revision", "repeat"},
	event.ReadingEvent: {"vehicle", "date", "time"},
	event.ServiceEvent: {"vehicle", "date", "time", "component", "tasks"},
}

// events makes what the row says; none where it has no value.
func (r *reader) events() []event.Event {
	if r.kind == event.VehicleEvent {
		return r.registration()
	}
	ev := event.Event{Kind: r.kind, Vehicle: r.vehicle()}
	when := r.when(&ev)
	if r.out {
		return nil
	}
	switch r.kind {
	case event.SampleEvent:
		return r.sample(ev, when)
	case event.ServiceEvent:
		return r.service(ev)
	}
	return r.readings(ev)
}

// cell is the text of the row under a value; "" where there is none.
func (r *reader) cell(v *value) string {
	if v == nil {
		return ""
	}
	if v.always != "" {
		return v.always
	}
	return strings.TrimFunc(r.row.cells[r.at[v]], typed.IsBlank)
}

// text is the cell in one line, as the mapping's names have it. ok is false where the
// mapping leaves out what it says, or it is a formula.
func (r *reader) text(key string) (s string, ok bool) {
	v := r.fields[key]
	return r.named(v, oneBlank(r.cell(v)))
}

func (r *reader) named(v *value, s string) (string, bool) {
	if v == nil || s == "" {
		return "", true
	}
	if slices.Contains(v.leaveOut, s) {
		return "", false
	}
	if name, ok := v.names[s]; ok {
		return name, true
	}
	if w := notText(s); w.any() && v.always == "" {
		r.wrong(v, w)
	}
	return s, true
}

// notText says what a spreadsheet leaves in place of a text: a formula, or its error.
func notText(s string) wrong {
	switch {
	case strings.HasPrefix(s, "="):
		return bad("save the sheet with values in place of formulas", "%q is a formula, not its value", short(s))
	case strings.HasPrefix(s, "#") && slices.Contains([]string{"#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NUM!", "#NULL!"}, s):
		return bad("correct the formula in the spreadsheet", "%q is a formula's error, not its value", s)
	}
	return wrong{}
}

// need is text of what must not be empty.
func (r *reader) need(key string) string {
	s, ok := r.text(key)
	switch v := r.fields[key]; {
	case !ok:
		r.out = true
	case s == "" && v != nil:
		r.fault(v, "", "empty, but every row needs a %s%s", key, r.under(v))
	}
	return s
}

func (r *reader) vehicle() string {
	v := r.fields["vehicle"]
	s := r.need("vehicle")
	r.paths["subject"] = r.col(v)
	if r.fleet == nil || s == "" || r.out {
		return s
	}
	called := r.fleet.called(s)
	switch {
	case len(called) == 1:
		return called[0]
	case called != nil:
		r.fault(v, r.renamed(v, called[0]), "%q may be %s%s", s, english.List("or", called), r.under(v))
	default:
		r.fault(v, r.renamed(v, cmp.Or(r.nearVehicle(s), "NAME IN THE REGISTER"))+"; or register it, or leave its rows out", "%q is not a vehicle of the register%s", s, r.under(v))
	}
	return s
}

// called are the keys of the vehicles that have the name: as their key to the letter, or as
// a key, a name, a plate or a VIN, however it is written.
func (f *Fleet) called(name string) []string {
	if _, ok := f.Vehicles[name]; ok {
		return []string{name}
	}
	if f.names == nil {
		f.names = map[string][]string{}
		for _, key := range slices.Sorted(maps.Keys(f.Vehicles)) {
			for _, n := range append(f.Vehicles[key].Names(key), f.First[key]) {
				n = english.Folded(n)
				if n != "" && !slices.Contains(f.names[n], key) {
					f.names[n] = append(f.names[n], key)
				}
			}
		}
	}
	return f.names[english.Folded(name)]
}

// renamed is the line of the mapping that gives the row's cell another name.
func (r *reader) renamed(v *value, name string) string {
	from := "column: " + strconv.Quote(v.column)
	if v.number > 0 {
		from = fmt.Sprintf("column number: %d", v.number)
	}
	if v.always != "" {
		return r.cure(v.entry("always: " + name))
	}
	return r.cure(v.entry(fmt.Sprintf("%s, names: {%s: %s}", from, strconv.Quote(oneBlank(r.cell(v))), name)))
}

// nearVehicle finds the vehicle that is meant, by its id or what people call it.
func (r *reader) nearVehicle(s string) string {
	id, err := job.Vehicle(r.fleet.Vehicles, s)
	if e, ok := errors.AsType[*job.Error](err); ok {
		return e.Near
	}
	return id
}

func nearColumn(name string, have []string) string {
	for _, h := range have {
		if english.Folded(h) == english.Folded(name) {
			return h
		}
	}
	return source.Near(name, have)
}

// registered is the vehicle's registration; nil where nothing is checked.
func (r *reader) registered(vehicle string) *event.VehicleData {
	if r.fleet == nil {
		return nil
	}
	return r.fleet.Vehicles[vehicle]
}

func (r *reader) component(vehicle string) string {
	s, ok := r.text("component")
	if !ok {
		r.out = true
		return ""
	}
	v, reg := r.fields["component"], r.registered(vehicle)
	if s == "" && r.kind == event.SampleEvent {
		r.need("component")
	}
	if reg == nil || s == "" {
		return s
	}
	var have []string
	for _, c := range reg.Components {
		have = append(have, c.Name)
	}
	if !slices.Contains(have, reg.Present().Component(s)) { // one that was renamed stays, so that the same file is known again
		r.fault(v, r.renamed(v, nearOr(s, have))+"; it has "+cmp.Or(strings.Join(have, ", "), "none"), "%s has no component %q%s", vehicle, s, r.under(v))
	}
	return s
}

func nearOr(s string, have []string) string {
	if len(have) == 1 {
		return have[0]
	}
	return cmp.Or(source.Near(s, have), "NAME IN THE REGISTER")
}

// analyteNear is the analyte of the nearest symbol or English name.
func analyteNear(s string) string {
	names := analytes.Names()
	for _, name := range analytes.Names() {
		a, _ := analytes.Of(name)
		names = append(names, a.Title)
	}
	if a, ok := analytes.Find(source.Near(s, names)); ok {
		return a.Name
	}
	return "ITS NAME IN RULES"
}

// when reads the event's times.
func (r *reader) when(ev *event.Event) moment {
	date := r.need("date")
	if date == "" {
		return moment{}
	}
	m, w := r.dates.parse(date, r.cell(r.fields["time"]))
	switch {
	case w.any() && w.inTime:
		r.wrong(r.fields["time"], w)
		return m
	case w.any():
		r.wrong(r.fields["date"], w)
		return m
	}
	r.paths["time"], r.paths["data.drawn"] = r.col(r.fields["date"]), r.col(r.fields["date"])
	ev.Time, ev.Recorded = m.time, m.time
	v := r.fields["reported"]
	if s := r.cell(v); s != "" {
		reported, w := r.dates.parse(s, "")
		switch {
		case w.any():
			r.wrong(v, w)
		case reported.date < m.date:
			r.fault(v, "are the columns of date and reported the right way round?", "reported on %s, before the %s of the event%s", reported.date, m.date, r.under(v))
		case reported.time.After(m.time): // of the same day, without a time: not before
			ev.Recorded = reported.time
		}
		r.paths["recordedtime"] = r.col(v)
	}
	return m
}

// quantity reads a number with its unit; nil where the cell says that there is none.
func (r *reader) quantity(v *value, path string) *unit.Quantity {
	s := r.cell(v)
	if v == nil || s == "" || r.means(s, r.notMeasured) {
		return nil
	}
	x, w := r.number(v, s, v.unit)
	if w.any() {
		r.wrong(v, w)
		return nil
	}
	r.paths[path] = r.col(v)
	return &unit.Quantity{Value: x, Unit: v.unit}
}

func (r *reader) means(s string, words []string) bool {
	return slices.Contains(words, strings.ToLower(oneBlank(s)))
}

// number reads a cell that may end in the unit that the mapping gives it.
func (r *reader) number(v *value, s, u string) (float64, wrong) {
	if w := notText(s); w.any() {
		return 0, w
	}
	i := strings.LastIndexAny(s, digits) + 1
	switch tail := strings.TrimFunc(s[i:], typed.IsBlank); {
	case i == 0 || tail == "" || strings.Trim(tail, ".,") == "":
	case tail == u:
		s = s[:i]
	default:
		if _, known := unit.Of(tail); known {
			return 0, bad("", "%q is in %s, the mapping says %s", short(s), tail, u)
		}
	}
	return r.marks.parse(s)
}

// meterValues reads the meters of the row.
func (r *reader) meterValues(vehicle string) map[string]unit.Quantity {
	out := map[string]unit.Quantity{}
	reg := r.registered(vehicle)
	for _, m := range r.meters {
		q := r.quantity(m.value, "data.meters["+strconv.Quote(m.name)+"]")
		if q == nil {
			continue
		}
		if reg != nil && len(reg.Meters) > 0 && !slices.ContainsFunc(reg.Meters, func(d event.MeterDef) bool { return d.Name == reg.Present().Meter(m.name) }) {
			var have []string
			for _, d := range reg.Meters {
				have = append(have, d.Name)
			}
			r.fault(m.value, r.cure(fmt.Sprintf("meters: {%s: {column: %s, unit: %s}}", nearOr(m.name, have), strconv.Quote(m.column), m.unit)),
				"%s has no meter %q%s", vehicle, m.name, r.under(m.value))
		}
		out[m.name] = *q
	}
	return out
}

func (r *reader) readings(ev event.Event) []event.Event {
	var out []event.Event
	values := r.meterValues(ev.Vehicle)
	v := r.fields["topped up"]
	topped := r.quantity(v, "data.toppedUp")
	if len(values) == 0 {
		if topped != nil {
			r.fault(v, "import such rows as services", "topped up, but no meter was read%s", r.under(v))
		}
		return nil
	}
	id := r.identity([]string{r.first(ev.Vehicle), ev.Time.UTC().Format(time.RFC3339)})
	for _, m := range r.meters {
		q, ok := values[m.name]
		if !ok {
			continue
		}
		one := ev
		one.ID = event.ID{Source: id.Source, ID: id.ID + "/" + m.name}
		d := &event.ReadingData{Meter: m.name, Value: q.Value, Unit: q.Unit}
		if topped != nil { // of several meters the first tells of it
			d.ToppedUp, d.Component, topped = topped, r.component(ev.Vehicle), nil
		}
		one.Data = d
		r.paths["data"] = r.col(m.value)
		out = append(out, one)
	}
	return out
}

// fill sets the fields of the event's data that the mapping has a place for.
func (r *reader) fill(ev *event.Event) {
	for _, f := range intake.Fields(r.kind) {
		v := r.fields[f.Key]
		if v == nil {
			continue
		}
		path := "data." + f.Path
		r.paths[path] = r.col(v)
		switch at := f.In(ev.Data).(type) {
		case *string:
			switch f.Key {
			case "component":
				*at = r.component(ev.Vehicle)
			case "number":
				*at = r.need(f.Key)
			case "valid until":
				*at = r.day(v)
			case "note":
				*at = r.cell(v) // free text: what would be a formula elsewhere is only shown
			default:
				*at, _ = r.text(f.Key)
			}
		case *bool:
			*at = r.yes(f.Key)
		case *int:
			*at = r.whole(f.Key)
		case **unit.Quantity:
			*at = r.quantity(v, path)
		case *[]string:
			*at = r.tasks(ev.Vehicle)
		}
	}
}

func (r *reader) service(ev event.Event) []event.Event {
	d := &event.ServiceData{Meters: r.meterValues(ev.Vehicle)}
	ev.Data = d
	r.fill(&ev)
	if d.Fluid != nil && *d.Fluid == (event.FluidData{}) {
		d.Fluid = nil
	}
	if r.out || len(d.Tasks)+len(d.Meters) == 0 && d.Fluid == nil && d.ToppedUp == nil && !d.Filter && d.Note == "" && d.Defect == "" {
		return nil
	}
	ev.ID = r.identity([]string{r.first(ev.Vehicle), ev.Time.UTC().Format(time.RFC3339), d.Component, strings.Join(d.Tasks, "+")})
	r.findOwner(ev.Vehicle, d)
	return []event.Event{ev}
}

// day reads a cell with a date, as YYYY-MM-DD; "" where it is empty.
func (r *reader) day(v *value) string {
	s := r.cell(v)
	if s == "" {
		return ""
	}
	m, w := r.dates.parse(s, "")
	if w.any() {
		r.wrong(v, w)
	}
	return m.date
}

// whole reads a whole number from 0; 0 where there is none.
func (r *reader) whole(key string) int {
	s, _ := r.text(key)
	if s == "" {
		return 0
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 0 {
		r.fault(r.fields[key], "", "%s %q is not a whole number from 0", key, s)
	}
	return n
}

// yes reads a cell that says yes or no, by the mapping's names.
func (r *reader) yes(key string) bool {
	s, _ := r.text(key)
	switch strings.ToLower(s) {
	case "yes":
		return true
	case "no", "":
		return false
	}
	v := r.fields[key]
	r.fault(v, r.renamed(v, `"yes"`)+`, or "no"`, "%q is neither yes nor no%s", s, r.under(v))
	return false
}

func (r *reader) tasks(vehicle string) []string {
	v := r.fields["tasks"]
	parts := []string{r.cell(v)}
	if v.split != "" && v.always == "" {
		parts = strings.Split(parts[0], v.split)
	}
	var out []string
	have := r.tasksOf(vehicle)
	for _, p := range parts {
		name, ok := r.named(v, oneBlank(p))
		if !ok || name == "" {
			continue
		}
		if have != nil {
			name = r.taskMeant(vehicle, have, v, name, oneBlank(p))
		}
		if !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}

// tasksOf are the tasks of a vehicle; nil where they are not known.
func (r *reader) tasksOf(vehicle string) (have []job.Task) {
	if r.fleet != nil && r.fleet.Tasks != nil && r.registered(vehicle) != nil && r.err == nil {
		have, r.err = r.fleet.Tasks(vehicle)
	}
	return have
}

// taskMeant is the name of the task that a cell means, by its name or its title.
func (r *reader) taskMeant(vehicle string, have []job.Task, v *value, name, cell string) string {
	meant, err := job.Meant(vehicle, have, name)
	if err == nil {
		return meant
	}
	near := "NAME IN THE RULES"
	if e, ok := errors.AsType[*job.Error](err); ok {
		near = cmp.Or(e.Near, near)
	}
	cure := fmt.Sprintf("tasks: {column: %s, names: {%s: %s}}", strconv.Quote(v.column), strconv.Quote(cell), near)
	r.fault(v, r.cure(cure)+", or under leave out", "%v%s", err, r.under(v))
	return name
}

// findOwner finds the component whose fluid the work was on, where the row names none:
// that which its tasks are kept for. Where there are several the mapping has to say.
func (r *reader) findOwner(vehicle string, d *event.ServiceData) {
	reg := r.registered(vehicle)
	if reg == nil || d.Component != "" || d.Exchanged() == nil && d.ToppedUp == nil {
		return
	}
	kept := job.KeptFor(r.tasksOf(vehicle), d.Tasks)
	if c := reg.ComponentNamed(strings.Join(kept, "\x00")); c != nil { // the only one
		if d.Component = c.Name; d.Fluid != nil && d.Fluid.Name == "" {
			d.Fluid.Name = c.Fluid
		}
		return
	}
	if d.Exchanged() == nil || len(reg.Components) == 0 || record.NamesItsComponent(d, reg) {
		return
	}
	have := kept
	if len(kept) == 0 {
		for _, c := range reg.Components {
			have = append(have, c.Name)
		}
	}
	r.fault(r.fields["component"], r.cure("component: {always: "+have[0]+"}"), "which component? %s has %s", vehicle, strings.Join(have, ", "))
}
