package lists

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strconv"

	"telltale/engine/follows"
	"telltale/engine/intake/job"
	"telltale/engine/listing"
	"telltale/engine/whole"
	"telltale/notify/board/entry"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/rights"
	"telltale/rules/unit"
)

// readings is a round through the yard: one field a vehicle, the last value beside it.
func (s site) readings(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, err := read(r, "")
	if err != nil {
		return nil, err
	}
	a.State, a.Limit = listing.InService, maxStopsRead
	f := &several{site: s, Form: formOf(r)}
	var p listing.VehiclePage
	ids := r.PostForm["v"]
	if r.Method != http.MethodPost {
		if p, err = s.vehiclesPage(ctx, r, a); err == nil {
			ids = idsOf(p.Vehicles)
		}
	}
	missing, err := frame.Missing(err)
	switch {
	case err != nil:
		return nil, err
	case len(ids) > maxStopsRead:
		return nil, wrong("A round has at most %d vehicles.", maxStopsRead)
	}
	day := f.Field("day", "Day").Before(f.Today()).Within(f.DayAfter(-366), f.Today()).Need()
	if err := f.round(ctx, r, ids, day.Day()); err != nil {
		return nil, err
	}
	pg := frame.Page{Section: frame.Vehicles, Title: "Readings of several vehicles", Up: frame.Link{Words: "Vehicles", Path: vehiclesPath}, Missing: missing}
	return f.serve(ctx, r, pg, func(looked bool) (*frame.Page, error) {
		data := roundPage{Form: f.Form, Day: day, Pager: a.vehiclePager("/readings", &p)}
		if looked {
			data.Follow = f.follow()
		}
		for _, one := range f.stops {
			data.Stops = append(data.Stops, roundStop{one.field, one.ID})
		}
		if r.Method != http.MethodPost {
			b := a
			b.State = "" // which it is anyway
			fl := b.filters("/readings", s.rowsFor(r).Date, []choice{{"tag", "Tag", options(p.Tags, a.Tag, "all", tagWords)}})
			fl.Label, data.Filters = "Find a vehicle", &fl
		}
		if len(f.stops) == 0 {
			if data.Nothing, err = s.nothingOn(ctx, r, a, vehiclesPath, wordNothingIn, missing); err != nil {
				return nil, err
			}
		}
		pg.Body, err = templates.Body("round", data)
		return &pg, err
	})
}

// roundPage is what the template of a round gets.
type roundPage struct {
	Form    *form.Form
	Day     *form.Field
	Filters *filters
	Nothing *nothing
	Stops   []roundStop
	Follow  []group
	Pager   *pager
}

type roundStop struct {
	Field   *form.Field
	Vehicle string
}

// formOf is the form of a request, in the viewer's zone and units.
func formOf(r *frame.Request) *form.Form {
	who := form.TypistOf(r.Viewer.Person, r.Viewer.Zone, r.Now, r.Viewer.Units().Or(unit.Metric))
	if r.Method == http.MethodPost {
		return form.Read(r.PostForm, who)
	}
	return form.New(who)
}

func idsOf(all []listing.Vehicle) (out []string) {
	for i := range all {
		out = append(out, all[i].Vehicle)
	}
	return out
}

// round makes the field of each vehicle's meter, and what was typed into it an event of the
// day.
func (f *several) round(ctx context.Context, r *frame.Request, ids []string, day string) error {
	typed := false
	for _, id := range ids {
		one, err := f.stopAt(ctx, r, rights.Reading, id)
		if err != nil {
			return err
		}
		f.stops = append(f.stops, one)
		i := len(f.stops) - 1
		m := meterOf(one.is.Meters)
		if m == nil {
			one.field = f.Field("m"+strconv.Itoa(i), page.Clean(one.Title(), 80))
			one.field.Hint = "This vehicle has no meter in vehicles.yaml."
			continue
		}
		one.field = f.meterField("m"+strconv.Itoa(i), page.Clean(one.Title(), 80)+", "+m.Name, m, one.Units(r.Viewer))
		typed = typed || one.field.Value() != ""
		q := entry.MeterValue(one.field, m)
		if q == nil || day == "" {
			continue
		}
		events, err := job.Job{Vehicle: one.ID, Said: map[string]string{}, Meters: []job.Meter{{Name: m.Name, Text: follows.Typed(*q)}}}.Events(f.At(day), one.known(r))
		if e, ok := errors.AsType[*job.Error](err); ok {
			one.field.Fault("%s", e.Error())
			continue
		}
		if err != nil {
			return err
		}
		f.says(r, i, events[0])
	}
	if !typed {
		f.Fault("type what the meter of one vehicle shows, at least")
	}
	return nil
}

// known is what making an event of what was typed rests on.
func (o *stop) known(r *frame.Request) job.Known {
	return job.Known{Registered: o.VehicleData, First: o.is.First, Reads: o.Units(r.Viewer), Now: r.Now, Latest: r.Now}
}

// meterOf is the meter that a round reads: the first that counts distance, else the first.
func meterOf(all []whole.Meter) *whole.Meter {
	if i := slices.IndexFunc(all, func(m whole.Meter) bool { return !m.Hours }); i >= 0 {
		return &all[i]
	}
	if len(all) > 0 {
		return &all[0]
	}
	return nil
}

// meterField is the field of a vehicle's meter, with its last value beside it.
func (f *several) meterField(name, label string, m *whole.Meter, reads unit.System) *form.Field {
	d := f.Field(name, label)
	if m.Hours {
		d.In("h")
	} else {
		d.In(slices.Concat([]string{reads.Distance}, slices.DeleteFunc(unit.Distances(), func(u string) bool { return u == reads.Distance }))...)
	}
	d.Hint = entry.LastOf(f.Form, m)
	return d
}
