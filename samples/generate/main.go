// Generate writes the sample fleet's year of events, one CloudEvent a line, in the
// order in which they were recorded. The same program always writes the same
// bytes.
//
//	go run ./samples/generate > samples/events.jsonl
package main

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"slices"
	"time"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules/unit"
)

func main() {
	if err := write(os.Stdout); err != nil {
		fmt.Fprintf(os.Stderr, "generate: %v\n", err)
		os.Exit(1)
	}
}

// write makes the year and writes it.
func write(w io.Writer) error {
	y := newYear()
	for _, v := range y.fleet {
		y.cards(v)
	}
	y.stories()
	for _, v := range y.fleet {
		y.routine(v)
		y.readings(v)
	}
	out := bufio.NewWriter(w)
	if err := y.encode(out); err != nil {
		return err
	}
	return out.Flush()
}

// Days are numbered from 1 January 2031, which is 1; 0 and less lie before it.
const lastDay = 365

// newYearsEve is day 0.
var newYearsEve = time.Date(2030, 12, 31, 0, 0, 0, 0, time.UTC)

// at is a moment of a day, in UTC.
func at(day int, hour, minute int) time.Time {
	return newYearsEve.AddDate(0, 0, day).Add(time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute)
}

// on is the number of a date: "02-10" of the year, or "2029-12-09".
func on(date string) int {
	if len(date) == len("02-10") {
		date = "2031-" + date
	}
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		panic(err) // a slip in this program's own tables
	}
	return int(t.Sub(newYearsEve) / (24 * time.Hour))
}

// workday reports whether the workshops are open.
func workday(day int) bool {
	t := at(day, 0, 0)
	return t.Weekday() != time.Saturday && t.Weekday() != time.Sunday && !holiday(day)
}

func holiday(day int) bool {
	return slices.Contains([]string{"01-01", "04-11", "04-14", "12-25", "12-26"}, at(day, 0, 0).Format("01-02"))
}

// year gathers what happens.
type year struct {
	fleet  []*vehicle
	dice   *rand.Rand
	events []event.Event
	count  map[string]int // ids given out, by source
	typed  int            // history cards typed in on the first morning
}

func newYear() *year {
	y := &year{dice: rand.New(rand.NewPCG(2031, 19)), count: map[string]int{}}
	y.fleet = fleet()
	for _, v := range y.fleet {
		v.drive(y.dice)
	}
	return y
}

// vehicle finds a vehicle of the fleet.
func (y *year) vehicle(id string) *vehicle {
	i := slices.IndexFunc(y.fleet, func(v *vehicle) bool { return v.id == id })
	return y.fleet[i]
}

// id gives out a source's next identity.
func (y *year) id(source, prefix string) event.ID {
	y.count[source]++
	return event.ID{Source: source, ID: fmt.Sprintf("%s-%04d", prefix, y.count[source])}
}

// add notes an event; recorded is zero where it was recorded when it happened.
func (y *year) add(v *vehicle, kind event.Kind, id event.ID, when, recorded time.Time, data any) event.ID {
	if recorded.IsZero() {
		recorded = when
	}
	y.events = append(y.events, event.Event{ID: id, Kind: kind, Vehicle: v.id, Time: when, Recorded: recorded, Data: data})
	return id
}

// encode writes the events in the order in which they were recorded.
func (y *year) encode(w io.Writer) error {
	slices.SortStableFunc(y.events, func(a, b event.Event) int { return a.Recorded.Compare(b.Recorded) })
	for _, ev := range y.events {
		line, err := intake.Encode(ev)
		if err != nil {
			return err
		}
		if _, err := intake.Decode(line); err != nil {
			return fmt.Errorf("event %s of %s would be refused: %w", ev.ID.ID, ev.ID.Source, err)
		}
		if _, err := w.Write(append(line, '\n')); err != nil {
			return err
		}
	}
	return nil
}

func quantity(v float64, u string) *unit.Quantity { return &unit.Quantity{Value: v, Unit: u} }

// answer is what a person says to an alarm or a vehicle.
func (y *year) answer(v *vehicle, when time.Time, a event.AnswerData) event.ID {
	return y.add(v, event.AnswerEvent, y.id("/people/"+a.By, "a"), when, time.Time{}, &a)
}
