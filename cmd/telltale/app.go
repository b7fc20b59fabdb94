package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"runtime/debug"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/micro"
	"golang.org/x/sync/errgroup"

	"telltale/cmd/telltale/internal/certificate"
	"telltale/cmd/telltale/internal/cli"
	"telltale/cmd/telltale/internal/trail"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/audit"
	"telltale/engine/stream/server"
	"telltale/engine/stream/service"
	"telltale/notify"
	"telltale/notify/board/frame"
	"telltale/notify/people"
	"telltale/notify/programs/gate"
	telling "telltale/notify/service"
	"telltale/rules"
	"telltale/rules/unit"
)

// fleet is a service's folder, read and checked.
type fleet struct {
	dir      string
	open     cli.Texts // what an editor has open of it
	set      settings
	files    []rules.File
	book     *rules.Book
	people   *people.Directory
	register []event.Event // at the zero of time; published with the time at hand
	found    []string      // which of the files that may be left out are there
	whole    bool          // a folder that a service could run in, not one of rules alone
}

// has notes whether the file is there.
func (f *fleet) has(path string) bool {
	ok := f.open.Has(path)
	if ok {
		f.found = append(f.found, path)
	}
	return ok
}

// lost names the files that were there in an earlier reading of the folder and are
// gone: an empty place must not read as "nobody is to be told".
func (f *fleet) lost(now *fleet) error {
	for _, path := range f.found {
		if !slices.Contains(now.found, path) {
			return cli.Hint(fmt.Errorf("%s was there before and is missing now", path), "to have no people or no vehicles, keep the file and empty its list")
		}
	}
	return nil
}

// reads are the units in which people read who say none themselves: the folder's, then
// the book's.
func (f *fleet) reads() unit.System {
	if f.book == nil {
		return f.set.Reads
	}
	return f.set.Reads.Or(f.book.Units)
}

// loadFleet reads everything in the folder; the faults of all files come at once.
func loadFleet(dir string) (*fleet, error) {
	switch info, err := os.Stat(dir); {
	case errors.Is(err, fs.ErrNotExist):
		return nil, cli.Exit(2, cli.Hint(fmt.Errorf("no folder %s", dir), "telltale init "+dir+" makes one"))
	case err != nil:
		return nil, cli.Exit(2, fmt.Errorf("reading the folder: %w", err))
	case !info.IsDir():
		return nil, cli.Exit(2, cli.Hint(fmt.Errorf("%s is a file, not a folder", dir), "name the folder that holds rules/ and vehicles.yaml"))
	}
	f := &fleet{dir: dir, people: &people.Directory{}}
	if err := f.read(filepath.Join(dir, "rules")); err != nil {
		return nil, cli.Exit(2, err)
	}
	return f, nil
}

