// Package record is what is kept of one vehicle: facts in order of observed time, and
// what stands. [Record.Take] takes an event in; chains of readings and timelines of
// samples are derived from the facts when they are asked for.
package record

import (
	"cmp"
	"hash/maphash"
	"math"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/latch"
	"telltale/engine/meter"
	"telltale/rules/unit"
)

// Record is all that is kept of one vehicle: facts in order of observed time,
// and what stands. Its lists are never changed in place, so an older copy of the
// record stays whole.
type Record struct {
	Vehicle string `json:"vehicle"` // the first name that it had
	// Is says that the name is another record's vehicle by now; all else is empty then.
	Is        string         `json:"is,omitempty"`
	Names     []string       `json:"names,omitempty"` // others that it has had
	FirstSeen int64          `json:"first"`           // the recorded time of its first event, Unix nanoseconds
	Register  []Registration `json:"register,omitempty"`
	Meters    []MeterLog     `json:"meters,omitempty"` // by name
	Services  []Service      `json:"services,omitempty"`
	Samples   []Sample       `json:"samples,omitempty"`
	Postponed []Postponed    `json:"postponed,omitempty"`
	Voids     []Voiding      `json:"voids,omitempty"`
	Answers   []Stamp        `json:"answers,omitempty"` // in order of the log
	NotTheirs []Disowned     `json:"notTheirs,omitempty"`
	Ahead     []Ahead        `json:"ahead,omitempty"` // in order of the log
	// Backlog is when something last came that tells of a meter and had lain somewhere,
	// Unix seconds; 0 for never.
	Backlog int64 `json:"backlog,omitempty"`
	Out     bool  `json:"out,omitempty"` // out of service
	// InOut is when it went out of service and came back, in turn, Unix seconds; the
	// last made Out what it is.
	InOut []int64 `json:"inOut,omitempty"`
	// OutBy is the answer that made Out what it is; nil where that was taken back.
	OutBy   *event.ID     `json:"outBy,omitempty"`
	Latches []latch.Latch `json:"latches,omitempty"` // by rule, component
	Alarms  []alarm.Alarm `json:"alarms,omitempty"`  // by rule, component
	Next    int64         `json:"next"`              // the next moment at which a tick can change something, Unix seconds; 0 at once

	// chains is derived from Meters, Services and Samples; nil when it must be made anew.
	chains []Chain
}

// Voided reports whether an earlier void names the event.
func (r *Record) Voided(id event.ID) bool {
	for i := range r.Voids {
		if r.Voids[i].Target == id {
			return true
		}
	}
	return false
}

// Registered returns the registration that counts, or nil.
func (r *Record) Registered() *event.VehicleData {
	for i := len(r.Register) - 1; i >= 0; i-- {
		if !r.Register[i].Void {
			return r.Register[i].VehicleData
		}
	}
	return nil
}

// RegisteredAt is the moment of the registration that counts; zero where there is none.
func (r *Record) RegisteredAt() time.Time {
	for i := len(r.Register) - 1; i >= 0; i-- {
		if !r.Register[i].Void {
			return time.Unix(0, r.Register[i].At).UTC()
		}
	}
	return time.Time{}
}

// Bounds of a record's lists. Each list keeps a part of its facts that is a
// function of the set of facts alone, so late and repeated events leave the same
// record behind.
const (
	KeptSamples   = 50 // how many of a component are kept, the latest
	keptServices  = 96 // the latest, a vehicle; as many top-ups beside them
	keptPerTask   = 3  // and the latest that list a task, whatever their age
	keptDefects   = 32 // and the latest that report a defect
	keptRegister  = 16
	keptReplaced  = 32
	keptPostponed = 32
	keptVoids     = 256
	keptAnswers   = 128
	keptMeters    = 32
	keptInOut     = 32
	keptAhead     = 32
	thinAt        = 96 // readings a meter before they are thinned again
)

// keepRegister keeps the first registration, from which a task may count, and the latest.
func keepRegister(list []Registration) []Registration {
	if len(list) <= keptRegister {
		return list
	}
	return append(slices.Clone(list[:1]), latest(list, keptRegister-1)...)
}

