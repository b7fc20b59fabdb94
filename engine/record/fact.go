package record

import (
	"cmp"
	"hash/maphash"
	"slices"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/engine/fleet"
)

// Stamp is what every fact carries: its event's identity and when it was
// observed. A voided fact stays as a tombstone, so that it makes no difference
// whether the void came before or after it.
type Stamp struct {
	At     int64    `json:"t"` // observed, Unix nanoseconds
	ID     event.ID `json:"i"`
	Digest uint64   `json:"d"`
	Key    uint32   `json:"-"` // hash of ID, to find it quickly
	Void   bool     `json:"x,omitempty"`
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
type Replaced struct {
	Stamp
	Last  float64 `json:"l"`
	First float64 `json:"f"`
}

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

// keepServices bounds the services: the latest of all, and for each task and
// component the latest that list it.
func keepServices(list []Service) []Service {
	if len(list) <= keptServices {
		return list
	}
	type key struct{ Task, Component string }
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

// keepSamples bounds the samples of each component to the latest.
func keepSamples(list []Sample) []Sample {
	count := map[string]int{}
	for i := range list {
		count[list[i].Component]++
	}
	if !slices.ContainsFunc(list, func(s Sample) bool { return count[s.Component] > keptSamples }) {
		return list
	}
	var out []Sample
	for _, s := range list {
		if count[s.Component] <= keptSamples {
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
