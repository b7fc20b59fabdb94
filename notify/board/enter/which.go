package enter

import (
	"context"
	"net/url"

	"telltale/engine/listing"
	"telltale/engine/stream/service"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
	"telltale/rules/english"
)

// found is a vehicle on the page, with the ways to what can be entered for it.
type found struct {
	Name, About, Path string
	Ways              []way
}

// way leads to a form; Of goes on after its words, as in "Work on Bus 7".
type way struct{ Path, Words, Of string }

// ways are the forms of a vehicle, each with what it needs.
var ways = []struct {
	needs           rights.Verb
	path, words, of string
}{{rights.Reading, "reading", "Reading", "of"}, {rights.Work, "work", "Work", "on"}, {rights.Sample, "sample", "Sample", "of"}, {rights.Work, "measure", "Measure", "on"}}

// which asks of which vehicle something is to be entered, and then what.
func (s site) which(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	q := r.Question()
	text := r.URL.Query().Get("q")
	q.Q, q.After, q.Before, q.Limit = text, r.URL.Query().Get("after"), r.URL.Query().Get("before"), 50
	list, err := service.Vehicles.Of(ctx, s.Service, q)
	p := &frame.Page{Section: frame.Enter, Title: "What do you want to enter?"}
	if _, bad := err.(*listing.Fault); bad {
		return &frame.Page{To: "/enter"}, nil
	}
	if p.Missing, err = frame.Missing(err); err != nil {
		return nil, err
	}
	p.Lead = "Choose the vehicle, then what it is."
	data := struct {
		Q, Count, Back, Next string
		Size                 int
		Vehicles             []found
		One                  bool // the only one that was found is open
		Files                bool
	}{Files: r.Leads("/files"), Q: text, Count: english.Plural(list.Total, "vehicle"), Size: q.Limit, One: len(list.Vehicles) == 1}
	for i := range list.Vehicles {
		data.Vehicles = append(data.Vehicles, foundOf(r, &list.Vehicles[i]))
	}
	page := func(by, key string) string {
		if key == "" {
			return ""
		}
		return "/enter?" + url.Values{"q": {text}, by: {key}}.Encode()
	}
	data.Back, data.Next = page("before", list.Back), page("after", list.Next)
	p.Body, err = templates.Body("which", data)
	return p, err
}

func foundOf(r *frame.Request, v *listing.Vehicle) found {
	name := v.Vehicle
	if v.VehicleData != nil && v.Name != "" {
		name = v.Name
	}
	f := found{Name: name, Path: frame.Path("v", v.Vehicle)}
	if name != v.Vehicle {
		f.About = v.Vehicle
	}
	for _, w := range ways {
		if r.MayHere(w.needs, frame.Vehicle{ID: v.Vehicle, VehicleData: v.VehicleData}) {
			f.Ways = append(f.Ways, way{frame.Path("v", v.Vehicle, w.path), w.words, w.of})
		}
	}
	return f
}
