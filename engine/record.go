package engine

import (
	"cmp"
	"hash/maphash"
	"slices"
	"sort"
	"strings"
	"time"

	"telltale/rules/unit"
)

// Bounds of a record's lists. Each list keeps a part of its facts that is a
// function of the set of facts alone, so late and repeated events leave the same
// record behind.
const (
	keptSamples     = 50 // the latest, a component
	keptServices    = 96 // the latest, a vehicle
	keptPerTask     = 3  // and the latest that list a task, whatever their age
	keptRegister    = 16
	keptReplaced    = 32
	keptPostponed   = 32
	keptVoids       = 256
	keptAnswers     = 128
	keptMeters      = 32
	keptInOut       = 32
	thinAt          = 96 // readings a meter before they are thinned again
	unregisteredFor = 90 * 24 * time.Hour
)

// Stamp is what every fact carries: its event's identity and when it was
// observed. A voided fact stays as a tombstone, so that it makes no difference
// whether the void came before or after it.
type Stamp struct {
	At     int64  `json:"t"` // observed, Unix nanoseconds
	ID     ID     `json:"i"`
	Digest uint64 `json:"d"`
	Key    uint32 `json:"-"` // hash of ID, to find it quickly
	Void   bool   `json:"x,omitempty"`
}

func (s *Stamp) stamp() *Stamp { return s }

func newStamp(ev *Event) Stamp {
	return Stamp{At: ev.Time.UnixNano(), ID: ev.ID, Key: ev.ID.key(), Digest: ev.Digest}
}

// keys is what identities are hashed with to find them quickly. No hash is stored.
var keys = maphash.MakeSeed()

func (id ID) key() uint32 {
	return uint32(maphash.String(keys, id.Source) + 3*maphash.String(keys, id.ID))
}

// order sorts facts of one kind: by observed time, then source, then id.
func (s *Stamp) order(o *Stamp) int {
	return cmp.Or(cmp.Compare(s.At, o.At), strings.Compare(s.ID.Source, o.ID.Source), strings.Compare(s.ID.ID, o.ID.ID))
}

// Reading is a face value in metres or seconds.
type Reading struct {
	Stamp
	Value float64 `json:"v"`
}

// MeterLog is what one instrument (and those it replaced) showed.
type MeterLog struct {
	Name     string     `json:"name"`
	Hours    bool       `json:"hours,omitempty"`
	Readings []Reading  `json:"r,omitempty"`
	Replaced []Replaced `json:"p,omitempty"`
}

// makeRoom sees that a reading can be appended. There are many vehicles, so there is
// never much more room than is used; append would double it.
func (m *MeterLog) makeRoom() {
	n := len(m.Readings)
	if n < cap(m.Readings) {
		return
	}
	more := 4
	if n >= 32 {
		more = 16
	}
	m.Readings = append(make([]Reading, 0, n+more), m.Readings...)
}

// Replaced is a replaced instrument: the old one's last face value, the new one's first.
type Replaced struct {
	Stamp
	Last  float64 `json:"l"`
	First float64 `json:"f"`
}

// Registration, Service, Sample and Postponed are facts with their event's data.
type (
	Registration struct {
		Stamp
		*VehicleData
	}
	// Service is work that was done.
	Service struct {
		Stamp
		*ServiceData
	}
	// Sample is a fluid sample.
	Sample struct {
		Stamp
		*SampleData
		Reported int64 `json:"r,omitempty"` // Unix nanoseconds, where that was after Stamp.At
		// Fleet is what the fleet's baselines say of it; nil where none was in force.
		Fleet  *FleetFigures `json:"fleet,omitempty"`
		parsed *sheetRead    // derived from SampleData; nil until it is asked for
		// drawnAt is where it was drawn by days of drawnIn, which is nil until it is asked for.
		drawnAt place
		drawnIn *time.Location
	}
	// Postponed is a person's word that a task can wait, or that it goes to where a
	// forecast offered it: there To is that point, metres of life distance or, with
	// ByHours, seconds of running.
	Postponed struct {
		Stamp
		*AnswerData
		To      float64 `json:"to,omitempty"`
		ByHours bool    `json:"byHours,omitempty"`
	}
	// Voiding takes another event out.
	Voiding struct {
		Stamp
		Target ID `json:"of"`
	}
)

