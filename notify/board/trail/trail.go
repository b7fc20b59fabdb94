// Package trail is the board's page of who did what: who signed in, entered, saved a file
// or was refused, by person, vehicle and day, in plain words.
package trail

import (
	"cmp"
	"context"
	"embed"
	"net/url"
	"strconv"
	"strings"
	"time"

	"telltale/engine/stream/audit"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/rights"
	"telltale/rules/english"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

const (
	pagePath = "/audit"
	filePath = "/audit.csv"
)

// Pages are those of who did what.
func Pages(f *frame.Frame) []frame.Route {
	s := &site{f}
	return []frame.Route{
		{Pattern: "GET " + pagePath, Needs: rights.Watch, Handle: s.list},
		{Pattern: "GET " + filePath, Needs: rights.Watch, Handle: s.file},
	}
}

type site struct{ *frame.Frame }

// filter is what of all that was done is asked for, as the address has it.
type filter struct {
	Who, Vehicle, Day string
	What              audit.What
	Before            string
}

func filterOf(r *frame.Request) filter {
	q := r.URL.Query()
	return filter{strings.TrimSpace(q.Get("who")), strings.TrimSpace(q.Get("vehicle")), q.Get("day"), audit.What(q.Get("what")), q.Get("before")}
}

// at is the address of a page of what is asked for.
func (f filter) at(path string) string {
	q := url.Values{}
	for k, v := range map[string]string{"who": f.Who, "vehicle": f.Vehicle, "day": f.Day, "what": string(f.What), "before": f.Before} {
		if v != "" {
			q.Set(k, v)
		}
	}
	if len(q) == 0 {
		return path
	}
	return path + "?" + q.Encode()
}

// all reports whether nothing is left out.
func (f filter) all() bool { return f == filter{} }

// query is the filter as the trail is asked; wrong is what cannot be understood in it.
func (s *site) query(ctx context.Context, r *frame.Request, f filter) (q audit.Query, wrong string, err error) {
	q = audit.Query{Who: s.source(f.Who), What: f.What, Limit: perPage}
	if f.Vehicle != "" {
		v, err := s.Service.RegisteredAs(ctx, f.Vehicle)
		if _, err := frame.Missing(err); err != nil {
			return q, "", err
		}
		q.Vehicle = cmp.Or(v.Vehicle, f.Vehicle)
	}
	if f.Day != "" {
		day, err := time.ParseInLocation(time.DateOnly, f.Day, r.Viewer.Zone)
		if err != nil {
			return q, wordNoDay, nil
		}
		q.Since, q.Until = day, day.AddDate(0, 0, 1)
	}
	if f.Before != "" {
		if q.Before, err = strconv.ParseUint(f.Before, 10, 64); err != nil || q.Before == 0 {
			return q, "", frame.NotFound
		}
	}
	return q, "", nil
}

// source is that of whoever is asked for: of a person by id or name, of all others as it
// is written.
func (s *site) source(who string) string {
	if who == "" || strings.HasPrefix(who, "/") {
		return who
	}
	for _, p := range s.People().People() {
		if english.Folded(p.Name) == english.Folded(who) {
			return "/people/" + p.ID
		}
	}
	return "/people/" + who
}

// called is what people call who did it.
func (s *site) called(who string) string {
	if id, ok := strings.CutPrefix(who, "/people/"); ok {
		if p := s.People().Person(id); p != nil {
			return page.Clean(p.Name, maxName)
		}
	}
	return page.Clean(audit.Called(who), maxName)
}

// titles are what people call vehicles, each asked for once.
type titles struct {
	site *site
	kept map[string]frame.Vehicle
}

func (s *site) titles() titles { return titles{s, map[string]frame.Vehicle{}} }

// of is the vehicle of an entry, with its registration where it has one.
func (t titles) of(ctx context.Context, id string) frame.Vehicle {
	v, ok := t.kept[id]
	if !ok && id != "" {
		v.ID = id
		if reg, err := t.site.Service.RegisteredAs(ctx, id); err == nil && reg.VehicleData != nil { // else it is named as it was then
			v = frame.Vehicle{ID: reg.Vehicle, VehicleData: reg.VehicleData}
		}
		t.kept[id] = v
	}
	return v
}

// title is what people call a vehicle, registered or not.
func title(v frame.Vehicle) string {
	if v.VehicleData == nil {
		return page.Clean(v.ID, maxName)
	}
	return v.Title()
}
