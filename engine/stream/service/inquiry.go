package service

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/micro"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/gauge"
	"telltale/engine/history"
	"telltale/engine/reach"
	"telltale/engine/record"
	"telltale/engine/sample"
	"telltale/engine/stranger"
	"telltale/engine/stream"
	"telltale/engine/whole"
	"telltale/engine/why"
	"telltale/rules/unit"
)

// Question is what may be asked, as JSON; an empty request asks for everything.
type Question struct {
	Vehicle string `json:"vehicle,omitempty"`
	Ahead   int    `json:"ahead,omitempty"` // days
	Tag     string `json:"tag,omitempty"`   // as depot=north
	On      string `json:"on,omitempty"`    // YYYY-MM-DD
	Rule    string `json:"rule,omitempty"`
	ID      string `json:"id,omitempty"`   // of an event, or its beginning
	Name    string `json:"name,omitempty"` // by which people call a vehicle
	// Component is of a question about samples, Number a laboratory's of one of them.
	Component string `json:"component,omitempty"`
	Number    string `json:"number,omitempty"`
	// Units are those in which whoever asks reads, at most one of each kind: "mi", "qt".
	// What a vehicle's registration names goes before them, what the service's settings name
	// comes after, then the rules' own. An empty list leaves it to these. Without it all is
	// told in the base units: km, h, L, degC, kPa.
	Units []string `json:"units,omitzero"`
	// Based: no units are named, so all is told in the base units.
	Based bool `json:"based,omitempty"`
	// Sees says which vehicles whoever asks may see, as Config.Sees reads it; all where it is
	// empty. Of a vehicle that may not be seen the answer is that of one that does not exist.
	Sees string `json:"sees,omitempty"`
	// Events are those that are asked after.
	Events []engine.KnownEvent `json:"events,omitempty"`
	// Entries are CloudEvents of the vehicle of which it is asked what would follow.
	Entries []json.RawMessage `json:"entries,omitempty"`

	Listing

	names []string // all of the vehicle's
}

// asked is the partition that answers whoever asks in their units, of the vehicles that they
// may see. A part must ask nothing past it.
func (w *worker) asked(q Question) engine.Asked {
	units, _ := unit.SystemOf(q.Units) // read as the question came in
	a := w.fold.AskedBy(engine.Asker{Units: units, Based: q.Based})
	if q.Sees != "" {
		sees, err := w.sees.Of(q.Sees)
		if err != nil { // which was looked for before
			sees = func(string, *event.VehicleData) bool { return false }
		}
		a.Sight = w.fold.Sight(q.Sees, sees)
	}
	return a
}

// Inquiry is a list that a service can be asked for. Each is one row below, and is
// answered for one partition, for all of them, and asked for, from there.
type Inquiry[T any] struct {
	name string
	// part is what one partition says, with the worker's mu held; nil where the list
	// comes from the log alone.
	part func(*worker, Question) []T
	// whole makes the list of all partitions' parts; nil where they stand one after
	// the other.
	whole func(ctx context.Context, s *Service, q Question, parts []T) ([]T, error)
}

