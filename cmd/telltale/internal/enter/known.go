package enter

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/cmd/telltale/internal/ask"
	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake/job"
	"telltale/engine/stream/service"
	"telltale/engine/stream/tables"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// fleet is what the service knows, each asked for once and when it is needed.
type fleet struct {
	ctx      context.Context
	nc       *nats.Conn
	vehicles map[string]*event.VehicleData // those that were asked for
	first    map[string]string             // the first keys of vehicles that have another by now
	has      map[string]job.Known
	byHand   job.Measures // empty until they are asked for
	now      time.Time
	latest   time.Time
	reads    unit.System // of the service's folder
}

// fleetOf asks for the time and the units.
func fleetOf(ctx context.Context, nc *nats.Conn) (*fleet, error) {
	f := &fleet{ctx: ctx, nc: nc, vehicles: map[string]*event.VehicleData{}, first: map[string]string{}, has: map[string]job.Known{}}
	h, err := service.QueryHealth(ctx, nc)
	if err != nil {
		return nil, err
	}
	f.latest, f.now = h.Clock()
	f.reads, err = unit.SystemOf(h.Reads)
	return f, err
}

func (f *fleet) add(v *engine.RegisteredVehicle) {
	f.vehicles[v.Vehicle] = v.VehicleData
	if v.First != "" {
		f.first[v.Vehicle] = v.First
	}
}

// said are the units in which people read of a vehicle, as far as its registration or the
// folder names them.
func (f *fleet) said(vehicle string) unit.System {
	var own unit.System
	if d := f.vehicles[vehicle]; d != nil {
		own, _ = unit.SystemOf(d.Reads) // checked when it came in
	}
	return own.Or(f.reads)
}

// known is what the service knows of a vehicle.
func (f *fleet) known(vehicle string) (job.Known, error) {
	if k, ok := f.has[vehicle]; ok {
		return k, nil
	}
	k := job.Known{Registered: f.vehicles[vehicle], First: f.first[vehicle], Now: f.now, Latest: f.latest, Reads: f.said(vehicle)}
	var err error
	if k.Has, err = service.Why.Ask(f.ctx, f.nc, service.Question{Vehicle: vehicle}); err == nil {
		f.has[vehicle] = k
	}
	return k, err
}

// measures are what the rules have measured by hand on the vehicle, with their units.
func (f *fleet) measures(vehicle string) (job.Measures, error) {
	var err error
	if len(f.byHand) == 0 { // they are the book's, the same for all
		f.byHand, err = tables.Measures(f.ctx, service.At{Conn: f.nc}, vehicle)
	}
	return f.byHand, err
}

// vehicle is the one that was meant, and what is known of it.
func (f *fleet) vehicle(text string) (string, job.Known, error) {
	id := text
	if f.vehicles[text] == nil {
		v, err := ask.Registered(f.ctx, f.nc, text)
		if err != nil {
			return "", job.Known{}, err
		}
		f.add(&v)
		id = v.Vehicle
	}
	k, err := f.known(id)
	return id, k, err
}

// typedWrong is the error of a typed entry with its cure; others are left as they are.
// again is the call that it was typed with, up to its options.
func typedWrong(err error, again string) error {
	e := (*job.Error)(nil)
	if !errors.As(err, &e) {
		return err
	}
	err = errors.New(e.Error())
	if e.Option != "" { // with which the text begins
		err = fmt.Errorf("--%s", e.Error())
	}
	return cli.Exit(2, cli.Hint(err, cure(e, again)))
}

// cure is the line that says how to put it right.
func cure(e *job.Error, again string) string {
	switch e.Fault {
	case job.SeveralComponents, job.NoComponentSaid:
		return "add --component " + english.Typed(e.Have[0])
	case job.NoComponents:
		return "give it components in vehicles.yaml"
	case job.NoMeter:
		return "give it one in vehicles.yaml"
	case job.SeveralMeters:
		return fmt.Sprintf("name it: --meter %q", e.Have[0]+"=…")
	case job.NoMeasure:
		return `write each as --measure "front lining=6.5mm"; measures: {front lining: mm} at the top of a rule file names one`
	case job.NoQuantity:
		if e.Pointed != "" {
			return fmt.Sprintf("write a decimal point: --%s%s", spaced(e.Option), english.Typed(e.Pointed))
		}
		if e.Option == "measure" && e.Typed != "" {
			return fmt.Sprintf("write --measure %q", e.Typed)
		}
		if e.Option == "measure" {
			return fmt.Sprintf("write --measure %q, in one of %s", e.Name+"=…"+e.Have[0], strings.Join(e.Have, ", "))
		}
		return "write --" + spaced(e.Option) + quantityLike(e)
	case job.TwoNumbers:
		return fmt.Sprintf("write --%s%s, or with another number of decimals if the point is a decimal point", spaced(e.Option), e.Typed)
	case job.NoDate, job.NoLimit, job.Past:
		return dateLike(e)
	case job.NotYet:
		return "enter work once it is done"
	case job.NoTask:
		odometer := " --odometer " + map[bool]string{true: "81200km", false: "157500mi"}[e.Own == "km"]
		return again + ` "engine oil"` + odometer + ", or " + again + odometer + " for a reading alone"
	case job.NoReason:
		return `add --why "parts come on Friday"`
	case job.NoNumber:
		return "add --number L-1042"
	case job.NoResult:
		return `write the results as --sample "Fe=74 Cu=9 Pb=<1"`
	case job.Several:
		return "name one of them: " + strings.Join(e.Have, ", ")
	}
	return ask.DidYouMean(e.Near, e.Have)
}

// spaced is an option with what parts it from its value.
func spaced(option string) string {
	if strings.HasSuffix(option, "=") {
		return option
	}
	return option + " "
}

// quantityLike is what was typed with a unit, or an example.
func quantityLike(e *job.Error) string {
	if e.Typed != "" {
		return e.Typed + map[unit.Kind]string{unit.Distance: "km or " + e.Typed + "mi", unit.Time: "h", unit.Volume: "L, or in qt, gal or mL"}[e.Kind]
	}
	switch {
	case e.Own != "" && e.Kind == unit.Distance:
		return "81200" + e.Own
	case e.Own != "":
		return "4" + e.Own
	}
	return map[unit.Kind]string{unit.Distance: "81200km", unit.Time: "913h", unit.Volume: "4L, or qt, gal, mL"}[e.Kind]
}

func dateLike(e *job.Error) string {
	if e.Option == "until" {
		return "write a future date, as --until 2031-03-20"
	}
	return "write --on 2031-02-10 or --on 2031-02-10T14:00"
}
