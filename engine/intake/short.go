package intake

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"telltale/engine"
	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// Short reads the short form in which people write events for cases and tests:
//
//	2031-01-02       vehicle bus-07 minibus meter odometer component transmission "automatic transmission" fluid ATF capacity 8L
//	2031-01-03T06:10 reading bus-07 odometer 81234.5km
//	2031-02-01       replaced bus-07 odometer 83000km 12km
//	2031-02-10       sample bus-07 transmission odometer 400km age 62000km Cu 131 Pb <1 reported 2031-02-19
//	2031-02-10T14:00 service bus-07 "transmission fluid" on transmission odometer 400km filled 4L
//	2031-02-20       answer bus-07 acknowledge "copper over baseline" on transmission by ines why "watching it"
//	2031-02-21       void bus-07 r-1
//	2031-02-22       tick
//
// A time without zone is UTC, a date is its midnight. Bare numbers take the
// book's unit: distance where a meter counts it. Any event may end in `id NAME`,
// `from SOURCE` and `reported TIME`. Without an id it has the given one. What
// cannot be read is a *ShortFault; what reads well and is wrong, as a capacity in
// km, is told as for any other way in.
func Short(line, id string, units rules.Units) (engine.Event, error) {
	words, err := split(line)
	if err != nil {
		return engine.Event{}, err
	}
	p := &shortReader{words: words, units: units, end: utf8.RuneCountInString(line) + 1}
	ev := engine.Event{ID: engine.ID{Source: "/case", ID: id}}
	ev.Time = p.time("the date")
	kind := p.next("what happened: vehicle, reading, replaced, sample, service, answer, void, tick or, in a case, baseline")
	if p.err == nil {
		p.body(&ev, kind)
	}
	if p.err != nil {
		return engine.Event{}, p.err
	}
	if ev.Recorded.IsZero() {
		ev.Recorded = ev.Time
	}
	if ev.Kind == engine.TickEvent {
		return Tick(ev.Time), nil
	}
	return recode(ev) // one set of checks for all ways in
}

// ShortFault is what is wrong with a line in short form, and where: Col is in
// characters from 1, one past the line where it ends too early.
type ShortFault struct {
	Col, Width int
	Text       string
}

// Error gives the column and the text.
func (f *ShortFault) Error() string { return fmt.Sprintf("column %d: %s", f.Col, f.Text) }

// word is one word of the line and the column, in runes from 1, where it begins.
type word struct {
	text   string
	col    int
	quoted bool
}

func split(line string) ([]word, error) {
	var out []word
	for i := 0; i < len(line); {
		if line[i] == ' ' {
			i++
			continue
		}
		col := utf8.RuneCountInString(line[:i]) + 1
		if line[i] == '"' {
			end := strings.IndexByte(line[i+1:], '"')
			if end < 0 {
				return nil, &ShortFault{col, utf8.RuneCountInString(line[i:]), "the quote is not closed"}
			}
			out = append(out, word{line[i+1 : i+1+end], col, true})
			i += end + 2
			continue
		}
		end := strings.IndexByte(line[i:], ' ')
		if end < 0 {
			end = len(line) - i
		}
		out = append(out, word{line[i : i+end], col, false})
		i += end
	}
	return out, nil
}

// shortReader takes the words one by one; the first thing wrong stays in err.
type shortReader struct {
	words []word
	at    int
	units rules.Units
	end   int // the column after the line
	err   error
}

func (p *shortReader) fault(w word, format string, args ...any) {
	if p.err == nil {
		width := utf8.RuneCountInString(w.text)
		if w.quoted {
			width += 2
		}
		p.err = &ShortFault{w.col, width, fmt.Sprintf(format, args...)}
	}
}

func (p *shortReader) more() bool { return p.err == nil && p.at < len(p.words) }

func (p *shortReader) word(what string) word {
	if p.at >= len(p.words) {
		if p.err == nil {
			p.err = &ShortFault{p.end, 1, "the line ends before " + what}
		}
		return word{}
	}
	p.at++
	return p.words[p.at-1]
}

func (p *shortReader) next(what string) string { return p.word(what).text }

func (p *shortReader) time(what string) time.Time {
	w := p.word(what)
	for _, form := range []string{time.DateOnly, "2006-01-02T15:04", time.RFC3339} {
		if t, err := time.Parse(form, w.text); err == nil {
			return t.UTC()
		}
	}
	p.fault(w, "%q is not a date like 2031-04-02 or a time like 2031-04-02T14:00", w.text)
	return time.Time{}
}

