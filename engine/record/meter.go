package record

import (
	"slices"
	"strings"

	"telltale/engine/meter"
	"telltale/rules/unit"
)

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

// thin keeps the readings that the bounds allow.
func thin(list []Reading) []Reading {
	return meter.ThinFunc(list, func(r *Reading) int64 { return Seconds(r.At) }, func(*Reading) bool { return false })
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
		c.Meters[i].Readings = thin(c.Meters[i].Readings)
	}
	return &c
}
