package try

import (
	"cmp"
	"context"
	"crypto/sha256"
	"slices"
	"strings"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/stream/service"
	"telltale/notify/board/frame"
	"telltale/rules/english"
)

// Over how many vehicles a change is tried.
const (
	sampleSize = 200
	mostOfTag  = 500
)

// daysBack are the days that differences may be looked at over.
var daysBack = []string{"30", "90", "365"}

// tags are those that vehicles have.
func (s *site) tags(ctx context.Context) ([]string, error) {
	list, err := service.Tags.Of(ctx, s.Service, service.Question{})
	_, err = frame.Missing(err)
	return list, err
}

// over are the vehicles that were chosen, mixed, so that a run whose time is up has seen a
// sample of them; what is wrong with the choice is noted
// at its field. All are the registered ones.
func (a *asking) over(all []engine.RegisteredVehicle) (out []engine.RegisteredVehicle, words string) {
	all = mixed(slices.DeleteFunc(slices.Clone(all), func(v engine.RegisteredVehicle) bool { return v.Retired }))
	switch a.Of.Value() {
	case ofVehicle:
		return a.one(all)
	case ofTag:
		name, value, _ := strings.Cut(a.Tag.Value(), "=")
		for _, v := range all {
			if have, ok := v.Tags[name]; ok && have == value {
				out = append(out, v)
			}
		}
		switch {
		case len(out) == 0:
			a.Tag.Fault("choose a tag that vehicles have")
		case len(out) > mostOfTag:
			a.Tag.Fault("%s have it, and at most %d can be looked at: choose another tag, or a sample", english.Counted(len(out), "vehicle", "vehicles"), mostOfTag)
		}
		return out, english.Counted(len(out), "vehicle", "vehicles") + " with " + name + " " + value
	}
	out = all[:min(len(all), sampleSize)]
	if len(out) == 0 {
		a.Of.Fault("no vehicle is registered yet")
	}
	if len(out) == len(all) {
		return out, "all " + english.Counted(len(out), "vehicle", "vehicles")
	}
	return out, "a sample of " + english.Counted(len(out), "vehicle", "vehicles")
}

// one is the vehicle that is called so.
func (a *asking) one(all []engine.RegisteredVehicle) (out []engine.RegisteredVehicle, words string) {
	text := a.Vehicle.Text()
	for _, v := range all {
		if v.Vehicle == text {
			return []engine.RegisteredVehicle{v}, title(v)
		}
		if slices.ContainsFunc(v.Names(v.Vehicle), func(n string) bool { return n != "" && english.Folded(n) == english.Folded(text) }) {
			out = append(out, v)
		}
	}
	switch {
	case text == "":
		a.Vehicle.Fault("write which one, by its name or id")
	case len(out) == 0:
		a.Vehicle.Fault("no vehicle is called %q", text)
	case len(out) > 1:
		a.Vehicle.Fault("several vehicles are called so; write the id: %s", out[0].Vehicle+", "+out[1].Vehicle)
	default:
		words = title(out[0])
	}
	return out, words
}

// title is how people call a vehicle.
func title(v engine.RegisteredVehicle) string { return cmp.Or(v.Name, v.Vehicle) }

// mixed puts vehicles into an order that is the same each time and that of nothing else, a
// hash of their ids: the first of them are a sample, in which no kind or depot comes first.
func mixed(all []engine.RegisteredVehicle) []engine.RegisteredVehicle {
	key := map[string]string{}
	for _, v := range all {
		sum := sha256.Sum256([]byte(home(v)))
		key[v.Vehicle] = string(sum[:])
	}
	slices.SortFunc(all, func(a, b engine.RegisteredVehicle) int {
		return strings.Compare(key[a.Vehicle], key[b.Vehicle])
	})
	return all
}

// home is the name that a vehicle's record is kept under.
func home(v engine.RegisteredVehicle) string { return cmp.Or(v.First, v.Vehicle) }

// registrations are the events of a register of them.
func registrations(all []engine.RegisteredVehicle) (out []event.Event) {
	for _, v := range all {
		out = append(out, event.Event{ID: event.ID{Source: "/register", ID: v.Vehicle}, Kind: event.VehicleEvent, Vehicle: v.Vehicle, Data: v.VehicleData})
	}
	return out
}