// The lists that a service can be asked for, on telltale.query.<name>.
var (
	// Due is the due list, ordered by what to do first.
	Due = listed(Inquiry[due.Item]{"due", (*worker).due, sorted(due.SortDue)})
	// Alarms is what stands, in order of vehicle, rule and component.
	Alarms = listed(Inquiry[alarm.Listed]{"alarms", (*worker).standingAlarms, sorted(byAlarm)})
	// Why tells why a rule or task of a vehicle stands as it does; of all where Rule is
	// empty.
	Why = listed(Inquiry[why.Why]{"why",
		func(w *worker, q Question) []why.Why { return w.asked(q).Why(q.Vehicle, q.Rule) }, nil})
	// Samples reads the latest sample of a component of a vehicle, or those of a Number;
	// of each component where Component is empty.
	Samples = listed(Inquiry[sample.Verdict]{"samples", (*worker).samples, nil})
	// Sampled lists the samples of a component of a vehicle, the latest first; of each
	// where Component is empty.
	Sampled = listed(Inquiry[sample.Line]{"sampled",
		func(w *worker, q Question) []sample.Line { return w.asked(q).Samples(q.Vehicle, q.Component) }, nil})
	// Measured tells what was measured by hand of a vehicle, of all measures of the rules.
	Measured = listed(Inquiry[gauge.Measured]{"measured",
		func(w *worker, q Question) []gauge.Measured { return w.asked(q).Measured(q.Vehicle, true) }, nil})
	// Vehicle tells all of one vehicle at once: registration, meters, work, alarms, samples,
	// measures.
	Vehicle = listed(Inquiry[whole.Vehicle]{"vehicle", func(w *worker, q Question) []whole.Vehicle { return w.asked(q).Whole(q.Vehicle) }, nil})
	// History is all that is known of a vehicle, from its record, the log of events and
	// what was said; nothing where it is not registered.
	History = listed(Inquiry[history.Entry]{"history",
		func(w *worker, q Question) []history.Entry { return w.asked(q).History(q.Vehicle) }, withPast})
	// Register lists the vehicles that are registered, by id; or the one of that name.
	Register = listed(Inquiry[engine.RegisteredVehicle]{"register", (*worker).register, sorted(byVehicle)})
	// Tags are those that vehicles are registered with, as name=value, each once.
	Tags = listed(Inquiry[string]{"tags", (*worker).tags, sortedOnce})
	// Known says which of some events of a vehicle its record holds, with their hashes.
	Known = listed(Inquiry[engine.KnownEvent]{"known",
		func(w *worker, q Question) []engine.KnownEvent { return w.asked(q).Known(q.Vehicle, q.Events) }, nil})
	// Unregistered lists the vehicles whose events are kept but not judged because
	// nobody registered them.
	Unregistered = listed(Inquiry[string]{"unregistered",
		(*worker).unregistered, sorted(slices.Sort[[]string])})
	// Strangers are these, those that reported last first, with what reports of them.
	Strangers = listed(Inquiry[stranger.Vehicle]{"strangers", (*worker).strangers, sorted(stranger.Sort)})
	// Renamed lists the names that are a vehicle's no longer.
	Renamed = listed(Inquiry[engine.EarlierName]{"renamed", func(w *worker, _ Question) []engine.EarlierName { return w.fold.Renamed() }, renamedSeen})
	// Called lists the vehicles that people may mean by a name: their key, name, plate, VIN or
	// an earlier key, however it is written.
	Called = listed(Inquiry[engine.RegisteredVehicle]{"called",
		(*worker).called, sorted(byVehicle)})
	// Baselines are the fleet's baselines in force, a group an item.
	Baselines = listed(Inquiry[fleet.Listing]{"baselines", nil, inForce})
	// Limits are the book's limits beside the fleet's own distribution, a rule and a group
	// an item.
	Limits = listed(Inquiry[fleet.Audited]{"limits",
		(*worker).limits, besideInForce})
	// Reach says how far each task and rule reaches over the vehicles.
	Reach = listed(Inquiry[reach.Part]{"reach", (*worker).reach, merged(reach.Merge)})
	// Reached lists where the task or rule that Rule names stands or could not be judged, the
	// worst first, as many as [reach.MostPlaces].
	Reached = listed(Inquiry[reach.Place]{"reached", (*worker).places, merged(reach.Worst)})
	// Entries are what was entered for a vehicle, latest first: the latest ten, or those
	// whose identity begins as ID says.
	Entries = listed(Inquiry[stream.Entry]{"entries", nil, entries})
	// Refused are the events that could not be used, of a vehicle or of all.
	Refused = listed(Inquiry[alarm.Refusal]{"refused", nil, refused})
)