// read reads everything in the folder, whose rules are in rulesDir. With the faults of all
// files, what can be read of them is there.
func (f *fleet) read(rulesDir string) error {
	f.whole = true
	var errs []error
	set, err := settingsIn(f.dir, f.open)
	f.set, errs = set, append(errs, err)
	if f.files, err = f.open.RuleFiles(rulesDir); err == nil {
		if rulesDir == f.dir {
			f.files = slices.DeleteFunc(f.files, func(r rules.File) bool { return slices.Contains(otherFiles, filepath.Base(r.Name)) })
		}
		f.book, err = rules.Load(f.files)
	}
	errs = append(errs, err)
	if path := filepath.Join(f.dir, "people.yaml"); f.has(path) {
		errs = append(errs, f.readPeople(path))
	}
	f.has(filepath.Join(f.dir, "telltale.yaml"))
	if path := filepath.Join(f.dir, "vehicles.yaml"); f.has(path) {
		f.register, err = f.open.Register(path, stream.Unclocked)
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

func (f *fleet) readPeople(path string) error {
	text, err := f.open.Read(path)
	if err != nil {
		return fmt.Errorf("reading people: %w", err)
	}
	all, err := people.Parse(path, text)
	if err != nil {
		return err
	}
	f.people = all.Reading(f.reads())
	return nil
}

// ready reads a folder that was just made.
func ready(dir string) (*rules.Book, error) {
	f, err := loadFleet(dir)
	if err != nil {
		return nil, err
	}
	return f.book, nil
}

// app is the running service: the NATS server or the connection to one, the
// partitions, and the telling.
type app struct {
	fleet  *fleet
	logger *slog.Logger
	server *server.Server // nil where it joined one
	gate   *gate.Gate     // who may do what there
	nc     *nats.Conn
	log    *stream.Log
	svc    *service.Service
	micro  micro.Service
	notify *telling.Service
	trail  trail.Folder // who did what

	pair  *certificate.Keeper // nil without
	pages *http.Server        // of the answers; nil without
	board *http.Server        // nil without
	live  *frame.Live
	look  string // where the board is reached from this machine

	marks map[string]string // how far the lists of each person were looked at; owned by the clock

	leftOutOf []event.Event // the register of which it was said what it leaves out

	fault   atomic.Value // string: what is wrong with the folder since it was read last
	read    atomic.Int64 // when that was, Unix seconds
	suspect atomic.Bool  // the wall clock jumped: ticks are held
	monitor *monitor     // nil where it is off

	// life ends when the service is stopped, or when anything in the group fails.
	life   context.Context
	cancel context.CancelFunc
	group  *errgroup.Group
}

// program is this program's version, as the module system knows it.
func program() string {
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "(devel)"
}

// wroteMail is told the path of each mail that is written as a file.
type wroteMail func(path string)

// startApp brings the service up: everything that was in the log is folded and the
// rules and vehicles of the folder are in force when it returns.
func startApp(ctx context.Context, f *fleet, logger *slog.Logger, wrote wroteMail) (_ *app, err error) {
	a := &app{fleet: f, logger: logger}
	defer func() {
		if err != nil {
			err = errors.Join(err, a.stop())
		}
	}()
	a.read.Store(time.Now().Unix())
	if f.set.Metrics != "" {
		if a.monitor, err = startMonitor(f.set.Metrics, logger); err != nil {
			return nil, err
		}
	}
	if a.pair, err = f.set.Open(f.set.ownNATS(), logger); err != nil {
		return nil, err
	}
	if err := a.connect(ctx); err != nil {
		return nil, err
	}
	a.log, err = stream.Open(ctx, a.nc, stream.LogConfig{MaxBytes: int64(f.set.MaxMiB) << 20, Log: logger})
	if err != nil {
		return nil, err
	}
	if a.trail.Log, err = audit.Open(ctx, a.log); err != nil {
		return nil, err
	}
	a.svc, err = service.Start(context.WithoutCancel(ctx), a.log, service.Config{
		Program: program(), ClockFollowsEvents: f.set.Clock == "events", Share: a.server == nil, Reads: f.set.Reads, Narrow: notify.Narrow, Sees: notify.Sees,
	})
	if err != nil {
		return nil, err
	}
	if err := a.svc.Settled(ctx); err != nil {
		return nil, err
	}
	if err := a.adopt(ctx, f); err != nil {
		return nil, err
	}
	if err := a.gate.Open(ctx, a.server, a.svc); err != nil {
		return nil, err
	}
	if err := a.startTelling(ctx, wrote); err != nil {
		return nil, err
	}
	a.micro, err = a.svc.Respond()
	if err != nil {
		return nil, err
	}
	if a.monitor != nil {
		a.monitor.app.Store(a)
	}
	if err := a.startBoard(); err != nil {
		return nil, err
	}
	return a, a.answerDeliveries()
}

func (a *app) connect(ctx context.Context) (err error) {
	set := &a.fleet.set
	a.gate = gate.New(a.fleet.dir, a.logger, a.fleet.people, a.fleet.register)
	a.gate.Shut = set.SignsIn(false)
	if set.NATS != "" {
		a.nc, err = set.door().Join(ctx, a.logger)
		return err
	}
	c := server.Config{Dir: a.fleet.dir, Listen: set.Listen, Log: a.logger, Refused: a.gate.Refuse}
	if set.TLS(set.Listen) {
		c.TLS = a.pair.TLS()
	}
	c.Programs, c.Closed = a.gate.Programs()
	a.server, err = server.Embed(ctx, c)
	if err != nil {
		return a.inTheWay(err)
	}
	a.nc = a.server.Conn()
	return nil
}

// inTheWay adds what to do where another program has the folder or the port. The
// server tells of the port in words alone.
func (a *app) inTheWay(err error) error {
	dir := a.fleet.dir
	switch {
	case errors.Is(err, syscall.EWOULDBLOCK):
		return cli.Hint(err, "a service is already running there; to query it: telltale alarms --dir "+dir)
	case strings.Contains(err.Error(), "address already in use"):
		return cli.Hint(err, "another program is listening there; name a free port: telltale serve --dir "+dir+" --listen 127.0.0.1:4223, or listen: in "+filepath.Join(dir, "telltale.yaml"))
	}
	return err
}

// url is where clients reach the service.
func (a *app) url() string {
	if a.server != nil {
		return a.server.URL()
	}
	return a.fleet.set.NATS
}

// now is the clock's time: the wall's or, where it follows the events or is suspect,
// the last tick.
func (a *app) now(ctx context.Context) (time.Time, error) {
	if a.fleet.set.Clock == "wall" && !a.suspect.Load() {
		return time.Now().UTC().Truncate(time.Second), nil
	}
	t, err := a.log.LastTick(ctx)
	if t.IsZero() {
		t = stream.Unclocked
	}
	return t, err
}

// adopt puts the folder's rules in force and registers the vehicles that say
// something new.
func (a *app) adopt(ctx context.Context, f *fleet) error {
	if err := a.trail.Files(ctx, f.dir, f.people); err != nil {
		a.logger.Error("writing down what changed", "error", err) // which keeps nothing from coming into force
	}
	if a.server == nil {
		return a.compare(ctx, f)
	}
	now, err := a.now(ctx)
	if err != nil {
		return err
	}
	adopted, err := a.log.PublishBook(ctx, now, f.book, f.files)
	if err != nil {
		return err
	}
	a.trail.Rules(ctx, f.book, f.files, adopted)
	if adopted {
		a.logger.Info("rules adopted", "book", f.book.Hash, "rules", len(f.book.Rules), "tasks", len(f.book.Tasks))
		for i := range f.book.Uncautioned {
			a.logger.Warn("caution missing", "at", f.book.Uncautioned[i].Place, "what", f.book.Uncautioned[i].Text)
		}
	}
	return a.registerAt(ctx, f, now)
}

// compare says whether the folder's rules are those in force. A service that shares
// a NATS server adopts nothing by itself: two with different folders would put
// each other's rules out of force for ever.
func (a *app) compare(ctx context.Context, f *fleet) error {
	hash, err := a.log.BookInForce(ctx)
	switch {
	case err != nil:
		return err
	case hash == "":
		a.logger.Warn("no rules in force yet", "hint", "telltale adopt "+f.dir+" --nats "+a.fleet.set.NATS)
	case hash != f.book.Hash:
		a.logger.Info("rules in force differ from the folder", "book", hash, "hint", "telltale adopt "+f.dir+" --nats "+a.fleet.set.NATS)
	}
	return nil
}

// registerAt publishes the registrations that differ from what is known, and says which
// vehicles in service the register names no longer.
func (a *app) registerAt(ctx context.Context, f *fleet, now time.Time) error {
	var taken []string
	var done []event.Event
	for _, ev := range f.register {
		v, err := a.svc.RegisteredAs(ctx, ev.Vehicle)
		if err == nil && v.Same(ev.Vehicle, ev.Data.(*event.VehicleData)) {
			continue
		}
		if err == nil {
			if why := v.Taken(ev.Vehicle, ev.Data.(*event.VehicleData)); why != "" {
				taken = append(taken, why)
				continue
			}
			at := now
			if !now.Equal(stream.Unclocked) { // which no event has told the time
				at = v.Later(now)
			}
			ev, err = intake.At(ev, at)
		}
		if err == nil {
			err = a.log.Publish(ctx, ev)
		}
		if err != nil {
			return fmt.Errorf("registering vehicle %q: %w", ev.Vehicle, err)
		}
		done = append(done, ev)
	}
	a.trail.Vehicles(ctx, done)
	for range handedOver { // a new name is handed over to the first one
		if err := a.svc.CaughtUp(ctx); err != nil {
			return err
		}
	}
	return a.sayLeftOut(ctx, f, taken)
}

// handedOver is how often what was published is waited for: it may be handed over to the
// record, and that may ask another one for its facts.
const handedOver = 3

// sayLeftOut says once, for each register that is read, which vehicles it leaves out, and
// which of its entries cannot be registered.
func (a *app) sayLeftOut(ctx context.Context, f *fleet, taken []string) error {
	if a.leftOutOf != nil && reflect.DeepEqual(a.leftOutOf, f.register) {
		return nil
	}
	all, err := service.Register.Of(ctx, a.svc, service.Question{})
	if err != nil {
		return err
	}
	a.leftOutOf = f.register
	for _, why := range taken {
		a.logger.Error("not registered", "error", why)
	}
	if keys := leftOut(f.register, all); keys != nil {
		a.logger.Warn("vehicles in service that the register no longer names", "vehicles", someKeys(keys), "hint", leftOutHint(keys[0]))
	}
	return nil
}

// startTelling reads what the partitions say and makes mails of it, while this
// replica has the seat for it.
func (a *app) startTelling(ctx context.Context, wrote wroteMail) error {
	log := fleetLog{a.log, a.svc}
	a.notify = &telling.Service{
		Log: log, Fleet: log, Beside: a.answerRetry, Suspect: a.suspect.Load,
		Notifier: &notify.Notifier{Partitions: stream.Partitions, Log: a.logger},
		Store:    func() notify.Store { return a.log.Deliveries() },
		Ways:     func(ctx context.Context) map[string]telling.Way { return a.ways(ctx, wrote) },
	}
	a.notify.SetDirectory(a.fleet.people)
	if err := a.startAnswers(); err != nil {
		return err
	}
	ctx, a.cancel = context.WithCancel(context.WithoutCancel(ctx))
	a.group, a.life = errgroup.WithContext(ctx)
	a.group.Go(func() error { a.trail.Run(a.life); return nil })
	if a.server != nil {
		a.group.Go(func() error { return a.gate.Run(a.life) })
		a.group.Go(func() error {
			select {
			case <-a.life.Done():
				return nil
			case err := <-a.server.Broken():
				return err
			}
		})
	}
	if a.pair != nil {
		a.group.Go(func() error { return a.pair.Run(a.life) })
		a.notify.Notifier.Certificate = func() notify.Certificate {
			ends, of := a.pair.Ends()
			return notify.Certificate{Of: of, Ends: ends, Left: time.Until(ends)}
		}
	}
	a.svc.Hold(service.NotifySeat, a.notify.Run)
	a.svc.Hold(service.BaselinesSeat, func(ctx context.Context) error {
		return unlessStopped(ctx, a.log.KeepBaselines(ctx, a.fleet.set.Baselines))
	})
	return nil
}

// settle waits until everything in the log is folded, told and delivered, or
// failed in plain sight.
func (a *app) settle(ctx context.Context) error {
	if err := a.svc.CaughtUp(ctx); err != nil {
		return err
	}
	return a.notify.Settle(ctx)
}

// stop ends everything within 5 s: no more is told or folded, what is in flight
// ends, the log is closed last.
func (a *app) stop() error {
	var errs []error
	if a.monitor != nil {
		errs = append(errs, a.monitor.stop())
	}
	if a.live != nil {
		a.live.Close()
	}
	for _, pages := range []*http.Server{a.pages, a.board} {
		if pages != nil {
			errs = append(errs, pages.Close())
		}
	}
	if a.micro != nil {
		errs = append(errs, a.micro.Stop())
	}
	if a.cancel != nil {
		a.cancel()
		errs = append(errs, a.group.Wait())
	}
	if a.svc != nil {
		errs = append(errs, a.svc.Stop())
	}
	if a.server != nil {
		errs = append(errs, a.server.Close())
	} else if a.nc != nil {
		a.nc.Close()
	}
	return errors.Join(errs...)
}
