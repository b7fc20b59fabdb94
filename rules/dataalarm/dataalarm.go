// Package dataalarm says what a book says of the alarms on the data itself, which every
// vehicle has without a rule.
package dataalarm

import (
	"gopkg.in/yaml.v3"

	"telltale/rules/source"
	"telltale/rules/unit"
)

// Settings is how long a meter may go unread, and which alarms are off.
type Settings struct {
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

// Names are the names of the alarms.
var Names = []string{"data: implausible reading", "data: meter going back", "data: not their vehicle", "data: results fit another vehicle", "data: silent"}

// Usual is what holds where the book says nothing. Common practice, no source.
var Usual = Settings{Silent: Silence{Least: 14 * daySeconds, Times: 4}}

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

// Read reads {silent: {after: 14 days, times usual gap: 4}, implausible reading: off} at n
// into s, and gives what deserves a second look. Two files may each say some of it: said is
// where the files before this one did.
func Read(d *source.Document, n *yaml.Node, said map[string]source.Place, s *Settings) (questions []source.Fault) {
	f := d.Mapping(n, "data alarms", silentKey, implausibleKey, goingBackKey)
	for _, key := range []string{silentKey, implausibleKey, goingBackKey} {
		v := f[key]
		if v == nil {
			continue
		}
		if first, dup := said[key]; dup {
			d.Fault(v, "set it once in the book", "%s is already set at %s", key, first)
			continue
		}
		said[key] = d.Place(v)
		switch {
		case key == silentKey && v.Kind == yaml.MappingNode:
			silence(d, v, &s.Silent)
		case v.Kind != yaml.ScalarNode || v.Value != "off":
			hint := "write `" + key + ": off`, or leave it out"
			if key == silentKey {
				hint = "write `silent: {after: 14 days, times usual gap: 4}`, or `silent: off`"
			}
			d.Fault(v, hint, "%s has no such setting", key)
		case key == silentKey:
			s.Silent = Silence{}
		case key == implausibleKey:
			s.NoImplausible = true
		default:
			s.NoGoingBack = true
			questions = append(questions, d.NewFault(v, "leave it out, unless somebody looks through the disputed readings", "no alarm is raised when a meter goes back, although its distance limits are then unknown"))
		}
	}
	return questions
}

// silence reads {after: 14 days, times usual gap: 4}; what is left out stays as usual.
func silence(d *source.Document, n *yaml.Node, s *Silence) {
	f := d.Mapping(n, silentKey, "after", "times usual gap")
	if v := f["after"]; v != nil {
		if days, _, ok := d.Base(v, "after of silent", unit.Days); ok && (days < 1 || days > mostDays) {
			d.Fault(v, "write `after: 14 days`, or `silent: off` for no such alarms", "after of silent must be from 1 to %d days", mostDays)
		} else if ok {
			s.Least = int64(days * daySeconds)
		}
	}
	if v := f["times usual gap"]; v != nil {
		if times, ok := d.Number(v, "times usual gap"); ok && (times < 1 || times > mostTimes) {
			d.Fault(v, "write `times usual gap: 4`", "times usual gap must be from 1 to %d", mostTimes)
		} else if ok {
			s.Times = times
		}
	}
}

// Meaning says in a sentence what raises the alarm of that name; "" of another. The
// thresholds stand in the reference of rules.
func Meaning(name string) string { return meanings[name] }

var meanings = map[string]string{
	"data: implausible reading":         "A meter reading cannot be right: too much in too short a time, or from before the vehicle came into service.",
	"data: meter going back":            "A meter shows less than before. Until somebody says why, nobody knows how far the vehicle has run since.",
	"data: not their vehicle":           "Somebody who is told of the vehicle says that it is not theirs.",
	"data: results fit another vehicle": "A sample fits another vehicle's fluid better than this one's.",
	"data: silent":                      "No reading has come for much longer than usual.",
}
