package fleet

import (
	"fmt"
	"slices"
	"time"

	"telltale/engine/meter"
)

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
	slices.SortFunc(out.Finished, Finished.compare)
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
	slices.SortFunc(all, Finished.compare)
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
	return fmt.Sprintf("the range is widened by half until %d of the fleet's forecasts about %d days ahead have reached their date (%d so far)", leastFinished, f.Days, len(f.Finished))
}