// What one replica asks of another's partitions alone.
var (
	registered = between(Inquiry[engine.RegisteredVehicle]{"registered",
		func(w *worker, q Question) []engine.RegisteredVehicle { return w.asked(q).RegisterOf(q.Vehicle) }, nil})
	// names are all of the vehicle that has or had one, as far as that name's partition
	// knows, the one that its record is kept under first.
	names  = between(Inquiry[string]{"names", func(w *worker, q Question) []string { return w.asked(q).NamesOf(q.Vehicle) }, nil})
	health = between(Inquiry[standing]{"health", func(w *worker, q Question) []standing { return []standing{w.standing(q)} }, nil})
)

// public are the rows that anybody may ask for, parted those that a partition answers,
// by name.
var (
	public = map[string]func(context.Context, *Service, micro.Request, Question) error{}
	parted = map[string]func(*worker, micro.Request, Question) error{}
)

func listed[T any](in Inquiry[T]) *Inquiry[T] {
	public[in.name] = in.respond
	if in.part == nil {
		return &in
	}
	return between(in)
}

func between[T any](in Inquiry[T]) *Inquiry[T] {
	parted[in.name] = in.respondPart
	return &in
}

// Of is the list over all partitions, asked of their owners, wherever they are.
// Where some do not answer within 2 s, the rest comes with an *Incomplete.
func (in *Inquiry[T]) Of(ctx context.Context, s *Service, q Question) ([]T, error) {
	if _, err := s.sees.Of(q.Sees); err != nil {
		return nil, err
	}
	if q.Vehicle != "" && in.name != names.name {
		var err error
		if q.names, err = s.NamesFor(ctx, q); err != nil {
			return nil, err
		}
		switch {
		case q.names != nil:
		case q.Sees != "" && in.part == nil: // the log does not know who may see what
			return nil, nil
		default:
			q.names = []string{q.Vehicle}
		}
		q.Vehicle = q.names[0]
	}
	if q.long(in.name) {
		return in.inTurn(ctx, s, q)
	}
	return in.over(ctx, s, q)
}

// over is the list over the partitions that it is about.
func (in *Inquiry[T]) over(ctx context.Context, s *Service, q Question) ([]T, error) {
	var list []T
	var missing error
	if in.part != nil {
		list, missing = scatter(ctx, s, in, q)
	}
	if in.whole == nil {
		return list, missing
	}
	if q.long(in.name) {
		s.slow <- struct{}{} // to order so many takes its time, too
		defer func() { <-s.slow }()
	}
	list, err := in.whole(ctx, s, q, list)
	return list, cmp.Or(err, missing)
}

// Ask asks a running service for the list. Where partitions did not answer, what
// there is comes with an *Incomplete.
func (in *Inquiry[T]) Ask(ctx context.Context, nc *nats.Conn, q Question) ([]T, error) {
	return List[T](ctx, nc, in.name, q)
}

func (w *worker) samples(q Question) []sample.Verdict {
	if q.Number != "" {
		return w.asked(q).Numbered(q.Vehicle, q.Component, q.Number)
	}
	return w.asked(q).Verdicts(q.Vehicle, q.Component)
}

func sorted[T any](by func([]T)) func(context.Context, *Service, Question, []T) ([]T, error) {
	return func(_ context.Context, _ *Service, _ Question, list []T) ([]T, error) {
		by(list)
		return list, nil
	}
}

func sortedOnce(_ context.Context, _ *Service, _ Question, list []string) ([]string, error) {
	slices.Sort(list)
	return slices.Compact(list), nil
}

func byAlarm(list []alarm.Listed) {
	order := make([]*alarm.Listed, len(list)) // one is large to move about
	for i := range list {
		order[i] = &list[i]
	}
	slices.SortStableFunc(order, func(a, b *alarm.Listed) int {
		return cmp.Or(strings.Compare(a.Vehicle, b.Vehicle), strings.Compare(a.Rule, b.Rule), strings.Compare(a.Component, b.Component))
	})
	sorted := make([]alarm.Listed, len(list))
	for i, a := range order {
		sorted[i] = *a
	}
	copy(list, sorted)
}

