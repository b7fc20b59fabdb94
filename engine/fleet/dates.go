package fleet

import (
	"cmp"
	"fmt"
	"hash/fnv"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"telltale/engine/meter"
)

// Dates is how well the fleet's forecasts of dates kept their word: when a meter comes to
// a value. With each survey some are made, as they are shown that day, and judged at a
// later one. Ranges are stretched by what came of them ([meter.Scale]): a record keeps too
// few readings of its past to make them again. nil knows nothing yet.
type Dates struct {
	Distance []Forecasts `json:"distance,omitempty"` // by how far ahead
	Hours    []Forecasts `json:"hours,omitempty"`
	// Open are those of which nothing is known yet, by key.
	Open []Open `json:"open,omitempty"`
}

// Forecasts are those by one kind of meter that looked equally far ahead: how much paces
// drift in half a year cannot be told from a month.
type Forecasts struct {
	Days int64 `json:"days"`
	// Scale is how ranges are stretched; zero while too few have finished.
	Scale meter.Scale `json:"scale,omitzero"`
	// Finished are the latest, in order of when they were made.
	Finished []Finished `json:"finished"`
}

// Open is a forecast whose time has not come. Key tells it from all others.
type Open struct {
	Key     uint32 `json:"k"`
	Vehicle string `json:"vehicle"`
	Hours   bool   `json:"hours,omitempty"`
	Days    int64  `json:"days"` // how far ahead it looked
	meter.Forecast
	// By is how its range was stretched for people.
	By meter.Scale `json:"by,omitzero"`
}

// Finished is what became of one: how far off the date was ([meter.Forecast.Score]), and
// whether the range that people were told held it.
type Finished struct {
	Key   uint32  `json:"k"`
	From  int64   `json:"from"` // Unix seconds
	Score float64 `json:"s"`
	Held  bool    `json:"in,omitempty"`
}

const (
	// leastFinished is how many forecasts must have finished until ranges as far ahead
	// are stretched by them: the outermost tenth on either side is then five. Common practice, no source.
	leastFinished = 50
	// Panel is of how many vehicles forecasts are made. They are always the same, by
	// their names, however a fleet is shared out among partitions.
	Panel = 50
	// keptFinished and keptFor bound what a set keeps: the latest of three years, in
	// which seasons and routes make themselves felt. What no reading has told so long
	// after it was over is given up.
	keptFinished = 1200 // as far ahead as one another
	keptFor      = 3 * 365 * day
	givenUp      = 92 * day
	lately       = 300 // of how many the record tells
	day          = 86400
)

// aheads is how many days ahead forecasts are made, as work is planned. Ranges of other
// lengths go by the one that is nearest, as a ratio.
var aheads = [...]int64{30, 90, 180}

func nearest(span int64) int64 {
	at, days := 0, float64(span)/day
	for at+1 < len(aheads) && days*days > float64(aheads[at]*aheads[at+1]) {
		at++
	}
	return aheads[at]
}

// PanelFirst is the vehicles in the order in which their forecasts are taken.
func PanelFirst(vehicles []string) []string {
	type ranked struct {
		key  uint32
		name string
	}
	list := make([]ranked, len(vehicles))
	for i, v := range vehicles {
		list[i] = ranked{keyOf(v), v}
	}
	slices.SortFunc(list, func(a, b ranked) int { return cmp.Or(cmp.Compare(a.key, b.key), strings.Compare(a.name, b.name)) })
	out := make([]string, len(list))
	for i := range list {
		out[i] = list[i].name
	}
	return out
}

func keyOf(s string) uint32 {
	h := fnv.New32a()
	h.Write([]byte(s))
	return h.Sum32()
}

// OpenOf are the forecasts of a vehicle's meter in the month of a survey, from its accepted
// readings in order of time with life values: none where it was not read in the month
// before.
func OpenOf(vehicle string, hours bool, readings []meter.Reading, now time.Time) (out []Open) {
	if len(readings) == 0 || readings[len(readings)-1].At < now.AddDate(0, -1, 0).Unix() {
		return nil
	}
	u := meter.Estimate(readings)
	for _, ahead := range aheads {
		if f, ok := u.Ahead(readings[len(readings)-1], ahead*day); ok {
			key := fmt.Sprintf("%s %v %d %s", vehicle, hours, ahead, now.UTC().Format("2006-01"))
			out = append(out, Open{Key: keyOf(key), Vehicle: vehicle, Hours: hours, Days: ahead, Forecast: f})
		}
	}
	return out
}

// Finish is what became of an open forecast, from the readings of its meter by now; ok is
// false where that is not known.
func (o *Open) Finish(readings []meter.Reading) (done Finished, ok bool) {
	if len(readings) == 0 || readings[len(readings)-1].At < o.Over() {
		return Finished{}, false
	}
	score, ok := o.Score(readings)
	score = math.Round(max(-1000, min(score, 1000))*1000) / 1000
	return Finished{Key: o.Key, From: o.From, Score: score}, ok
}