// Since is when the vehicle was first registered, Unix nanoseconds; false where it is not.
func (r *Record) Since() (at int64, ok bool) {
	for i := range r.Register {
		if !r.Register[i].Void {
			return r.Register[i].At, true
		}
	}
	return math.MinInt64, false
}

// InSince is when the vehicle last came back into service, Unix seconds; 0 where it
// never was out.
func (r *Record) InSince() int64 {
	if n := len(r.InOut); n > 0 && !r.Out {
		return r.InOut[n-1]
	}
	return 0
}

// WaitedFrom is from when it is waited for to be read, Unix seconds: since it was
// registered, or came back into service. 0 where neither is known.
func (r *Record) WaitedFrom() int64 {
	at, ok := r.Since()
	if !ok {
		return r.InSince()
	}
	return max(Seconds(at), r.InSince())
}

// NoteArrival notes when something came that may tell of a meter: also when it came again,
// since that hangs on the log, and whether it is known still on what was thinned out.
func (r *Record) NoteArrival(ev *event.Event, came time.Time) {
	switch ev.Kind {
	case event.ReadingEvent, event.ServiceEvent, event.SampleEvent:
		if meter.Backlog(ev.Time.Unix(), came.Unix()) {
			r.Backlog = max(r.Backlog, came.Unix())
		}
	}
}

// outAt reports whether it was out of service at a moment, Unix nanoseconds.
func (r *Record) outAt(at int64) bool {
	out := r.Out
	for i := len(r.InOut) - 1; i >= 0 && r.InOut[i] > Seconds(at); i-- {
		out = !out
	}
	return out
}

// Disowned is one who said so.
type Disowned struct {
	By    string   `json:"by"`
	ID    event.ID `json:"id"`              // of the answer
	Named bool     `json:"named,omitempty"` // by the register, when they said so
}

// KeptDisowned bounds those of one vehicle.
const KeptDisowned = 8

// Stamp is what every fact carries: its event's identity and when it was
// observed. A voided fact stays as a tombstone, so that it makes no difference
// whether the void came before or after it.
type Stamp struct {
	At     int64    `json:"t"` // observed, Unix nanoseconds
	ID     event.ID `json:"i"`
	Digest uint64   `json:"d"`
	Key    uint32   `json:"-"` // hash of ID, to find it quickly
	Void   bool     `json:"x,omitempty"`
	// Held: a reading by which the meter is seen to go back; it is not thinned out.
	Held bool `json:"h,omitempty"`
	Old  bool `json:"old,omitempty"` // work that was entered long after it was done (see Old)
}

func (s *Stamp) stamp() *Stamp { return s }

// StampOf is the stamp of the event's fact.
func StampOf(ev *event.Event) Stamp {
	return Stamp{At: ev.Time.UnixNano(), ID: ev.ID, Key: KeyOf(ev.ID), Digest: ev.Digest}
}

// KeyOf is the hash of an identity in this process.
func KeyOf(id event.ID) uint32 {
	return uint32(maphash.String(keys, id.Source) + 3*maphash.String(keys, id.ID))
}

// keys is what identities are hashed with to find them quickly. No hash is stored.
var keys = maphash.MakeSeed()

// order sorts facts of one kind: by observed time, then source, then id.
func (s *Stamp) order(o *Stamp) int {
	return cmp.Or(cmp.Compare(s.At, o.At), strings.Compare(s.ID.Source, o.ID.Source), strings.Compare(s.ID.ID, o.ID.ID))
}

// Reading is a face value in metres or seconds.
type Reading struct {
	Stamp
	Value float64 `json:"v"`
}

// Replaced is a replaced instrument: the old one's last face value, the new one's first.
// Where a person only said something of a meter that went back, Word says what.
type Replaced struct {
	Stamp
	Last  float64 `json:"l"`
	First float64 `json:"f"`
	Word  Word    `json:"w,omitempty"`
}

// Word is what a person said of a meter that went back.
type Word uint8

// The words.
const (
	Reported  Word = iota // none: the replacement was reported, with its values
	LowerHold             // the lower readings are right, and the meter goes on from there
	Known                 // somebody knows of all that went back before
)

