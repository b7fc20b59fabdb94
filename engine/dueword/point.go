package dueword

import (
	"fmt"
	"math"
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/engine/meter"
	"telltale/engine/record"
	"telltale/rules/word"
)

// point is where a task stands, in the reader's units.
func point(v *judge.View, d *judge.Due) *alarm.DuePoint {
	if d.NoHistory {
		return &alarm.DuePoint{Limit: alarm.NoHistory}
	}
	p := &alarm.DuePoint{Limit: d.Limit.String(), PulledIn: v.PulledIn(d), Untold: d.Untold}
	if d.Task != nil && d.Task.Reported {
		p.Limit = alarm.Reported
	}
	if d.Point.HasDate {
		p.Date = d.Point.Date.String()
	}
	p.Early, p.Likely, p.Late = Dates(v, d)
	if d.State.HasToday {
		p.On = d.State.Today.String()
	}
	p.Postponed, p.Worn = PostponedBy(d.Postponed), WornOf(v, d)
	if m, ok := PlaceOf(v, d); ok {
		p.Past = v.Quantity(m.Past, m.Hours)
		if m.Face >= 0 {
			p.At = v.Quantity(m.Face, m.Hours)
		}
		if m.Replaced {
			p.InAll = v.Quantity(m.Life, m.Hours)
		}
	}
	return p
}

// Reach gives the early, likely and late dates of the task's forecast, the range as wide
// as the fleet's own forecasts ask for; of one that goes by wear, as wide as this may be too,
// and without a late date where it may as well not wear.
func Reach(v *judge.View, d *judge.Due) (dates [3]interval.Date) {
	if !d.Sure {
		return dates
	}
	last, _ := d.First.Last(math.MaxInt64)
	from, usage := record.Seconds(last.At), d.First.ReckonUsage(math.MaxInt64)
	scale := func(ahead int64) meter.Scale { return v.Dates.Scale(d.First.Hours, ahead) }
	early, likely, late, _ := usage.Range(from, last.Life, d.FirstAt, scale)
	date := func(at int64) interval.Date { return interval.DateOf(time.Unix(at, 0), v.Applied().Zone) }
	dates = [3]interval.Date{date(early), date(likely), date(late)}
	if w := wornFirst(d); w != nil {
		if early, _, _, ok := usage.Range(from, last.Life, w.Low, scale); ok {
			dates[0] = date(early)
		}
		_, _, late, ok := usage.Range(from, last.Life, w.High, scale)
		if dates[2] = date(late); !ok {
			dates[2] = 0 // nobody knows
		}
	}
	return dates
}

// Dates are those between which the first limit is reached, of a task that is
// not due yet; "" where they are not known.
func Dates(v *judge.View, d *judge.Due) (early, likely, late string) {
	if !d.Sure || d.Stage >= interval.Due {
		return "", "", ""
	}
	reach := Reach(v, d)
	return reach[0].String(), reach[1].String(), reach[2].String()
}

// RangeWords is how wide the range of a task's forecast is taken, and how often such held.
func RangeWords(v *judge.View, d *judge.Due) string {
	last, _ := d.First.Last(math.MaxInt64)
	from := record.Seconds(last.At)
	likely, _ := d.First.ReckonUsage(math.MaxInt64).Likely(from, last.Life, d.FirstAt)
	return v.Dates.RangeWords(d.First.Hours, likely-from)
}

// RangeRecord is how often the fleet's dates came within such ranges, for people; ""
// where no range is given, or too few have come.
func RangeRecord(v *judge.View, d *judge.Due) string {
	if !d.Sure || d.Stage >= interval.Due {
		return ""
	}
	return v.Dates.RecordWords(d.First.Hours)
}

// MeterPlace is where a task is due by a meter, in metres or seconds.
type MeterPlace struct {
	Hours bool
	// Face is what the instrument in use shows there, below 0 where that was before it;
	// Life is over replaced instruments, which there are where Replaced.
	Face, Life float64
	Replaced   bool
	Past       float64 // how far past it the meter is
}

// PlaceOf is the meter limit that decides, else the first there is. There is none where
// how far the meter has run cannot be told.
func PlaceOf(v *judge.View, d *judge.Due) (m MeterPlace, ok bool) {
	c := d.Meter
	if c == nil {
		c = v.DueChain(d, math.IsNaN(d.Point.Distance))
	}
	if c == nil || d.NoHistory || d.Waiting {
		return m, false
	}
	m.Life, m.Hours = d.Point.Distance, c.Hours
	if c.Hours {
		m.Life = d.Point.Hours
	}
	last, ok := c.Last(math.MaxInt64)
	m.Face, m.Replaced = c.Face(m.Life)
	m.Past = last.Life - m.Life
	return m, ok && !math.IsNaN(m.Life)
}

// place writes a life value as people find it: on the face of the instrument in use and,
// where there was another before, in all.
func place(v *judge.View, c *record.Chain, life float64) string {
	face, replaced := c.Face(life)
	in := v.Amount(life, c.Hours) + " in all"
	switch {
	case !replaced:
		return v.Amount(face, c.Hours)
	case face < 0:
		return in + ", which the " + c.Name + " before this one showed"
	}
	return fmt.Sprintf("%s on the new %s (%s)", v.Amount(face, c.Hours), c.Name, in)
}

// reads says what the meter was last read to show, beside a point that it is due at: in
// all, too, where no more than that is known of the point.
func reads(v *judge.View, c *record.Chain, p record.Point, at float64) string {
	text := fmt.Sprintf("the %s reads %s", c.Name, v.Amount(p.Face, c.Hours))
	if face, replaced := c.Face(at); replaced && face < 0 {
		text += " (" + v.Amount(p.Life, c.Hours) + " in all)"
	}
	return text
}

func evidence(v *judge.View, d *judge.Due) []word.Evidence {
	var out []word.Evidence
	if d.Last != nil && d.FollowUp == nil {
		e := word.Evidence{Of: "last done", Note: d.Last.Date.String()}
		if d.Last.Estimated {
			e.Note += ", meter value estimated"
		}
		e.Value, e.Unit = faceDone(v, d)
		out = append(out, e)
	}
	if w := d.WornBy(d.Limit); w != nil {
		out = append(out, word.Evidence{Of: w.Measure.Name, Value: w.Value, Unit: w.Measure.Unit, Note: "measured on " + w.MeasuredOn})
	}
	if d.Meter != nil {
		value, u := v.Shown(d.Read.Face, d.Meter.Hours)
		out = append(out, word.Evidence{Of: d.Meter.Name, Value: value, Unit: u})
		if d.Untold == "" {
			past, u := v.Shown(d.Past, d.Meter.Hours)
			out = append(out, word.Evidence{Of: "past the due point", Value: past, Unit: u})
		}
	}
	if d.Limit == interval.ByTime {
		out = append(out, word.Evidence{Of: "past the due date", Value: d.Past, Unit: "days"})
	}
	return out
}

// faceDone is what the meter showed when the task was last done: people know the
// face of the instrument that was in then.
func faceDone(v *judge.View, d *judge.Due) (float64, string) {
	i := slices.IndexFunc(v.Rec.Services, func(s record.Service) bool { return s.ID == d.By })
	life, hours := d.Last.Distance, false
	if math.IsNaN(life) {
		life, hours = d.Last.Hours, true
	}
	c := v.DueChain(d, hours)
	if i < 0 || c == nil || math.IsNaN(life) {
		return 0, ""
	}
	if p, ok := c.Last(v.Rec.Services[i].At); ok {
		life -= p.Life - p.Face
	}
	return v.Shown(life, hours)
}
