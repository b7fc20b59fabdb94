package stream

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"telltale/engine"
)

// question is what may be asked, as JSON; an empty request asks for everything.
type question struct {
	Vehicle string `json:"vehicle,omitempty"`
	Ahead   int    `json:"ahead,omitempty"` // days
	Tag     string `json:"tag,omitempty"`   // as depot=north
	On      string `json:"on,omitempty"`    // YYYY-MM-DD
	Rule    string `json:"rule,omitempty"`
	// Component is of a question about samples.
	Component string `json:"component,omitempty"`
	// Events are those that are asked after.
	Events []engine.KnownEvent `json:"events,omitempty"`
}

// inquiry is what each partition can be asked of its vehicles.
type inquiry[T any] struct {
	name string
	of   func(*worker, question) []T // with the worker's mu held
}

var (
	dueInquiry = inquiry[engine.DueItem]{"due", func(w *worker, q question) []engine.DueItem {
		return w.fold.Due(engine.DueQuery{Vehicle: q.Vehicle, Ahead: q.Ahead, Tag: q.Tag, On: q.On})
	}}
	alarmsInquiry = inquiry[engine.Standing]{"alarms", func(w *worker, q question) []engine.Standing {
		return w.fold.AlarmsOf(q.Vehicle)
	}}
	whyInquiry = inquiry[engine.Why]{"why", func(w *worker, q question) []engine.Why {
		return w.fold.Why(q.Vehicle, q.Rule)
	}}
	samplesInquiry = inquiry[engine.Verdict]{"samples", func(w *worker, q question) []engine.Verdict {
		return w.fold.Verdicts(q.Vehicle, q.Component)
	}}
	unregisteredInquiry = inquiry[string]{"unregistered", func(w *worker, _ question) []string { return w.fold.Unregistered() }}
	registeredInquiry   = inquiry[*engine.VehicleData]{"registered", func(w *worker, q question) []*engine.VehicleData {
		if d := w.fold.Registered(q.Vehicle); d != nil {
			return []*engine.VehicleData{d}
		}
		return nil
	}}
)

// Due is the due list over all partitions, ordered by what to do first. This and
// the lists below ask the owners of the partitions, wherever they are; where some
// do not answer within 2 s, the rest comes with an *Incomplete.
func (s *Service) Due(ctx context.Context, q engine.DueQuery) ([]engine.DueItem, error) {
	return s.due(ctx, question{Vehicle: q.Vehicle, Ahead: q.Ahead, Tag: q.Tag, On: q.On})
}

func (s *Service) due(ctx context.Context, q question) ([]engine.DueItem, error) {
	out, err := scatter(ctx, s, dueInquiry, q)
	engine.SortDue(out)
	return out, err
}

// Alarms lists what stands, in order of vehicle, rule and component.
func (s *Service) Alarms(ctx context.Context) ([]engine.Standing, error) {
	return s.alarms(ctx, question{})
}

// AlarmsOf lists what stands of one vehicle.
func (s *Service) AlarmsOf(ctx context.Context, vehicle string) ([]engine.Standing, error) {
	return s.alarms(ctx, question{Vehicle: vehicle})
}

func (s *Service) alarms(ctx context.Context, q question) ([]engine.Standing, error) {
	out, err := scatter(ctx, s, alarmsInquiry, q)
	slices.SortStableFunc(out, func(a, b engine.Standing) int {
		return cmp.Or(strings.Compare(a.Vehicle, b.Vehicle), strings.Compare(a.Rule, b.Rule), strings.Compare(a.Component, b.Component))
	})
	return out, err
}

// Why tells why a rule or task of a vehicle stands as it does; of all where rule is empty.
func (s *Service) Why(ctx context.Context, vehicle, rule string) ([]engine.Why, error) {
	return scatter(ctx, s, whyInquiry, question{Vehicle: vehicle, Rule: rule})
}

// Verdicts reads the latest sample of a component of a vehicle; of each where
// component is empty.
func (s *Service) Verdicts(ctx context.Context, vehicle, component string) ([]engine.Verdict, error) {
	return scatter(ctx, s, samplesInquiry, question{Vehicle: vehicle, Component: component})
}

// Unregistered lists the vehicles whose events are kept but not judged because
// nobody registered them.
func (s *Service) Unregistered(ctx context.Context) ([]string, error) {
	out, err := scatter(ctx, s, unregisteredInquiry, question{})
	slices.Sort(out)
	return out, err
}

// Registered is the registration of a vehicle that counts; nil where there is none.
func (s *Service) Registered(ctx context.Context, vehicle string) (*engine.VehicleData, error) {
	list, err := scatter(ctx, s, registeredInquiry, question{Vehicle: vehicle})
	if len(list) == 0 {
		return nil, err
	}
	return list[0], err
}
