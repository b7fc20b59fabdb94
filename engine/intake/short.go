package intake

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/lab"
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
//	2031-02-11       sample bus-07 transmission age 62000km Cu 131 Pb 2 average Cu 40 Pb 3 at 60000km
//	2031-02-11       measured bus-07 odometer 81200km "front lining" 6.5mm "tread depth" 4mm
//	2031-02-10T14:00 service bus-07 "transmission fluid" on transmission odometer 400km filled 4L
//	2031-02-20       answer bus-07 acknowledge "copper over baseline" on transmission by ines why "watching it"
//	2031-02-21       void bus-07 r-1
//	2031-02-22       tick
//
// A time without zone is UTC, a date is its midnight. Bare numbers take the
// given unit: distance where a meter counts it. Any event may end in `id NAME`,
// `from SOURCE` and `reported TIME`. Without an id it has the given one. What
// cannot be read is a *ShortFault; what reads well and is wrong, as a capacity in
// km, is told as for any other way in.
func Short(line, id string, units unit.System) (event.Event, error) {
	words, err := split(line)
	if err != nil {
		return event.Event{}, err
	}
	p := &shortReader{words: words, units: units, end: utf8.RuneCountInString(line) + 1}
	ev := event.Event{ID: event.ID{Source: "/case", ID: id}}
	ev.Time = p.time("the date")
	if kind := p.next("what happened: " + shortKinds + " or, in a case, baseline"); p.err == nil {
		p.body(&ev, kind)
	}
	if p.err != nil {
		return event.Event{}, p.err
	}
	if ev.Recorded.IsZero() {
		ev.Recorded = ev.Time
	}
	if ev.Kind == event.TickEvent {
		return Tick(ev.Time), nil
	}
	return Checked(ev) // one set of checks for all ways in
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

var shortWord = regexp.MustCompile(`"[^"]*"?|[^ ]+`)

func split(line string) (out []word, err error) {
	for _, at := range shortWord.FindAllStringIndex(line, -1) {
		w := word{line[at[0]:at[1]], utf8.RuneCountInString(line[:at[0]]) + 1, line[at[0]] == '"'}
		if w.quoted && (len(w.text) < 2 || !strings.HasSuffix(w.text, `"`)) {
			return nil, &ShortFault{w.col, utf8.RuneCountInString(w.text), "the quote is not closed"}
		}
		if w.quoted {
			w.text = strings.Trim(w.text, `"`)
		}
		out = append(out, w)
	}
	return out, nil
}

// shortReader takes the words one by one; the first thing wrong stays in err.
type shortReader struct {
	words []word
	at    int
	units unit.System
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

func (p *shortReader) body(ev *event.Event, kind string) {
	if kind == "tick" {
		ev.Kind = event.TickEvent
		return
	}
	ev.Vehicle = p.next("the vehicle")
	if kind == measuredShort {
		ev.Kind = event.SampleEvent
		p.measured(ev)
		return
	}
	k := slices.IndexFunc(forms[:], func(f form) bool { return f.short == kind && f.words != nil })
	if k < 0 {
		p.fault(p.words[1], "%q is none of "+shortKinds+" (nor, in a case, baseline)", kind)
		return
	}
	ev.Kind = event.Kind(k)
	forms[k].words(p, ev)
	p.rest(ev, func(w word) bool { return false })
}

const (
	shortKinds = "vehicle, reading, replaced, sample, measured, service, answer, void, tick"
	// measuredShort is the word of a sample that was measured by hand on the vehicle.
	measuredShort = "measured"
)

func (p *shortReader) reading(ev *event.Event) {
	d := &event.ReadingData{Meter: p.next("the meter")}
	q := p.quantity("its value", p.meterUnit(d.Meter))
	d.Value, d.Unit = q.Value, q.Unit
	ev.Data = d
	p.rest(ev, func(w word) bool { return p.field(w, readingFields, d) })
}

func (p *shortReader) replaced(ev *event.Event) {
	d := &event.MeterReplacedData{Meter: p.next("the meter")}
	d.Last = p.quantity("the old one's last value", p.meterUnit(d.Meter))
	d.First = p.quantity("the new one's first value", p.meterUnit(d.Meter))
	ev.Data = d
}

func (p *shortReader) void(ev *event.Event) {
	ev.Data = &event.VoidData{Source: "/case", ID: p.next("the id of the event that is taken out")}
}

// field reads the value of the field of the data that the word is for; it reports
// false where there is none.
func (p *shortReader) field(w word, fields []Field, data any) bool {
	i := slices.IndexFunc(fields, func(f Field) bool { return f.Short == w.text && f.Short != Apart })
	if i < 0 {
		return false
	}
	switch f := fields[i]; at := f.In(data).(type) {
	case *string:
		*at = p.next(f.Asked)
	case *[]string:
		*at = append(*at, p.next(f.Asked))
	case *int:
		*at, _ = strconv.Atoi(p.next(f.Asked))
	case *bool:
		*at = true
	case **unit.Quantity:
		bare := p.units.Distance
		if f.Units[0] == unit.Volume {
			bare = p.units.Volume
		}
		q := p.quantity(f.Asked, bare)
		*at = &q
	}
	return true
}

// rest reads the keys that may end any event, and those that the kind knows.
func (p *shortReader) rest(ev *event.Event, known func(word) bool) {
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

// endings are the words of rest.
var endings = []string{"id", "from", "reported"}

func (p *shortReader) vehicle(ev *event.Event) {
	d := &event.VehicleData{Name: ev.Vehicle, Kind: p.next("the kind of vehicle")}
	ev.Data = d
	p.rest(ev, func(w word) bool {
		switch last := len(d.Components) - 1; w.text {
		case "meter", "hours":
			d.Meters = append(d.Meters, event.MeterDef{Name: p.next("the meter's name"), Kind: map[string]string{"meter": "distance", "hours": "hours"}[w.text]})
		case "tag":
			name, value, _ := strings.Cut(p.next("a tag like depot=north"), "=")
			if d.Tags == nil {
				d.Tags = map[string]string{}
			}
			d.Tags[name] = value
		case "component":
			d.Components = append(d.Components, event.ComponentDef{Name: p.next("the component's name"), Kind: p.next("its kind")})
		case "fluid", "capacity", "fitted":
			if last < 0 {
				p.fault(w, "%s comes after the component that it belongs to", w.text)
			} else {
				p.field(w, componentFields, &d.Components[last])
			}
		default:
			return p.field(w, vehicleFields, d)
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

// drawnAt is the event's sample, as of its date or, where the time itself says when, of that.
func drawnAt(ev *event.Event) *event.SampleData {
	d := &event.SampleData{Drawn: ev.Time.Format(time.DateOnly), Results: []event.ResultData{}}
	if !ev.Time.Equal(ev.Time.Truncate(day)) {
		d.Drawn = ""
	}
	ev.Data = d
	return d
}

// measured reads what was measured by hand: names in quotes, each with its value.
func (p *shortReader) measured(ev *event.Event) {
	d := drawnAt(ev)
	p.rest(ev, func(w word) bool {
		switch {
		case w.quoted:
			q := p.quantity("the value of the "+w.text, "index")
			d.Results = append(d.Results, event.ResultData{Analyte: w.text, Value: &q.Value, Unit: q.Unit})
		case slices.Contains(endings, w.text):
			return false
		case w.text == "taken":
			return p.field(w, sampleFields, d)
		default:
			return p.meterOr(w, &d.Meters)
		}
		return true
	})
}

func (p *shortReader) sample(ev *event.Event) {
	d := drawnAt(ev)
	d.Component = p.next("the component")
	var averages []average
	p.rest(ev, func(w word) bool {
		switch {
		case slices.Contains(endings, w.text):
			return false
		case w.text == "average":
			averages = append(averages, p.averages()...)
		case p.field(w, sampleFields, d):
		case analytes.Known(w.text):
			d.Results = append(d.Results, p.result(w.text))
		default:
			return p.meterOr(w, &d.Meters)
		}
		return true
	})
	p.beside(d.Results, averages)
	d.Number = cmp.Or(d.Number, ev.ID.ID)
}

// average is a laboratory's average of an analyte, and the word that names it.
type average struct {
	of    word
	value *float64
}

// averages reads the averages that follow their word, each with its analyte.
func (p *shortReader) averages() (out []average) {
	for first := true; first || p.more() && analytes.Known(p.words[p.at].text); first = false {
		of := p.word("the analyte that it is the average of")
		if !analytes.Known(of.text) {
			p.fault(of, "%q is not an analyte to give an average of", of.text)
			return nil
		}
		at := p.at
		d := p.result(of.text)
		if d.Below != nil {
			p.fault(p.words[at], "an average is a number, not one like <5")
		}
		out = append(out, average{of, d.Value})
	}
	return out
}

// beside puts each average beside the result of its analyte.
func (p *shortReader) beside(results []event.ResultData, averages []average) {
	for _, a := range averages {
		i := slices.IndexFunc(results, func(r event.ResultData) bool { return r.Analyte == a.of.text })
		if i < 0 {
			p.fault(a.of, "an average of %s, but no result of it to compare", a.of.text)
			return
		}
		results[i].Average = a.value
	}
}

// result reads a number in the unit that is spoken here of what the analyte measures, or in
// its own.
func (p *shortReader) result(analyte string) event.ResultData {
	own := analytes.UnitOf(analyte)
	kind, _ := unit.Of(own)
	r := event.ResultData{Analyte: analyte, Unit: cmp.Or(p.units.Of(kind), own, "index")}
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

func (p *shortReader) service(ev *event.Event) {
	d := &event.ServiceData{}
	ev.Data = d
	task := func(w word) bool {
		return w.quoted || len(d.Meters) == 0 && d.Component == "" && !slices.Contains([]string{"odo", "odometer", "hours"}, w.text)
	}
	p.rest(ev, func(w word) bool {
		switch {
		case !w.quoted && slices.Contains(endings, w.text):
			return false
		case !w.quoted && p.field(w, serviceFields, d):
		case task(w):
			d.Tasks = append(d.Tasks, w.text)
		default:
			return p.meterOr(w, &d.Meters)
		}
		return true
	})
}

func (p *shortReader) answer(ev *event.Event) {
	d := &event.AnswerData{Answer: p.next("the answer")}
	ev.Data = d
	switch d.Answer {
	case "acknowledge", "shelve", "unshelve":
		d.Rule = p.next("the rule")
	case "postpone", "accept":
		d.Task = p.next("the task")
		if d.Answer == "accept" && strings.HasPrefix(d.Task, "data:") {
			d.Rule, d.Task = d.Task, ""
		}
	}
	p.rest(ev, func(w word) bool { return p.field(w, answerFields, d) })
}

// ShortBaseline reads the short form of a baseline of the fleet, which stands for the
// samples that it is made from:
//
//	2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus age 11000km Fe 21 Pb 1 2 <2
//
// Each `of` is what the group shares, in the order in which the book groups by it. One
// number is that of as many samples and vehicles as the book asks for, or as `samples`
// says; several are a sample each. It is false of a line that is no baseline; what is
// wrong is a *[ShortFault].
func ShortBaseline(line string, b *rules.Book, units unit.System) (part fleet.SurveyPart, is bool, err error) {
	words, err := split(line)
	if err != nil || len(words) < 2 || words[1].quoted || words[1].text != "baseline" {
		return fleet.SurveyPart{}, false, nil
	}
	p := &baselineReader{shortReader: shortReader{words: words, units: units, end: len([]rune(line)) + 1},
		like: fleet.SurveySample{Distance: -1, Hours: -1}, results: map[string][]fleet.SurveyResult{}}
	now := p.time("the date")
	p.at++
	p.named(b)
	for p.more() {
		p.key(p.word(""))
	}
	if p.err == nil && p.def != nil && len(p.like.Group) != len(p.def.GroupBy) {
		p.fault(words[1], "it groups by %s: wanted %d times `of`, not %d", strings.Join(p.def.GroupBy, ", "), len(p.def.GroupBy), len(p.like.Group))
	}
	if p.err != nil {
		return fleet.SurveyPart{}, true, p.err
	}
	return fleet.SurveyPart{Turn: now.Format(time.RFC3339), Now: now, Book: b.Hash, Samples: p.samplesOf()}, true, nil
}

// baselineReader reads what is usual in one group.
type baselineReader struct {
	shortReader
	def     *rules.Fleet
	like    fleet.SurveySample // what all samples of the group have alike
	samples int                // 0: as many as the book asks for
	order   []string           // of analytes
	results map[string][]fleet.SurveyResult
}

func (p *baselineReader) named(b *rules.Book) {
	w := p.word("the name of a baseline that is made from the fleet")
	var known []string
	for _, bl := range b.Baselines {
		if bl.Fleet != nil && bl.Name == w.text {
			p.def, p.like.Baseline = bl.Fleet, bl.Name
			return
		}
		if bl.Fleet != nil {
			known = append(known, strconv.Quote(bl.Name))
		}
	}
	if known == nil {
		p.fault(w, "no baseline of the book is made from the fleet")
		return
	}
	p.fault(w, "%q is not a baseline that is made from the fleet (those are %s)", w.text, strings.Join(known, ", "))
}

func (p *baselineReader) key(w word) {
	switch {
	case w.text == "of":
		p.like.Group = append(p.like.Group, p.next("what the group shares"))
	case w.text == "age":
		q := p.quantity("the fluid's age", p.units.Distance)
		v, kind, err := q.Base()
		switch {
		case err == nil && kind == unit.Time:
			p.like.Hours = v
		case err == nil && kind == unit.Distance:
			p.like.Distance = v
		default:
			p.fault(w, "a fluid's age is a distance or a time, not %s", q)
		}
	case w.text == "samples":
		n := p.word("how many samples")
		var err error
		if p.samples, err = strconv.Atoi(n.text); err != nil || p.samples < 1 || p.samples > mostSamples {
			p.fault(n, "%q is not a number of samples from 1 to %d", n.text, mostSamples)
		}
	case analytes.Known(w.text):
		p.order = append(p.order, w.text)
		p.value(w.text)
		for p.more() && isResult(p.words[p.at].text) {
			p.value(w.text)
		}
	default:
		p.fault(w, "%q is not known here", w.text)
	}
}

// mostSamples is more than any group of a case needs.
const mostSamples = 1000

func isResult(s string) bool {
	_, err := strconv.ParseFloat(strings.TrimPrefix(s, "<"), 64)
	return err == nil
}

func (p *baselineReader) value(analyte string) {
	at := p.at
	d := p.result(analyte)
	if p.err != nil {
		return
	}
	r := fleet.SurveyResult{Analyte: analyte, Below: d.Below != nil}
	v := d.Value
	if r.Below {
		v = d.Below
	}
	var err error
	if r.Value, err = lab.Normalise(analyte, *v, d.Unit, 0); err != nil {
		p.fault(p.words[at], "%v", err)
	}
	p.results[analyte] = append(p.results[analyte], r)
}

// samplesOf are the samples that the line stands for.
func (p *baselineReader) samplesOf() []fleet.SurveySample {
	alike := p.def.Samples
	if p.samples > 0 {
		alike = p.samples
	}
	n := alike
	for _, list := range p.results {
		n = max(n, len(list))
	}
	out := make([]fleet.SurveySample, n)
	for i := range out {
		out[i] = p.like
		out[i].Vehicle, out[i].Number = fmt.Sprintf("vehicle %d", i%max(p.def.Vehicles, 1)+1), fmt.Sprintf("given %d", i+1)
		for _, a := range p.order {
			switch list := p.results[a]; {
			case len(list) == 1 && i < alike:
				out[i].Results = append(out[i].Results, list[0])
			case len(list) > 1 && i < len(list):
				out[i].Results = append(out[i].Results, list[i])
			}
		}
	}
	return out
}
