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
	"telltale/engine/record"
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
	// Registered are the vehicles that are registered before, as they were stored last.
	Registered []engine.RegisteredVehicle
	// Taken says of entries of the register why they cannot be registered.
	Taken []string
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
	a, first := &Adoption{}, earlier{}
	err = s.Copies(ctx, func(p *engine.Partition) error {
		a.Registered = append(a.Registered, p.Register()...)
		for _, n := range p.Renamed() {
			first[n.Name] = n.Is
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("reading the vehicles that are registered: %w", err)
	}
	if err := a.compare(ctx, s, register, first); err != nil {
		return nil, err
	}
	a.Changes, err = a.judge(ctx, s, b, inForce, first, now)
	return a, err
}

// judge folds the book and the registrations into copies, and counts what comes of it.
func (a *Adoption) judge(ctx context.Context, s Store, b *rules.Book, inForce string, first earlier, now time.Time) ([]Change, error) {
	fresh, have := map[string]event.Event{}, a.byHome() // registrations that are in no copy yet
	for _, ev := range a.Register {
		at, err := intake.At(ev, now)
		if err != nil {
			return nil, fmt.Errorf("registering vehicle %q: %w", ev.Vehicle, err)
		}
		fresh[first.home(at, have)] = at
	}
	count := counter{}
	book := event.Event{Kind: event.BookEvent, Time: now.UTC(), Recorded: now.UTC(), Data: &event.BookData{Hash: b.Hash, Book: b}}
	err := s.Copies(ctx, func(p *engine.Partition) error {
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
	return count.changes(), nil
}

// earlier leads from other names of vehicles to those that their records are kept under.
type earlier map[string]string

func (e earlier) of(name string) string {
	return record.Home(name, func(n string) string { return e[n] })
}

// home is the name that the record of a registration is kept under: that of the first of its
// earlier names that is a registered vehicle's, or the last of them, as [record.Record.Earlier]
// has it.
func (e earlier) home(ev event.Event, registered map[string]engine.RegisteredVehicle) string {
	home := e.of(ev.Vehicle)
	for _, w := range ev.Data.(*event.VehicleData).Was {
		home = e.of(w)
		if _, ok := registered[home]; ok {
			break
		}
	}
	return home
}

// byHome are the registered vehicles by the names that their records are kept under.
func (a *Adoption) byHome() map[string]engine.RegisteredVehicle {
	out := map[string]engine.RegisteredVehicle{}
	for _, v := range a.Registered {
		out[cmp.Or(v.First, v.Vehicle)] = v
	}
	return out
}

// compare finds the registrations that say something new, and those that cannot be: first
// leads from other names to the first ones.
func (a *Adoption) compare(ctx context.Context, s Store, register []event.Event, first earlier) error {
	slices.SortFunc(a.Registered, func(a, b engine.RegisteredVehicle) int { return strings.Compare(a.Vehicle, b.Vehicle) })
	have := a.byHome()
	for _, ev := range register {
		d := ev.Data.(*event.VehicleData)
		v, known := have[first.of(ev.Vehicle)]
		if known && v.Same(ev.Vehicle, d) {
			continue
		}
		if why := v.Taken(ev.Vehicle, d); why != "" {
			a.Taken = append(a.Taken, why)
			continue
		}
		last, err := s.LastRegistration(ctx, ev.Vehicle)
		if err != nil {
			return err
		}
		// What was published a moment ago is in no record yet.
		if !reflect.DeepEqual(last, d) || known && v.Vehicle != ev.Vehicle {
			a.Register = append(a.Register, ev)
		}
	}
	return nil
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