// quantity reads "81200km", "81200 km" or a bare number, which is in the unit def.
func (p *shortReader) quantity(what, def string) unit.Quantity {
	w := p.word(what)
	q, err := unit.Parse(w.text)
	if err != nil {
		p.fault(w, "%s: %v", what, err)
		return q
	}
	if q.Unit != "" {
		return q
	}
	if q.Unit = def; p.at < len(p.words) && !p.words[p.at].quoted {
		if _, ok := unit.Of(p.words[p.at].text); ok {
			q.Unit = p.next("")
		}
	}
	return q
}

// meterUnit is the unit of a bare number on that meter: hours for one whose name
// begins so.
func (p *shortReader) meterUnit(meter string) string {
	if strings.HasPrefix(meter, "hour") {
		return "h"
	}
	return p.units.Distance
}

func (p *shortReader) body(ev *engine.Event, kind string) {
	if kind == "tick" {
		ev.Kind = engine.TickEvent
		return
	}
	ev.Vehicle = p.next("the vehicle")
	switch kind {
	case "vehicle":
		p.vehicle(ev)
	case "reading":
		d := &engine.ReadingData{Meter: p.next("the meter")}
		q := p.quantity("its value", p.meterUnit(d.Meter))
		d.Value, d.Unit = q.Value, q.Unit
		ev.Kind, ev.Data = engine.ReadingEvent, d
	case "replaced":
		d := &engine.MeterReplacedData{Meter: p.next("the meter")}
		d.Last = p.quantity("the old one's last value", p.meterUnit(d.Meter))
		d.First = p.quantity("the new one's first value", p.meterUnit(d.Meter))
		ev.Kind, ev.Data = engine.MeterReplacedEvent, d
	case "sample":
		p.sample(ev)
	case "service":
		p.service(ev)
	case "answer":
		p.answer(ev)
	case "void":
		ev.Kind, ev.Data = engine.VoidEvent, &engine.VoidData{Source: "/case", ID: p.next("the id of the event that is taken out")}
	default:
		p.fault(p.words[1], "%q is none of vehicle, reading, replaced, sample, service, answer, void, tick (nor, in a case, baseline)", kind)
	}
	p.rest(ev, func(w word) bool { return false })
}

// rest reads the keys that may end any event, and those that the kind knows.
func (p *shortReader) rest(ev *engine.Event, known func(word) bool) {
	for p.more() {
		w := p.word("")
		switch {
		case known(w):
		case w.text == "id":
			ev.ID.ID = p.next("the id")
		case w.text == "from":
			ev.ID.Source = p.next("the source")
		case w.text == "reported":
			ev.Recorded = p.time("when it was reported")
		default:
			p.fault(w, "%q is not known here", w.text)
		}
	}
}

func (p *shortReader) vehicle(ev *engine.Event) {
	d := &engine.VehicleData{Name: ev.Vehicle, Kind: p.next("the kind of vehicle")}
	ev.Kind, ev.Data = engine.VehicleEvent, d
	p.rest(ev, func(w word) bool {
		last := len(d.Components) - 1
		switch w.text {
		case "meter", "hours":
			kind := map[string]string{"meter": "distance", "hours": "hours"}[w.text]
			d.Meters = append(d.Meters, engine.MeterDef{Name: p.next("the meter's name"), Kind: kind})
		case "tag":
			name, value, _ := strings.Cut(p.next("a tag like depot=north"), "=")
			if d.Tags == nil {
				d.Tags = map[string]string{}
			}
			d.Tags[name] = value
		case "since":
			d.InService = p.next("the date it went into service")
		case "zone":
			d.Zone = p.next("the time zone")
		case "retired":
			d.Retired = true
		case "component":
			d.Components = append(d.Components, engine.ComponentDef{Name: p.next("the component's name"), Kind: p.next("its kind")})
		case "fluid", "capacity":
			if last < 0 {
				p.fault(w, "%s comes after the component that it belongs to", w.text)
			} else if w.text == "fluid" {
				d.Components[last].Fluid = p.next("the fluid")
			} else {
				q := p.quantity("the capacity", p.units.Volume)
				d.Components[last].Capacity = &q
			}
		default:
			return false
		}
		return true
	})
}

