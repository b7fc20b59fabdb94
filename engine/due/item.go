// Package due is the due list, and how each due point on it came about. It asks a
// [judge.View] and changes nothing.
package due

import (
	"cmp"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/rules/english"
)

// Item is one line of a due list: one task of one vehicle (and component).
type Item struct {
	Vehicle   string            `json:"vehicle"`
	First     string            `json:"first,omitempty"` // see alarm.Transition
	Name      string            `json:"name"`            // the vehicle's name for people
	Plate     string            `json:"plate,omitempty"`
	Tags      map[string]string `json:"tags,omitempty"`
	People    []string          `json:"people,omitempty"`
	Component string            `json:"component,omitempty"`
	Task      string            `json:"task"`
	Title     string            `json:"title"`
	// Stage is overdue, due, soon, or normal where a list reaches ahead.
	Stage alarm.Stage `json:"stage"`
	// Limit is the limit that decides: distance, time, hours,
	// "no history", or "reported" where somebody reported a defect.
	Limit string `json:"limit"`
	// Why says in words which limit, and how far past or ahead; Amounts are the quantities
	// that it speaks of.
	Why     string         `json:"why"`
	Amounts []english.Span `json:"amounts,omitempty"`
	// DueDate is the local date of the calendar limit; DueAt the value of the meter
	// limit on the instrument in use, in Unit, absent where that was before it; PastBy how
	// far past it (negative: still ahead). DueInAll is the value over replaced
	// instruments, where there were others.
	DueDate  string   `json:"dueDate,omitempty"`
	DueAt    *float64 `json:"dueAt,omitempty"`
	DueInAll *float64 `json:"dueInAll,omitempty"`
	PastBy   *float64 `json:"pastBy,omitempty"`
	Unit     string   `json:"unit,omitempty"` // m or s
	// Early, Likely and Late are the local dates between which the first limit is
	// reached, from the vehicle's usage; absent where unknown.
	Early  string `json:"early,omitempty"`
	Likely string `json:"likely,omitempty"`
	Late   string `json:"late,omitempty"`
	// Range says how often the fleet's dates came within such ranges; absent while too
	// few have come.
	Range string `json:"range,omitempty"`
	// LastDone is the local date of the last time, or the policy that stands for it.
	LastDone string   `json:"lastDone,omitempty"`
	Needs    []Need   `json:"needs,omitempty"`
	Cautions []string `json:"cautions,omitempty"`
	// OwnCautions are the words of those of the cautions that the book explains itself.
	OwnCautions map[string]string `json:"ownCautions,omitempty"`
	// Figures are what the register says of the component.
	Figures   *event.Figures `json:"figures,omitempty"`
	Statutory bool           `json:"statutory,omitempty"`
	FollowUp  bool           `json:"followUp,omitempty"`
	Shelved   bool           `json:"shelved,omitempty"`
	// Postponed says who moved the due point, and why.
	Postponed string `json:"postponed,omitempty"`
	// PulledIn are the alarms that asked for it earlier than it would be due.
	PulledIn []alarm.PulledIn `json:"pulledIn,omitempty"`
	// Reads are the units in which people read of the vehicle, as far as its registration or
	// whoever asked names them.
	Reads []string `json:"reads,omitempty"`
	// Untold says since when the distance or running time cannot be told, since the meter
	// went back and nobody said why.
	Untold string `json:"untold,omitempty"`
	// Worn says where what is measured by hand sets the point, and going by what.
	Worn string `json:"worn,omitempty"`
}

// first is the date that a line is ordered by, "" for one without any.
func (d *Item) first() string {
	if d.DueDate == "" || d.Likely == "" {
		return d.DueDate + d.Likely
	}
	return min(d.DueDate, d.Likely)
}

// Need is a fluid or a part to have ready. Volume is in litres.
type Need struct {
	Fluid  string  `json:"fluid,omitempty"`
	Volume float64 `json:"volume,omitempty"`
	Part   string  `json:"part,omitempty"`
	Count  int     `json:"count,omitempty"`
}

var worstFirst = []alarm.Stage{alarm.Overdue, alarm.Due, alarm.Soon, alarm.Normal}

// SortDue orders a due list, or several put together, by what to do first: overdue,
// due, soon, later. Within each, what the law asks for comes first; the rest goes by date.
// A line without a date comes before those with one, since nobody knows how late it is.
func SortDue(list []Item) {
	order := make([]*Item, len(list)) // an item is large to move about
	for i := range list {
		order[i] = &list[i]
	}
	slices.SortStableFunc(order, compareDue)
	sorted := make([]Item, len(list))
	for i, it := range order {
		sorted[i] = *it
	}
	copy(list, sorted)
}

func compareDue(a, b *Item) int {
	return cmp.Or(cmp.Compare(slices.Index(worstFirst, a.Stage), slices.Index(worstFirst, b.Stage)), statutoryFirst(a, b), strings.Compare(a.first(), b.first()),
		strings.Compare(a.Vehicle, b.Vehicle), strings.Compare(a.Task, b.Task), strings.Compare(a.Component, b.Component))
}

// statutoryFirst orders two lines of one stage: what the law asks for before the rest.
func statutoryFirst(a, b *Item) int {
	switch {
	case a.Statutory == b.Statutory:
		return 0
	case a.Statutory:
		return -1
	}
	return 1
}
