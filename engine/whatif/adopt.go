package whatif

import (
	"cmp"
	"context"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
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

// Adopt judges every vehicle as it was stored last by the book at the clock's time
// now, and compares the register with what is registered. Nothing is changed.
func Adopt(ctx context.Context, s Store, b *rules.Book, register []event.Event, now time.Time) (*Adoption, error) {
	inForce, err := s.BookInForce(ctx)
	if err != nil {
		return nil, err
	}
	a := &Adoption{}
	for _, ev := range register {
		d, err := s.LastRegistration(ctx, ev.Vehicle)
		if err != nil {
			return nil, err
		}
		if !reflect.DeepEqual(d, ev.Data) {
			a.Register = append(a.Register, ev)
		}
	}
	if inForce == b.Hash {
		return a, nil // nobody is judged anew
	}
	vehicles := map[Change]map[string]bool{}
	err = s.Copies(ctx, func(p *engine.Partition) error {
		for _, o := range p.Apply(event.Event{Kind: event.BookEvent, Time: now.UTC(), Recorded: now.UTC(), Data: &event.BookData{Hash: b.Hash, Book: b}}) {
			t := o.Transition
			if t == nil {
				continue
			}
			c := Change{Rule: t.Rule, To: string(t.To)}
			if t.To == alarm.Normal {
				c.To = string(t.Transition) // cleared or withdrawn
			}
			if vehicles[c] == nil {
				vehicles[c] = map[string]bool{}
			}
			vehicles[c][t.Vehicle] = true
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("judging the vehicles by the folder's rules: %w", err)
	}
	for c, of := range vehicles {
		c.Vehicles = len(of)
		a.Changes = append(a.Changes, c)
	}
	slices.SortFunc(a.Changes, func(a, b Change) int { return cmp.Or(strings.Compare(a.Rule, b.Rule), strings.Compare(a.To, b.To)) })
	return a, nil
}