// Record is all that is kept of one vehicle: facts in order of observed time,
// and what stands. Its lists are never changed in place, so an older copy of the
// record stays whole.
type Record struct {
	Vehicle   string         `json:"vehicle"`
	FirstSeen int64          `json:"first"` // the recorded time of its first event, Unix nanoseconds
	Register  []Registration `json:"register,omitempty"`
	Meters    []MeterLog     `json:"meters,omitempty"` // by name
	Services  []Service      `json:"services,omitempty"`
	Samples   []Sample       `json:"samples,omitempty"`
	Postponed []Postponed    `json:"postponed,omitempty"`
	Voids     []Voiding      `json:"voids,omitempty"`
	Answers   []Stamp        `json:"answers,omitempty"` // in order of the log
	NotTheirs []disowned     `json:"notTheirs,omitempty"`
	Out       bool           `json:"out,omitempty"` // out of service
	// InOut is when it went out of service and came back, in turn, Unix seconds; the
	// last made Out what it is.
	InOut   []int64 `json:"inOut,omitempty"`
	Latches []Latch `json:"latches,omitempty"` // by rule, component
	Alarms  []Alarm `json:"alarms,omitempty"`  // by rule, component
	Next    int64   `json:"next"`              // the next moment at which a tick can change something, Unix seconds; 0 at once

	// chains is derived from Meters, Services and Samples; nil when it must be made anew.
	chains []chain
}

// voided reports whether an earlier void names the event.
func (r *Record) voided(id ID) bool {
	for i := range r.Voids {
		if r.Voids[i].Target == id {
			return true
		}
	}
	return false
}

// registered returns the registration that counts, or nil.
func (r *Record) registered() *VehicleData {
	for i := len(r.Register) - 1; i >= 0; i-- {
		if !r.Register[i].Void {
			return r.Register[i].VehicleData
		}
	}
	return nil
}

// component returns the registered component of that name, or nil.
func (v *VehicleData) component(name string) *ComponentDef {
	for i := range v.Components {
		if v.Components[i].Name == name {
			return &v.Components[i]
		}
	}
	return nil
}

// meterKind tells whether the registered meter counts hours; ok is false where
// the vehicle names its meters and this is none of them.
func (v *VehicleData) meterKind(name string, by unit.Kind) (hours, ok bool) {
	for _, m := range v.Meters {
		if m.Name == name {
			return m.Kind == "hours", true
		}
	}
	return by == unit.Time, len(v.Meters) == 0
}

// meter returns the index of the log of that name, adding one where there is
// none; the list of logs is copied, so the old record keeps its own.
func (r *Record) meter(name string, hours bool) int {
	i, found := slices.BinarySearchFunc(r.Meters, name, func(m MeterLog, n string) int { return strings.Compare(m.Name, n) })
	r.Meters = slices.Clone(r.Meters)
	if !found {
		r.Meters = slices.Insert(r.Meters, i, MeterLog{Name: name, Hours: hours})
	}
	return i
}

// keepServices bounds the services: the latest of all, and for each task and
// component the latest that list it.
func keepServices(list []Service) []Service {
	if len(list) <= keptServices {
		return list
	}
	type key struct{ task, component string }
	count := map[key]int{}
	var out []Service
	for i := len(list) - 1; i >= 0; i-- {
		s := list[i]
		keep := len(list)-i <= keptServices
		for _, t := range s.Tasks {
			k := key{t, s.Component}
			if count[k] < keptPerTask {
				count[k]++
				keep = true
			}
		}
		if keep {
			out = append(out, s)
		}
	}
	slices.Reverse(out)
	return out
}

// zone is the vehicle's time zone; UTC where it has none. Names are checked when
// the event is read, so one that does not load here is taken as UTC.
func (v *VehicleData) zone() *time.Location {
	if v == nil || v.Zone == "" {
		return time.UTC
	}
	return loadZone(v.Zone)
}

// alarm returns the index of the alarm of that key, or -1.
func (r *Record) alarm(k AlarmKey) int {
	i, ok := r.alarmAt(k)
	if !ok {
		return -1
	}
	return i
}

// alarmAt is where the alarm of that key stands, or would. It holds all that was last
// said of it, and a search by value copies each that it looks at.
func (r *Record) alarmAt(k AlarmKey) (int, bool) {
	i := sort.Search(len(r.Alarms), func(i int) bool { return r.Alarms[i].compare(k) >= 0 })
	return i, i < len(r.Alarms) && r.Alarms[i].AlarmKey == k
}

// setAlarm puts a into the record, or takes it out where nothing of it stands.
func (r *Record) setAlarm(a Alarm) {
	i, found := r.alarmAt(a.AlarmKey)
	list := slices.Clone(r.Alarms)
	switch {
	case found && a.Gone():
		list = slices.Delete(list, i, i+1)
	case found:
		list[i] = a
	case !a.Gone():
		list = slices.Insert(list, i, a)
	}
	r.Alarms = list
}

// inSince is when the vehicle last came back into service, Unix seconds; 0 where it
// never was out.
func (r *Record) inSince() int64 {
	if n := len(r.InOut); n > 0 && !r.Out {
		return r.InOut[n-1]
	}
	return 0
}

// outAt reports whether it was out of service at a moment, Unix nanoseconds.
func (r *Record) outAt(at int64) bool {
	out := r.Out
	for i := len(r.InOut) - 1; i >= 0 && r.InOut[i] > seconds(at); i-- {
		out = !out
	}
	return out
}