// Registration, Service, Sample and Postponed are facts with their event's data.
type (
	Registration struct {
		Stamp
		*event.VehicleData
	}
	// Service is work that was done.
	Service struct {
		Stamp
		*event.ServiceData
	}
	// Sample is a fluid sample.
	Sample struct {
		Stamp
		*event.SampleData
		Reported int64 `json:"r,omitempty"` // Unix nanoseconds, where that was after Stamp.At
		// Fleet is what the fleet's baselines say of it; nil where none was in force.
		Fleet  *fleet.Figures `json:"fleet,omitempty"`
		parsed *Sheet         // derived from SampleData; nil until it is asked for
		// drawnAt is where it was drawn by days of drawnIn, which is nil until it is asked for.
		drawnAt Place
		drawnIn *time.Location
	}
	// Postponed is a person's word that a task can wait, or that it goes to where a
	// forecast offered it: there To is that point, metres of life distance or, with
	// ByHours, seconds of running.
	Postponed struct {
		Stamp
		*event.AnswerData
		To      float64 `json:"to,omitempty"`
		ByHours bool    `json:"byHours,omitempty"`
	}
	// Voiding takes another event out.
	Voiding struct {
		Stamp
		Target event.ID `json:"of"`
	}
)

// keepServices bounds the services: the latest of all, those that only top up apart, lest
// they crowd the others out, and for each task and component the latest that list it.
func keepServices(list []Service) []Service {
	if len(list) <= keptServices {
		return list
	}
	type key struct{ Task, Component string }
	count, seen, defects := map[key]int{}, map[bool]int{}, 0
	var out []Service
	for i := len(list) - 1; i >= 0; i-- {
		s := list[i]
		topUp := s.OnlyTopsUp()
		seen[topUp]++
		keep := seen[topUp] <= keptServices
		if s.Defect != "" {
			defects++
			keep = keep || defects <= keptDefects
		}
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

// keepSamples bounds the samples of each component to the latest.
func keepSamples(list []Sample) []Sample {
	count := map[string]int{}
	for i := range list {
		count[list[i].Component]++
	}
	if !slices.ContainsFunc(list, func(s Sample) bool { return count[s.Component] > KeptSamples }) {
		return list
	}
	var out []Sample
	for _, s := range list {
		if count[s.Component] <= KeptSamples {
			out = append(out, s)
		}
		count[s.Component]--
	}
	return out
}

// waits reports whether work may still be put off by the answer: nobody wrote it down
// since.
func (r *Record) waits(p *Postponed) bool {
	done := func(s Service) bool { return !s.Void && s.At >= p.At && slices.Contains(s.Tasks, p.Task) }
	return !p.Void && p.To == 0 && !slices.ContainsFunc(r.Services, done)
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

// thin keeps the readings that the bounds allow. Those that are held, and the first
// since the vehicle was registered, from which a task may count, go before others.
func (r *Record) thin(list []Reading) []Reading {
	since, _ := r.Since()
	first := slices.IndexFunc(list, func(p Reading) bool { return p.At >= since })
	return meter.ThinFunc(list, func(p *Reading) int64 { return Seconds(p.At) },
		func(p *Reading) bool { return p.Held || first >= 0 && p == &list[first] })
}

// meterValue is the value of the named meter in base units, if it is there and
// of the meter's kind.
func meterValue(q map[string]unit.Quantity, name string, hours bool) (float64, bool) {
	v, ok := q[name]
	if !ok {
		return 0, false
	}
	base, kind, err := v.Base()
	return base, err == nil && (kind == unit.Time) == hours && (kind == unit.Distance) != hours
}

// Full: it has as many readings as are kept before they are thinned.
func (m *MeterLog) Full() bool { return len(m.Readings) >= thinAt }

// Push puts a reading that follows the last of the i-th meter. Its life value is its
// face value and so much more.
func (r *Record) Push(i int, p Reading, shift float64) {
	m := &r.Meters[i]
	m.makeRoom()
	m.Readings = append(m.Readings, p)
	if c := r.chainIfMade(m.Name); c != nil {
		c.push(p, shift)
	}
}

// Thinned is the record as it is stored, with no more readings than the bounds allow.
func (r *Record) Thinned() *Record {
	c := *r
	c.Meters = slices.Clone(r.Meters)
	for i := range c.Meters {
		c.Meters[i].Readings = r.thin(c.Meters[i].Readings)
	}
	return &c
}
