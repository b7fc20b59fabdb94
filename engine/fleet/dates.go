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

// compare puts the earlier first.
func (f Finished) compare(o Finished) int {
	return cmp.Or(cmp.Compare(f.From, o.From), cmp.Compare(f.Key, o.Key))
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
