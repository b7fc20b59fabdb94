package engine

import (
	"cmp"
	"math"
	"strings"
	"telltale/engine/interval"
	"time"
)

// place is a position in a vehicle's history. Facts at one moment come in the
// order of their kinds.
type place struct {
	at   int64 // Unix nanoseconds
	rank uint8
}

func (p place) compare(o place) int {
	return cmp.Or(cmp.Compare(p.at, o.at), cmp.Compare(p.rank, o.rank))
}

// lastPlace comes after every fact; endOfDay after all of its moment.
var lastPlace = place{math.MaxInt64, 255}

func (s *Stamp) place(k Kind) place { return place{s.At, uint8(k)} }

// place of a sample: when it was drawn. With a date only it comes before any
// service of that local date, or after all of them where it was taken after.
func (s *Sample) place(zone *time.Location) place {
	if s.drawnIn != zone {
		s.drawnAt, s.drawnIn = s.reckonPlace(zone), zone
	}
	return s.drawnAt
}

func (s *Sample) reckonPlace(zone *time.Location) place {
	if s.Drawn == "" {
		return s.Stamp.place(SampleEvent)
	}
	if t, err := time.Parse(time.RFC3339, s.Drawn); err == nil {
		return place{t.UnixNano(), uint8(SampleEvent)}
	}
	day, err := time.ParseInLocation(time.DateOnly, s.Drawn, zone)
	if err != nil {
		return s.Stamp.place(SampleEvent)
	}
	if s.Taken == "after" {
		return place{day.AddDate(0, 0, 1).UnixNano() - 1, math.MaxUint8 - 1}
	}
	return place{day.UnixNano(), uint8(SampleEvent)}
}

// order sorts samples by when they were drawn, then time, number and revision.
func (s *Sample) orderIn(o *Sample, zone *time.Location) int {
	return cmp.Or(s.place(zone).compare(o.place(zone)), cmp.Compare(s.At, o.At),
		strings.Compare(s.Number, o.Number), cmp.Compare(s.Repeat, o.Repeat), cmp.Compare(s.Revision, o.Revision), s.Stamp.order(&o.Stamp))
}

// drawn is the local date on which the sample was drawn.
func (s *Sample) drawn(zone *time.Location) string {
	return interval.DateOf(time.Unix(0, s.place(zone).at), zone).String()
}