// after is what is known once a survey was answered.
func (d *Dates) after(parts []SurveyPart, now time.Time) *Dates {
	out, done := &Dates{}, map[uint32]Finished{}
	for _, p := range parts {
		for _, f := range p.Finished {
			done[f.Key] = f
		}
	}
	ended := map[bool]map[int64][]Finished{false: {}, true: {}} // by hours, by days ahead
	seen := map[uint32]bool{}
	made := firstOf(parts)
	for i := range made {
		made[i].By = d.Scale(made[i].Hours, made[i].Days*day)
	}
	for _, o := range append(d.AllOpen(), made...) {
		f, finished := done[o.Key]
		f.Held = finished && o.By.Holds(f.Score)
		switch {
		case seen[o.Key]: // this month's were made before
		case finished:
			ended[o.Hours][o.Days] = append(ended[o.Hours][o.Days], f)
		case o.Over()+givenUp > now.Unix():
			out.Open = append(out.Open, o)
		}
		seen[o.Key] = true
	}
	slices.SortFunc(out.Open, func(a, b Open) int { return cmp.Compare(a.Key, b.Key) })
	for _, days := range aheads {
		for _, hours := range [...]bool{false, true} {
			if f := d.of(hours, days).add(ended[hours][days], now); len(f.Finished) > 0 {
				out.put(hours, f)
			}
		}
	}
	if len(out.Open)+len(out.Distance)+len(out.Hours) == 0 {
		return nil
	}
	return out
}

// AllOpen are the open forecasts.
func (d *Dates) AllOpen() []Open {
	if d == nil {
		return nil
	}
	return slices.Clip(d.Open)
}

// firstOf are the forecasts that were made of the panel.
func firstOf(parts []SurveyPart) (all []Open) {
	of := map[string][]Open{}
	for _, p := range parts {
		for _, o := range p.Made {
			of[o.Vehicle] = append(of[o.Vehicle], o)
		}
	}
	vehicles := PanelFirst(slices.Collect(maps.Keys(of)))
	for _, v := range vehicles[:min(Panel, len(vehicles))] {
		all = append(all, of[v]...)
	}
	return all
}

// all are the forecasts by that kind of meter, by how far ahead.
func (d *Dates) all(hours bool) []Forecasts {
	switch {
	case d == nil:
		return nil
	case hours:
		return d.Hours
	}
	return d.Distance
}

func (d *Dates) put(hours bool, f Forecasts) {
	if hours {
		d.Hours = append(d.Hours, f)
	} else {
		d.Distance = append(d.Distance, f)
	}
}

// of are those that looked so many days ahead.
func (d *Dates) of(hours bool, days int64) Forecasts {
	for _, f := range d.all(hours) {
		if f.Days == days {
			return f
		}
	}
	return Forecasts{Days: days}
}

// Scale is by how much ranges by that kind of meter are stretched, so many seconds ahead.
func (d *Dates) Scale(hours bool, ahead int64) meter.Scale {
	if s := d.of(hours, nearest(ahead)).Scale; s != (meter.Scale{}) {
		return s
	}
	return meter.Unproven
}

// add takes over those that have ended, and forgets the oldest.
func (f Forecasts) add(ended []Finished, now time.Time) Forecasts {
	out := Forecasts{Days: f.Days, Finished: slices.Concat(f.Finished, ended)}
	slices.SortFunc(out.Finished, func(a, b Finished) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.Key, b.Key)) })
	out.Finished = slices.DeleteFunc(out.Finished, func(o Finished) bool { return o.From < now.Unix()-keptFor })
	out.Finished = out.Finished[max(0, len(out.Finished)-keptFinished):]
	if len(out.Finished) < leastFinished {
		return out
	}
	var scores []float64
	for _, one := range out.Finished {
		scores = append(scores, one.Score)
	}
	slices.Sort(scores)
	out.Scale = meter.ScaleOf(scores)
	return out
}

// Record is how many of the latest finished forecasts by that kind of meter came within
// the range, and of how many; of none while there are too few.
func (d *Dates) Record(hours bool) (held, of int) {
	var all []Finished
	for _, f := range d.all(hours) {
		all = append(all, f.Finished...)
	}
	if len(all) < leastFinished {
		return 0, 0
	}
	slices.SortFunc(all, func(a, b Finished) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.Key, b.Key)) })
	last := all[max(0, len(all)-lately):]
	for _, one := range last {
		if one.Held {
			held++
		}
	}
	return held, len(last)
}

// RecordWords is the record for people; "" while there are too few.
func (d *Dates) RecordWords(hours bool) string {
	held, of := d.Record(hours)
	if of == 0 {
		return ""
	}
	by := "distance"
	if hours {
		by = "hours"
	}
	return fmt.Sprintf("of the fleet's last %d dates forecast by %s, %.0f %% came within the range", of, by, 100*float64(held)/float64(of))
}

// RangeWords is the record for people or, while too few have come that looked as many
// seconds ahead, what stands for it.
func (d *Dates) RangeWords(hours bool, ahead int64) string {
	f := d.of(hours, nearest(ahead))
	if s := d.RecordWords(hours); s != "" && len(f.Finished) >= leastFinished {
		return s
	}
	return fmt.Sprintf("the range is half as wide again as the readings say, until %d forecasts of the fleet some %d days ahead have come to their date (%d so far)", leastFinished, f.Days, len(f.Finished))
}
