package word

import (
	"cmp"

	"telltale/rules/unit"
)

// The units that hang on the file of the rule or on the analyte asked for.
const (
	unitDistance = "file's distance"
	unitDaily    = "file's distance a day"
	unitVolume   = "file's volume"
	unitAnalyte  = "analyte's"
	unitTrend    = "analyte's per 1,000 of the file's distance, for each 1,000"
	unitRate     = "analyte's per 1,000 of the file's distance"
	unitPer100h  = "analyte's per 100 h"
	unitTopped   = "file's volume per 1,000 of the file's distance"
	unitToppedH  = "file's volume per 100 h"
	unitHourly   = "h a day"
)

// Scale says how an answer in base units becomes one in the units that a file speaks: times
// the one, over the other, plus the third. Dividing by the length of the unit, not
// multiplying by its inverse, gives back the number that was reported. Own is the unit of
// the analyte asked for; a file that says nothing of its kind speaks it.
func (d *Info) Scale(file unit.System, own string) (times, over, plus float64) {
	speaks := file.Or(unit.Metric)
	metres, _, _ := unit.Base(1, speaks.Distance)
	result, plus := scaled(own, file)
	switch d.Unit {
	case unitDistance, unitDaily:
		return 1, metres, 0
	case "h", unitHourly:
		return 1, 3600, 0
	case unitVolume, unitTopped, unitToppedH:
		litres, _, _ := unit.Base(1, speaks.Volume)
		return map[string]float64{unitVolume: 1, unitTopped: 1000 * metres, unitToppedH: 100 * 3600}[d.Unit], litres, 0
	case unitRate:
		return 1000 * metres * result, 1, 0
	case unitPer100h:
		return 100 * 3600 * result, 1, 0
	case unitTrend:
		return 1000 * metres * 1000 * metres * result, 1, 0
	case unitAnalyte:
		if d.Difference {
			plus = 0
		}
		return result, 1, plus
	}
	return 1, 1, 0
}

// scaled says how a number in the unit own becomes one in the file's unit of that kind:
// times the one, plus the other.
func scaled(own string, file unit.System) (times, plus float64) {
	to := spoken(own, file)
	if to == own {
		return 1, 0
	}
	const many = 1000 // beside which the freezing point of water takes away no digits
	all, _, _ := unit.Base(many, own)
	none, _, _ := unit.Base(0, own)
	plus = unit.From(none, to)
	return (unit.From(all, to) - plus) / many, plus
}

// spoken is the unit in which a file speaks of what is reckoned in the unit own.
func spoken(own string, file unit.System) string {
	k, _ := unit.Of(own)
	return cmp.Or(file.Of(k), own)
}

// In is what the word's answer is measured in, in the units that a file speaks, as evidence
// shows it; own is the unit of the analyte asked for.
func (d *Info) In(file unit.System, own string) string {
	own = spoken(own, file)
	speaks := file.Or(unit.Metric)
	per := "1,000 " + speaks.Distance
	switch {
	case d.Unit == unitDistance:
		return speaks.Distance
	case d.Unit == unitDaily:
		return speaks.Distance + "/day"
	case d.Unit == unitVolume:
		return speaks.Volume
	case d.Unit == unitTopped:
		return speaks.Volume + " per " + per
	case d.Unit == unitToppedH:
		return speaks.Volume + " per 100 h"
	case d.Unit == unitHourly:
		return "h/day"
	case d.Unit == unitAnalyte:
		return own
	case d.Unit == unitTrend:
		return own + " per " + per + ", for each " + per
	case d.Unit == unitPer100h:
		return own + " per 100 h"
	case d.Unit == unitRate:
		return own + " per " + per
	}
	return d.Unit
}

// Power is one factor of what a number measures: -1 of a distance is for each metre.
type Power struct {
	Of unit.Kind
	Is int8
}

// Measures is what the word's answer measures, of an analyte in the unit own; nothing for
// a ratio.
func (d *Info) Measures(own string) []Power {
	k, _ := unit.Of(own)
	if k == unit.Index {
		k = unit.None
	}
	switch d.Unit {
	case unitDistance:
		return []Power{{unit.Distance, 1}}
	case unitDaily:
		return []Power{{unit.Distance, 1}, {unit.Days, -1}}
	case unitVolume:
		return []Power{{unit.Volume, 1}}
	case unitTopped:
		return []Power{{unit.Volume, 1}, {unit.Distance, -1}}
	case unitToppedH:
		return []Power{{unit.Volume, 1}, {unit.Time, -1}}
	case unitHourly:
		return []Power{{unit.Time, 1}, {unit.Days, -1}}
	case unitAnalyte:
		return []Power{{k, 1}}
	case unitRate:
		return []Power{{k, 1}, {unit.Distance, -1}}
	case unitPer100h:
		return []Power{{k, 1}, {unit.Time, -1}}
	case unitTrend:
		return []Power{{k, 1}, {unit.Distance, -2}}
	case "":
		return nil
	}
	k, _ = unit.Of(d.Unit)
	return []Power{{k, 1}}
}
