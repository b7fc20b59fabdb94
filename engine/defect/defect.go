// Package defect tells which of the defects that were reported still stand: what a driver
// saw at the walk round the vehicle stands until work that repairs it. It is pure.
package defect

import (
	"slices"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/record"
	"telltale/rules/english"
)

// Defect is one that was reported, in the words of who reported it.
type Defect struct {
	What string        `json:"what"`
	By   string        `json:"by,omitempty"`
	On   interval.Date `json:"on"` // local
	ID   event.ID      `json:"id"`
}

// Standing are the defects of which a task takes care, among the work up to a place, in
// order of time. Work that repairs settles all that were reported until its moment, but not
// what it reports itself.
func Standing(work []record.Service, before record.Place, zone *time.Location, takes, repairs func(*record.Service) bool) []Defect {
	var out []Defect
	for i := range work {
		s := &work[i]
		if s.Void || s.Defect == "" || s.Stamp.Place(event.ServiceEvent).Compare(before) > 0 || !takes(s) {
			continue
		}
		repaired := slices.ContainsFunc(work, func(r record.Service) bool {
			return !r.Void && r.At >= s.At && r.ID != s.ID && r.Stamp.Place(event.ServiceEvent).Compare(before) <= 0 && repairs(&r)
		})
		if !repaired {
			out = append(out, Defect{What: s.Defect, By: s.By, On: interval.DateOf(time.Unix(0, s.At), zone), ID: s.ID})
		}
	}
	return out
}

// Words tell them all, the first reported first; "nothing is reported" where there is none.
func Words(list []Defect) string {
	if len(list) == 0 {
		return "nothing is reported"
	}
	var parts []string
	for _, d := range list {
		s := english.OneLine(d.What) + " (reported " + d.On.String()
		if d.By != "" {
			s += " by " + d.By
		}
		parts = append(parts, s+")")
	}
	return strings.Join(parts, "; ")
}
