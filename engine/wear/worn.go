package wear

import (
	"fmt"
	"math"
	"time"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Worn is where a task's part is worn out.
type Worn struct {
	Measure *rules.Measure
	Limit   rules.Worn
	Forecast
	MeasuredOn string // the last time, YYYY-MM-DD; "" for never
	Event      event.ID
}

// WornAt is it for the track, by days of the zone.
func (t Track) WornAt(limit rules.Worn, zone *time.Location) *Worn {
	w := &Worn{Measure: t.Measure, Limit: limit, Forecast: t.Until(limit.At)}
	if n := len(t.Points); n > 0 {
		w.MeasuredOn, w.Event = t.Points[n-1].Sample.DrawnOn(zone), t.Points[n-1].Sample.ID
	}
	return w
}

// Schedule is what a task is due by, and what that counts from.
type Schedule struct {
	Plan  *interval.Plan
	Point *interval.Point
	From  *interval.Done
}

// Move moves the point of a schedule to where the part is worn out, where that comes first
// of its kind. The interval is then from the first measurement of the part to there. The
// limit is ByNone where nothing is moved; ok is false where there is no forecast.
func (w *Worn) Move(s Schedule, zone *time.Location) (l interval.Limit, ok bool) {
	if w.Missing != "" {
		return interval.ByNone, false
	}
	span := w.At - w.From
	if by := s.Plan.Shorten; by > 0 {
		span /= by // the plan shortens its intervals; this one is as the part wears
	}
	every, p := &s.Plan.Every, s.Point
	first := func(at float64) bool { return math.IsNaN(at) || w.At < at }
	switch at, from := w.date(w.At, zone), w.date(w.From, zone); {
	case w.By == ByDistance && first(p.Distance):
		p.Distance, every.Distance, s.From.Distance = w.At, span, w.From
		return interval.ByDistance, true
	case w.By == ByHours && first(p.Hours):
		p.Hours, every.Hours, s.From.Hours = w.At, span, w.From
		return interval.ByHours, true
	case w.By == ByTime && (!p.HasDate || at < p.Date):
		p.Date, p.HasDate, s.From.Date = at, true, from
		every.Months, every.Days = 0, max(1, int(span/daySeconds))
		return interval.ByTime, true
	}
	return interval.ByNone, true
}

const daySeconds = 86400

func (f *Forecast) date(seconds float64, zone *time.Location) interval.Date {
	if f.By != ByTime || math.IsInf(seconds, 0) {
		return 0
	}
	return interval.DateOf(time.Unix(int64(seconds), 0), zone)
}

// Words say where the measure reaches its limit, or that it has, or what is missing; place
// writes metres or, with hours, seconds as people find them on the instrument.
func (w *Worn) Words(zone *time.Location, place func(life float64, hours bool) string) string {
	value := Said(w.Value, w.Measure.Unit)
	switch {
	case w.Missing != "":
		return w.Missing
	case w.Reached:
		return fmt.Sprintf("the %s was %s on %s; the limit is %s", w.Measure.Name, value, w.MeasuredOn, w.Limit.Stated)
	}
	at := func(v float64) string {
		if w.By == ByTime {
			return w.date(v, zone).String()
		}
		return place(v, w.By == ByHours)
	}
	within := "not before " + at(w.Low)
	if !math.IsInf(w.High, 1) {
		within = "between " + at(w.Low) + " and " + at(w.High)
	}
	return fmt.Sprintf("the %s reaches %s at about %s, %s; it was %s on %s, by %s", w.Measure.Name, w.Limit.Stated, at(w.At), within, value, w.MeasuredOn,
		english.Plural(w.Measurements, "measurement"))
}

// Said is a measured value with its unit, to three digits behind the point.
func Said(v float64, u string) string {
	return unit.Quantity{Value: math.Round(v*1000) / 1000, Unit: u}.String()
}
