package engine_test

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/fleet"
)

const dateRules = `book: 1
tasks:
  engine oil:
    every: {distance: 22000 km}
    unknown history: from first reading
`

// weekly is a year of weekly readings and ticks of twelve vans whose pace wanders; the last
// is not registered and takes no part.
func weekly(t *testing.T) (events []event.Event) {
	t.Helper()
	chance := rand.New(rand.NewPCG(7, 7))
	n := 0
	add := func(at time.Time, text string, args ...any) {
		n++
		events = append(events, short(t, fmt.Sprint("e", n), at.Format("2006-01-02")+" "+fmt.Sprintf(text, args...)))
	}
	at := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	var km [12]float64
	for i := range 11 {
		add(at, "vehicle van-%d van meter odometer", i)
	}
	for ; at.Year() == 2031; at = at.AddDate(0, 0, 7) {
		add(at, "tick")
		for i := range km {
			km[i] += 100 + 600*chance.Float64()
			add(at, "reading van-%d odometer %.0f", i, km[i])
		}
	}
	return events
}

// The same is known of the fleet's dates whether one partition makes its surveys itself, as
// of a file, or two answer those of the log, as in the service; and it moves the dates.
func TestFleetDates(t *testing.T) {
	alone, a, b := engine.NewPartition(), engine.NewPartition(), engine.NewPartition()
	alone.SurveyMonthly()
	for _, p := range []*engine.Partition{alone, a, b} {
		p.Apply(bookEvent(load(t, dateRules)))
	}
	var set *fleet.Set
	next := time.Time{}
	for _, ev := range weekly(t) {
		alone.Apply(ev)
		switch {
		case ev.Kind != event.TickEvent && strings.HasSuffix(ev.Vehicle, "3"):
			a.Apply(ev)
		case ev.Kind != event.TickEvent:
			b.Apply(ev)
		default:
			a.Apply(ev)
			b.Apply(ev)
			if a.Now().Before(next) {
				continue
			}
			next = time.Date(a.Now().Year(), a.Now().Month()+1, 1, 0, 0, 0, 0, time.UTC)
			number := 1
			if set != nil {
				number = set.Number + 1
			}
			set = fleet.MakeAfter(set, a.Book(), number, []fleet.SurveyPart{surveyed(t, a), surveyed(t, b)})
			a.Apply(set.Event())
			b.Apply(set.Event())
		}
	}
	_, own := alone.Baselines()
	if !reflect.DeepEqual(own.Dates, set.Dates) {
		t.Errorf("of a file:\n%s\nof the log:\n%s", asJSON(t, own.Dates), asJSON(t, set.Dates))
	}
	held, of := set.Dates.Record(false)
	if of < 100 || held < of/2 {
		t.Errorf("%d of %d dates held", held, of)
	}
	told := func(p *engine.Partition) due.Item { return p.Due(due.Query{Vehicle: "van-3", Ahead: 1000})[0] }
	if got, want := told(a), told(alone); !reflect.DeepEqual(got, want) || got.Range != set.Dates.RecordWords(false) {
		t.Errorf("in the service %+v\nof a file %+v", got, want)
	}
	// A set whose text is gone leaves what stands for it.
	now := told(a)
	a.RestoreBaselines(set.Hash(), nil)
	if gone := told(a); gone.Range != "" || gone.Likely != now.Likely || gone.Late == now.Late {
		t.Errorf("without the set %+v", gone)
	}
}