// meterOr reads a meter's value if the word is no other key and a quantity follows.
func (p *shortReader) meterOr(w word, into *map[string]unit.Quantity) bool {
	name := w.text
	if name == "odo" {
		name = "odometer"
	}
	if *into == nil {
		*into = map[string]unit.Quantity{}
	}
	(*into)[name] = p.quantity("the value of "+name, p.meterUnit(name))
	return p.err == nil
}

func (p *shortReader) sample(ev *engine.Event) {
	d := &engine.SampleData{Component: p.next("the component"), Drawn: ev.Time.Format(time.DateOnly), Results: []engine.ResultData{}}
	if !ev.Time.Equal(ev.Time.Truncate(day)) {
		d.Drawn = "" // the time itself says when
	}
	ev.Kind, ev.Data = engine.SampleEvent, d
	p.rest(ev, func(w word) bool {
		switch w.text {
		case "id":
			ev.ID.ID = p.next("the id")
		case "from", "reported":
			return false
		case "age":
			q := p.quantity("the fluid's age", p.units.Distance)
			d.FluidAge = &q
		case "number":
			d.Number = p.next("the laboratory's number")
		case "revision":
			n := p.word("the revision")
			d.Revision, _ = strconv.Atoi(n.text)
		case "repeat":
			n := p.word("which analysis of the sample it is")
			d.Repeat, _ = strconv.Atoi(n.text)
		case "taken":
			d.Taken = p.next("before or after")
		default:
			if analytes.Known(w.text) {
				d.Results = append(d.Results, p.result(w.text))
				return true
			}
			return p.meterOr(w, &d.Meters)
		}
		return true
	})
	d.Number = cmp.Or(d.Number, ev.ID.ID)
}

// result reads a number in the analyte's own unit.
func (p *shortReader) result(analyte string) engine.ResultData {
	r := engine.ResultData{Analyte: analyte, Unit: cmp.Or(analytes.UnitOf(analyte), "index")}
	w := p.word("the result for " + analyte)
	text, below := strings.CutPrefix(w.text, "<")
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) {
		p.fault(w, "%s: %q is not a number, nor one like <5", analyte, w.text)
	}
	if _, decimals, _ := strings.Cut(text, "."); strings.HasSuffix(decimals, "0") {
		r.Decimals = len(decimals)
	}
	if below {
		r.Below = &v
	} else {
		r.Value = &v
	}
	return r
}

func (p *shortReader) service(ev *engine.Event) {
	d := &engine.ServiceData{}
	ev.Kind, ev.Data = engine.ServiceEvent, d
	fluid := func() *engine.FluidData {
		if d.Fluid == nil {
			d.Fluid = &engine.FluidData{}
		}
		return d.Fluid
	}
	keys := []string{"id", "from", "reported", "on", "by", "note", "filter", "fluid", "filled", "drained", "flush", "odo", "odometer", "hours"}
	p.rest(ev, func(w word) bool {
		switch {
		case w.quoted || !slices.Contains(keys, w.text) && len(d.Meters) == 0 && d.Component == "":
			d.Tasks = append(d.Tasks, w.text)
		case w.text == "on":
			d.Component = p.next("the component")
		case w.text == "by":
			d.By = p.next("who did it")
		case w.text == "note":
			d.Note = p.next("the note")
		case w.text == "filter":
			d.Filter = true
		case w.text == "flush":
			fluid().Flush = true
		case w.text == "fluid":
			fluid().Name = p.next("the fluid")
		case w.text == "filled" || w.text == "drained":
			q := p.quantity("how much was "+w.text, p.units.Volume)
			if w.text == "filled" {
				fluid().Filled = &q
			} else {
				fluid().Drained = &q
			}
		case w.text == "id" || w.text == "from" || w.text == "reported":
			return false
		default:
			return p.meterOr(w, &d.Meters)
		}
		return true
	})
}

func (p *shortReader) answer(ev *engine.Event) {
	d := &engine.AnswerData{Answer: p.next("the answer")}
	ev.Kind, ev.Data = engine.AnswerEvent, d
	switch d.Answer {
	case "acknowledge", "shelve", "unshelve":
		d.Rule = p.next("the rule")
	case "postpone", "accept":
		d.Task = p.next("the task")
	}
	p.rest(ev, func(w word) bool {
		switch w.text {
		case "on":
			d.Component = p.next("the component")
		case "until":
			d.Until = p.next("until when")
		case "by":
			d.By = p.next("who")
		case "why":
			d.Why = p.next("the reason")
		case "distance":
			q := p.quantity("by how far", p.units.Distance)
			d.ByDistance = &q
		default:
			return false
		}
		return true
	})
}
