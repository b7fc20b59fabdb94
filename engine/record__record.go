package engine

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

// disowned is one who said so.
type disowned struct {
	By    string `json:"by"`
	ID    ID     `json:"id"`              // of the answer
	Named bool   `json:"named,omitempty"` // by the register, when they said so
}

// keptDisowned bounds those of one vehicle.
const keptDisowned = 8

// disputedReadings says why readings are disputed, by their event.
func (r *Record) disputedReadings() map[ID][]string {
	out := map[ID][]string{}
	for _, c := range r.allChains() {
		for _, p := range c.points {
			if p.accepted {
				continue
			}
			why := c.name + ": " + p.why
			if p.meant != "" {
				why += "; " + p.meant
			}
			out[p.id] = append(out[p.id], why)
		}
	}
	return out
}
