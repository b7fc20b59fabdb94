package whatif

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules"
)

// Store is a log into which a book may be adopted; *stream.Log is one.
type Store interface {
	// BookInForce is the hash of the book in force; "" before the first.
	BookInForce(ctx context.Context) (string, error)
	// LastRegistration is the last registration of a vehicle; nil where there is none.
	LastRegistration(ctx context.Context, vehicle string) (*event.VehicleData, error)
	// Copies hands over a copy of each partition, which may be folded on.
	Copies(ctx context.Context, do func(*engine.Partition) error) error
}

// Adoption is what would come of adopting a book and a register of vehicles.
type Adoption struct {
	Changes  []Change      // by rule, then by what happens
	Register []event.Event // the registrations that say something new
}

// Change is what happens to the alarms of one rule or task.
type Change struct {
	Rule     string
	To       string // a stage, or cleared or withdrawn
	Vehicles int    // of how many
}

// Adopt judges every vehicle as it was stored last by the book and the register at the
// clock's time now. Nothing is changed.
func Adopt(ctx context.Context, s Store, b *rules.Book, register []event.Event, now time.Time) (*Adoption, error) {
	inForce, err := s.BookInForce(ctx)
	if err != nil {
		return nil, err
	}
	a := &Adoption{}
	fresh := map[string]event.Event{} // registrations that are not in a copy yet
	for _, ev := range register {
		d, err := s.LastRegistration(ctx, ev.Vehicle)
		if err != nil {
			return nil, err
		}
		if reflect.DeepEqual(d, ev.Data) {
			continue
		}
		a.Register = append(a.Register, ev)
		if fresh[ev.Vehicle], err = intake.At(ev, now); err != nil {
			return nil, fmt.Errorf("registering vehicle %q: %w", ev.Vehicle, err)
		}
	}
	count := counter{}
	book := event.Event{Kind: event.BookEvent, Time: now.UTC(), Recorded: now.UTC(), Data: &event.BookData{Hash: b.Hash, Book: b}}
	err = s.Copies(ctx, func(p *engine.Partition) error {
		if inForce != b.Hash { // else nobody is judged anew by it
			count.add(p.Apply(book))
		}
		for _, v := range p.Vehicles() {
			if ev, ok := fresh[v]; ok {
				count.add(p.Apply(ev))
				delete(fresh, v)
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("judging the vehicles by the folder's rules: %w", err)
	}
	count.add(unknown(book, fresh, now))
	a.Changes = count.changes()
	return a, nil
}

// unknown judges vehicles that no copy knows.
func unknown(book event.Event, fresh map[string]event.Event, now time.Time) (out []engine.Output) {
	p := engine.NewPartition()
	p.Apply(intake.Tick(now))
	p.Apply(book)
	for _, v := range slices.Sorted(maps.Keys(fresh)) {
		out = append(out, p.Apply(fresh[v])...)
	}
	return out
}

// counter counts the vehicles of each change.
type counter map[Change]map[string]bool

func (n counter) add(out []engine.Output) {
	for _, o := range out {
		t := o.Transition
		if t == nil {
			continue
		}
		c := Change{Rule: t.Rule, To: string(t.To)}
		if t.To == alarm.Normal {
			c.To = string(t.Transition) // cleared or withdrawn
		}
		if n[c] == nil {
			n[c] = map[string]bool{}
		}
		n[c][t.Home()] = true
	}
}

func (n counter) changes() (out []Change) {
	for c, of := range n {
		c.Vehicles = len(of)
		out = append(out, c)
	}
	slices.SortFunc(out, func(a, b Change) int { return cmp.Or(strings.Compare(a.Rule, b.Rule), strings.Compare(a.To, b.To)) })
	return out
}

// Nothing is the Store of a folder in which no service has run yet.
type Nothing struct{}

// BookInForce is none.
func (Nothing) BookInForce(context.Context) (string, error) { return "", nil }

// LastRegistration is none.
func (Nothing) LastRegistration(context.Context, string) (*event.VehicleData, error) { return nil, nil }

// Copies are none.
func (Nothing) Copies(context.Context, func(*engine.Partition) error) error { return nil }
