// Package gate keeps who may do what on the service's own NATS server in step with
// people.yaml and the register, and notes what programs tried and may not.
package gate

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"reflect"
	"slices"
	"sync"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/stream/server"
	"telltale/engine/stream/server/accounts"
	"telltale/engine/stream/service"
	"telltale/notify"
	"telltale/notify/people"
	"telltale/notify/programs"
)

// Gate is what stands between the programs and the service. Make one with [New]; it is safe
// for concurrent use.
type Gate struct {
	// Shut lets nobody in without a key, whatever people.yaml says: where people sign in,
	// whoever came without one could write a session of their own making. It is set before
	// the server starts.
	Shut bool

	dir string
	log *slog.Logger

	mu       sync.Mutex
	srv      *server.Server
	svc      *service.Service
	people   *people.Directory
	vehicles []programs.Vehicle
	read     bool           // the vehicles are those of the service
	counts   map[string]int // of them, by program; nil where they are to be counted again
	tokens   programs.Tokens
	refused  tally
}

// New is a gate by what people.yaml and the register of a folder say before the service is
// up.
func New(dir string, log *slog.Logger, d *people.Directory, register []event.Event) *Gate {
	return &Gate{dir: dir, log: log, people: d, tokens: tokens(d, dir, log), vehicles: Vehicles(register), refused: tally{of: map[string]*Refused{}}}
}

// Vehicles are those of a register, as programs send of them.
func Vehicles(register []event.Event) (out []programs.Vehicle) {
	for _, ev := range register {
		if v, ok := ev.Data.(*event.VehicleData); ok {
			out = append(out, named(v, ev.Vehicle))
		}
	}
	return out
}

// named is a vehicle with all names under which events of it are sent.
func named(d *event.VehicleData, names ...string) programs.Vehicle {
	v := programs.Vehicle{Vehicle: notify.VehicleOf(names[0], d)}
	for _, name := range append(append(names, d.Key), d.Was...) {
		if name != "" && !slices.Contains(v.Names, name) {
			v.Names = append(v.Names, name)
		}
	}
	return v
}

func (g *Gate) closed(d *people.Directory) bool { return g.Shut || d.Closed() }

// Programs are those with which the server starts; closed says whether it lets in nobody
// else.
func (g *Gate) Programs() (list []accounts.Program, closed bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.subjects(), g.closed(g.people)
}

// subjects are what the programs may publish to; what does not fit is said.
func (g *Gate) subjects() []accounts.Program {
	list, over := programs.Subjects(g.people.Programs(), g.vehicles)
	if over != nil {
		g.log.Error("programs with too many vehicles may send nothing", "programs", over, "most", programs.Most,
			"hint", "leave out `where` of some of them in people.yaml, or divide the fleet among several services")
	}
	return list
}

// Open has the gate hold a server to the register of a service from now on; srv is nil where
// the service joined a server, of which the accounts decide.
func (g *Gate) Open(ctx context.Context, srv *server.Server, svc *service.Service) error {
	g.mu.Lock()
	g.srv, g.svc = srv, svc
	g.mu.Unlock()
	return g.register(ctx, false)
}

// Set puts what people.yaml says now in force.
func (g *Gate) Set(ctx context.Context, d *people.Directory) error {
	g.mu.Lock()
	same := g.closed(g.people) == g.closed(d) && reflect.DeepEqual(g.people.Programs(), d.Programs())
	g.people, g.tokens, g.counts = d, tokens(d, g.dir, g.log), nil
	g.mu.Unlock()
	if same {
		return nil
	}
	if err := g.register(ctx, false); err != nil {
		return err
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.put()
}

// register reads the service's register and puts it in force, if there is a server and a
// program for which it matters: for the first time, or again.
func (g *Gate) register(ctx context.Context, again bool) error {
	g.mu.Lock()
	matters := g.srv != nil && (again || !g.read) && slices.ContainsFunc(g.people.Programs(), func(p *people.Program) bool { return p.Key != "" && p.Where != "" })
	svc := g.svc
	g.mu.Unlock()
	if !matters {
		return nil
	}
	if err := svc.CaughtUp(ctx); err != nil {
		return err
	}
	all, err := service.Register.Of(ctx, svc, service.Question{})
	if err != nil {
		return fmt.Errorf("reading of which vehicles programs may send: %w", err)
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	g.vehicles, g.read, g.counts = vehiclesOf(all), true, nil
	return g.put()
}

func vehiclesOf(all []engine.RegisteredVehicle) (out []programs.Vehicle) {
	for i := range all {
		if v := &all[i]; v.VehicleData != nil {
			out = append(out, named(v.VehicleData, v.Vehicle, v.First))
		}
	}
	return out
}

// put has the server let through what people and vehicles come to.
func (g *Gate) put() error {
	if g.srv == nil {
		return nil
	}
	err := g.srv.SetPrograms(g.subjects(), g.closed(g.people))
	if errors.Is(err, server.ErrNeedsStart) {
		g.log.Warn("people.yaml names no programs any more, and clients without a key are let in only after a new start")
		return nil
	}
	return err
}

// settle is how long no vehicle may have been registered before the register is read.
const settle = 300 * time.Millisecond

// Run reads the register again whenever vehicles are registered, until the context ends.
func (g *Gate) Run(ctx context.Context) error {
	came := make(chan struct{}, 1)
	sub, err := g.srv.Conn().Subscribe("telltale.in.*.vehicle", func(*nats.Msg) {
		select {
		case came <- struct{}{}:
		default:
		}
	})
	if err != nil {
		return fmt.Errorf("listening for vehicles: %w", err)
	}
	defer sub.Unsubscribe()
	quiet := time.NewTimer(time.Hour)
	quiet.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-came:
			quiet.Reset(settle)
		case <-quiet.C:
			if err := g.register(ctx, true); err != nil && ctx.Err() == nil {
				g.log.Error("what programs may send is as before", "error", err)
			}
		}
	}
}