func byVehicle(list []engine.RegisteredVehicle) {
	slices.SortFunc(list, func(a, b engine.RegisteredVehicle) int { return strings.Compare(a.Vehicle, b.Vehicle) })
}

func withPast(ctx context.Context, s *Service, q Question, list []history.Entry) ([]history.Entry, error) {
	if len(list) == 0 {
		return nil, nil
	}
	past, err := s.log.Past(ctx, q.names)
	if err != nil {
		return nil, fmt.Errorf("reading the history of %q: %w", q.Vehicle, err)
	}
	return history.Extend(list, past), nil
}

func besideInForce(ctx context.Context, s *Service, _ Question, parts []fleet.Audited) ([]fleet.Audited, error) {
	_, set, err := s.log.BaselinesInForce(ctx)
	if err != nil {
		return nil, err
	}
	return fleet.Audit(set, parts), nil
}

func entries(ctx context.Context, s *Service, q Question, _ []stream.Entry) ([]stream.Entry, error) {
	const most = 10
	return s.log.Entries(ctx, q.names, q.ID, most)
}

func refused(ctx context.Context, s *Service, q Question, out []alarm.Refusal) ([]alarm.Refusal, error) {
	err := s.log.Refused(ctx, func(r alarm.Refusal) error {
		if q.Vehicle == "" || slices.Contains(q.names, r.Vehicle) {
			out = append(out, r)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return seenOf(ctx, s, q, out, func(r *alarm.Refusal) string { return r.Vehicle })
}

// Registered is the registration of a vehicle that counts; nil where there is none.
func (s *Service) Registered(ctx context.Context, vehicle string) (*event.VehicleData, error) {
	v, err := s.RegisteredAs(ctx, vehicle)
	return v.VehicleData, err
}

// RegisteredAs is it with the vehicle's present name.
func (s *Service) RegisteredAs(ctx context.Context, vehicle string) (v engine.RegisteredVehicle, err error) {
	return s.RegisteredFor(ctx, Question{Vehicle: vehicle})
}

// RegisteredFor is it for whoever asks of the question's vehicle: none of one that they may
// not see.
func (s *Service) RegisteredFor(ctx context.Context, q Question) (v engine.RegisteredVehicle, err error) {
	list, err := registered.Of(ctx, s, Question{Vehicle: q.Vehicle, Sees: q.Sees})
	if len(list) > 0 {
		v = list[0]
	}
	return v, err
}

// meant is the vehicle that people mean by the name in a question. Where it is the key of
// none, all partitions are asked who is called so.
func (s *Service) meant(ctx context.Context, q Question) (string, error) {
	if q.Vehicle == "" {
		return "", nil
	}
	if all, err := s.NamesFor(ctx, q); err != nil || all != nil {
		return q.Vehicle, err
	}
	called, err := Called.Of(ctx, s, Question{Name: q.Vehicle, Sees: q.Sees})
	if err != nil {
		return q.Vehicle, err
	}
	key, err := engine.Meant(q.Vehicle, called)
	return cmp.Or(key, q.Vehicle), err
}

// Names are all names of the vehicle that has or had one, the one that its record is kept under
// first; nil where there is none.
func (s *Service) Names(ctx context.Context, name string) ([]string, error) {
	return s.NamesFor(ctx, Question{Vehicle: name})
}

// NamesFor are those of the question's vehicle, for whoever asks.
func (s *Service) NamesFor(ctx context.Context, q Question) ([]string, error) {
	name := q.Vehicle
	for range record.MostNames {
		all, err := names.Of(ctx, s, Question{Vehicle: name, Sees: q.Sees})
		if err != nil || len(all) == 0 || all[0] == name {
			return all, err
		}
		name = all[0]
	}
	return nil, fmt.Errorf("the earlier names of vehicle %q lead in a circle", name)
}
