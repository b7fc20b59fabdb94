package record

import (
	"cmp"
	"math"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/engine/interval"
)

// Place is a position in a vehicle's history. Facts at one moment come in the
// order of their kinds.
type Place struct {
	At   int64 // Unix nanoseconds
	Rank uint8
}

// Compare orders places in time.
func (p Place) Compare(o Place) int {
	return cmp.Or(cmp.Compare(p.At, o.At), cmp.Compare(p.Rank, o.Rank))
}

// LastPlace comes after every fact; endOfDay after all of its moment.
var LastPlace = Place{math.MaxInt64, 255}

// PlaceOf is the place of a fact of that kind at a moment, Unix nanoseconds.
func PlaceOf(at int64, k event.Kind) Place { return Place{at, uint8(k)} }

// Place is the fact's, as one of that kind.
func (s *Stamp) Place(k event.Kind) Place { return Place{s.At, uint8(k)} }

// Place of a sample: when it was drawn. With a date only it comes before any
// service of that local date, or after all of them where it was taken after.
func (s *Sample) Place(zone *time.Location) Place {
	if s.drawnIn != zone {
		s.drawnAt, s.drawnIn = s.reckonPlace(zone), zone
	}
	return s.drawnAt
}

func (s *Sample) reckonPlace(zone *time.Location) Place {
	if s.Drawn == "" {
		return s.Stamp.Place(event.SampleEvent)
	}
	if t, err := time.Parse(time.RFC3339, s.Drawn); err == nil {
		return Place{t.UnixNano(), uint8(event.SampleEvent)}
	}
	day, err := time.ParseInLocation(time.DateOnly, s.Drawn, zone)
	if err != nil {
		return s.Stamp.Place(event.SampleEvent)
	}
	if s.Taken == "after" {
		return Place{day.AddDate(0, 0, 1).UnixNano() - 1, math.MaxUint8 - 1}
	}
	return Place{day.UnixNano(), uint8(event.SampleEvent)}
}

// order sorts samples by when they were drawn, then time, number and revision.
func (s *Sample) orderIn(o *Sample, zone *time.Location) int {
	return cmp.Or(s.Place(zone).Compare(o.Place(zone)), cmp.Compare(s.At, o.At),
		strings.Compare(s.Number, o.Number), cmp.Compare(s.Repeat, o.Repeat), cmp.Compare(s.Revision, o.Revision), s.Stamp.order(&o.Stamp))
}

// DrawnOn is the local date on which the sample was drawn.
func (s *Sample) DrawnOn(zone *time.Location) string {
	return interval.DateOf(time.Unix(0, s.Place(zone).At), zone).String()
}
