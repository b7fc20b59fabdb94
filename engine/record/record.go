// Package record is what is kept of one vehicle: facts in order of observed time, and
// what stands. [Record.Take] takes an event in; chains of readings and timelines of
// samples are derived from the facts when they are asked for.
package record

import (
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/latch"
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
	NotTheirs []Disowned     `json:"notTheirs,omitempty"`
	Out       bool           `json:"out,omitempty"` // out of service
	// InOut is when it went out of service and came back, in turn, Unix seconds; the
	// last made Out what it is.
	InOut   []int64       `json:"inOut,omitempty"`
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

// Bounds of a record's lists. Each list keeps a part of its facts that is a
// function of the set of facts alone, so late and repeated events leave the same
// record behind.
const (
	keptSamples   = 50 // the latest, a component
	keptServices  = 96 // the latest, a vehicle
	keptPerTask   = 3  // and the latest that list a task, whatever their age
	keptRegister  = 16
	keptReplaced  = 32
	keptPostponed = 32
	keptVoids     = 256
	keptAnswers   = 128
	keptMeters    = 32
	keptInOut     = 32
	thinAt        = 96 // readings a meter before they are thinned again
)

// InSince is when the vehicle last came back into service, Unix seconds; 0 where it
// never was out.
func (r *Record) InSince() int64 {
	if n := len(r.InOut); n > 0 && !r.Out {
		return r.InOut[n-1]
	}
	return 0
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

// DisputedReadings says why readings are disputed, by their event.
func (r *Record) DisputedReadings() map[event.ID][]string {
	out := map[event.ID][]string{}
	for _, c := range r.Chains() {
		for _, p := range c.Points {
			if p.Accepted {
				continue
			}
			why := c.Name + ": " + p.Why
			if p.Meant != "" {
				why += "; " + p.Meant
			}
			out[p.ID] = append(out[p.ID], why)
		}
	}
	return out
}
