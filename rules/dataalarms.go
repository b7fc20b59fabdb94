package rules

import (
	"gopkg.in/yaml.v3"

	"telltale/rules/source"
	"telltale/rules/unit"
)

// DataAlarms is what a book says of the alarms on the data itself, which every vehicle
// has without a rule: how long a meter may go unread, and which of them are off.
type DataAlarms struct {
	Silent Silence
	// NoImplausible and NoGoingBack say that nobody is told of a reading that is disputed.
	// It is disputed all the same: what is due goes by the others.
	NoImplausible, NoGoingBack bool
}

// Silence is how long a meter may go unread: more than Times times the gap that three in
// four of the vehicle's latest gaps do not exceed, and never within Least seconds. Zero
// is off.
type Silence struct {
	Least int64
	Times float64
}

// UsualData is what holds where the book says nothing. Common practice, no source.
var UsualData = DataAlarms{Silent: Silence{Least: 14 * daySeconds, Times: 4}}

const (
	daySeconds = 24 * 3600
	mostDays   = 365
	mostTimes  = 100
)

// The names of the alarms on data by which a book speaks of them.
const (
	silentKey      = "silent"
	implausibleKey = "implausible reading"
	goingBackKey   = "meter going back"
)

// dataAlarms reads {silent: {after: 14 days, times usual gap: 4}, implausible reading: off}.
// Two files may each say some of it.
func (e *entry) dataAlarms(at map[string]source.Place) {
	f := e.Mapping(e.n, "data alarms", silentKey, implausibleKey, goingBackKey)
	for _, key := range []string{silentKey, implausibleKey, goingBackKey} {
		v := f[key]
		if v == nil {
			continue
		}
		if first, dup := at[key]; dup {
			e.Fault(v, "set it once in the book", "%s is already set at %s", key, first)
			continue
		}
		at[key] = e.Place(v)
		switch d := &e.l.book.Data; {
		case key == silentKey && v.Kind == yaml.MappingNode:
			e.silence(v, &d.Silent)
		case v.Kind != yaml.ScalarNode || v.Value != "off":
			hint := "write `" + key + ": off`, or leave it out"
			if key == silentKey {
				hint = "write `silent: {after: 14 days, times usual gap: 4}`, or `silent: off`"
			}
			e.Fault(v, hint, "%s has no such setting", key)
		case key == silentKey:
			d.Silent = Silence{}
		case key == implausibleKey:
			d.NoImplausible = true
		default:
			d.NoGoingBack = true
			e.question(v, "leave it out, unless somebody looks through the disputed readings", "no alarm is raised when a meter goes back, although its distance limits are then unknown")
		}
	}
}

// silence reads {after: 14 days, times usual gap: 4}; what is left out stays as usual.
func (e *entry) silence(n *yaml.Node, s *Silence) {
	f := e.Mapping(n, silentKey, "after", "times usual gap")
	if v := f["after"]; v != nil {
		if days, _, ok := e.Base(v, "after of silent", unit.Days); ok && (days < 1 || days > mostDays) {
			e.Fault(v, "write `after: 14 days`, or `silent: off` for no such alarms", "after of silent must be from 1 to %d days", mostDays)
		} else if ok {
			s.Least = int64(days * daySeconds)
		}
	}
	if v := f["times usual gap"]; v != nil {
		if times, ok := e.Number(v, "times usual gap"); ok && (times < 1 || times > mostTimes) {
			e.Fault(v, "write `times usual gap: 4`", "times usual gap must be from 1 to %d", mostTimes)
		} else if ok {
			s.Times = times
		}
	}
}
