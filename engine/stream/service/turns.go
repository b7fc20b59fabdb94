package service

import (
	"context"
	"encoding/json"
	"fmt"
	"runtime"
	"slices"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/fleet"
	"telltale/engine/stream/budget"
)

const (
	// aTurn is how long a question may hold a partition while an event waits. Who waits for a
	// lock for more than a millisecond has it next (see sync.Mutex), so an event waits for two
	// turns at most.
	aTurn = time.Millisecond
)

// slowAtOnce is how many partitions of the process work on long questions at once: on half of
// the processors, so that what is folded and the short questions find one.
var slowAtOnce = max(1, runtime.GOMAXPROCS(0)/2)

// turns takes steps until there are no more, and lets the lock go between turns: an event
// that has come meanwhile is folded first. mu must be held.
func (w *worker) turns(step func() (more bool)) {
	w.mu.Unlock()
	defer w.mu.Lock()
	for w.turn(step) {
	}
}

// turn is one turn, once there is room for it. It makes room for the next only after all who
// can go on meanwhile have had the processor: else long questions would hand it to one another.
func (w *worker) turn(step func() bool) (more bool) {
	if w.slow != nil {
		w.slow <- struct{}{}
		defer func() { <-w.slow }()
	}
	defer runtime.Gosched()
	w.mu.Lock()
	defer w.mu.Unlock()
	for began := time.Now(); time.Since(began) < aTurn; {
		if !step() {
			return false
		}
	}
	return true
}

// each visits vehicles one after the other, in turns. Each is as it stands when it is
// visited, so a list of all is of one moment only where nothing came meanwhile.
func (w *worker) each(homes []string, visit func(home string)) {
	if len(homes) == 0 {
		return
	}
	w.turns(func() bool {
		visit(homes[0])
		homes = homes[1:]
		return len(homes) > 0
	})
}

// readAll reads the records that nothing was asked of since the start, in turns.
func (w *worker) readAll() {
	if w.fold.Unpack(0) {
		w.turns(func() bool { return w.fold.Unpack(1) && w.fold.Err() == nil })
	}
}

// fleet is the partition that is asked for a list: all records are read, and it is known of
// each vehicle whether it may be seen.
func (w *worker) fleet(q Question) engine.Asked {
	w.readAll()
	a := w.asked(q)
	if a.Sight.Begin() {
		w.each(w.fold.AskedBy(w.fold.By).Homes(""), func(home string) { a.Sees(home) })
	}
	return a
}

// due is the due list of a vehicle, or of all.
func (w *worker) due(q Question) (out []due.Item) {
	of := due.Query{Vehicle: q.Vehicle, Ahead: q.Ahead, Tag: q.Tag, On: q.On}
	if q.Vehicle != "" {
		return w.asked(q).Due(of)
	}
	a := w.fleet(q)
	tag := q.Tag
	if q.On != "" { // it may have had others then
		tag = ""
	}
	w.each(a.Homes(tag), func(home string) {
		of.Vehicle = home
		out = append(out, a.Due(of)...)
	})
	return out
}

// standingAlarms are those of a vehicle, or of all.
func (w *worker) standingAlarms(q Question) (out []alarm.Listed) {
	if q.Vehicle != "" {
		return w.asked(q).AlarmsOf(q.Vehicle)
	}
	a := w.fleet(q)
	w.each(a.Homes(""), func(home string) { out = append(out, a.AlarmsOf(home)...) })
	return out
}

// register is what is registered of a vehicle, or of all.
func (w *worker) register(q Question) (out []engine.RegisteredVehicle) {
	if q.Vehicle != "" {
		return w.asked(q).RegisterOf(q.Vehicle)
	}
	a := w.fleet(q)
	w.each(a.Homes(""), func(home string) { out = append(out, a.RegisterOf(home)...) })
	return out
}

func (w *worker) called(q Question) []engine.RegisteredVehicle { return w.fleet(q).Called(q.Name) }

func (w *worker) tags(q Question) []string { return w.fleet(q).Tags() }

func (w *worker) unregistered(q Question) []string { return w.fleet(q).Unregistered() }

func (w *worker) limits(q Question) (out []fleet.Audited) {
	a := w.fleet(q)
	w.each(a.Homes(""), func(home string) { out = append(out, a.LimitsOf(home)...) })
	return fleet.Merge(out)
}

// longs are the questions that are asked of every vehicle of the fleet where they name
// none.
var longs = map[string]bool{"due": true, "alarms": true, "register": true, "limits": true, "reach": true, "reached": true, "groups": true}

// longWithin is how long the partitions' owners have for a long question.
const longWithin = 20 * time.Second

// long reports whether the question is one for the budget: about the whole fleet, and about
// each vehicle of it.
func (q *Question) long(name string) bool { return longs[name] && q.Vehicle == "" && q.Tag == "" }

func (q *Question) within(name string) time.Duration {
	if longs[name] && q.Vehicle == "" {
		return longWithin
	}
	return answerWithin
}

// inTurn is a long list when its turn comes, or the answer that somebody has had at the same
// positions of the log.
func (in *Inquiry[T]) inTurn(ctx context.Context, s *Service, q Question) ([]T, error) {
	text, err := json.Marshal(q)
	if err != nil {
		return nil, fmt.Errorf("asking for %s: %w", in.name, err)
	}
	mark, err := s.Mark(ctx)
	if err != nil {
		mark = "" // not all answer, so nobody else is to be given this
	}
	list, err := budget.Do(ctx, &s.budget, in.name+" "+string(text), mark, func(ctx context.Context) ([]T, error) {
		return in.over(ctx, s, q)
	})
	return slices.Clone(list), err
}
