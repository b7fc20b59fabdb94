// Package vehicle is the board's pages of one vehicle: how it stands and what comes next,
// why a rule or a task stands as it does, and what was done to it, on what evidence.
package vehicle

import (
	"context"
	"embed"
	"net/http"
	"net/url"
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/stream/service"
	"telltale/engine/whole"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/rights"
	"telltale/notify/wording"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

// Pages are those of one vehicle.
func Pages(f *frame.Frame) []frame.Route {
	s := site{f}
	return []frame.Route{
		{Pattern: "GET /v/{vehicle}", Needs: rights.Glance, Handle: s.vehicle},
		{Pattern: "GET /v/{vehicle}/why/{rule}", Needs: rights.See, Handle: s.why},
		{Pattern: "GET /v/{vehicle}/history", Needs: rights.See, Handle: s.history},
		{Pattern: "GET /v/{vehicle}/history.csv", Needs: rights.See, Handle: s.historyCSV},
		{Pattern: "GET /v/{vehicle}/history.json", Needs: rights.See, Handle: s.historyJSON},
		{Pattern: "GET /v/{vehicle}/handover", Needs: rights.See, Handle: s.handOver},
		{Pattern: "GET /v/{vehicle}/events", Needs: rights.Watch, Handle: s.events},
	}
}

type site struct{ *frame.Frame }

// told is a vehicle as the viewer reads of it.
type told struct {
	whole.Vehicle
	by    wording.Reader
	where *time.Location
	may   func(rights.Verb) bool // whoever looks, to it
}

// offered is the way to something as far as whoever looks may do it: none or one.
func (v *told) offered(needs rights.Verb, words, path string) []frame.Link {
	if !v.may(needs) {
		return nil
	}
	return []frame.Link{{Words: words, Path: path}}
}

// answered is the way to an answer as far as whoever looks may give it; which of the two says
// of, "rule" or "task", and to says how it stands.
func (v *told) answered(words, answer, of, name, component string, to alarm.Stage) []frame.Link {
	return v.offered(rights.OfAnswer(answer, to == alarm.Warning), words, v.answerPath(answer, of, name, component))
}

// ask is the vehicle that the address names.
func (s site) ask(ctx context.Context, r *frame.Request) (*told, error) {
	q := r.Question()
	q.Vehicle = r.PathValue("vehicle")
	list, err := service.Vehicle.Of(ctx, s.Service, q)
	if err := s.known(ctx, q.Vehicle, len(list), err); err != nil {
		return nil, err
	}
	of := frame.Vehicle{ID: list[0].Vehicle, VehicleData: list[0].Register}
	return &told{list[0], wording.Reader{Person: r.Viewer.Person}.On(list[0].Register.Reads), list[0].Register.Location(),
		func(verb rights.Verb) bool { return r.MayHere(verb, of) }}, nil
}

// known is why nothing can be said of a vehicle of which there are so many answers; nil
// where something can.
func (s site) known(ctx context.Context, vehicle string, answers int, err error) error {
	missing, other := frame.Missing(err)
	switch {
	case other != nil:
		return other
	case missing != nil && answers == 0:
		return &frame.Fault{Status: http.StatusServiceUnavailable, Title: wordNoAnswer, Words: wordNoAnswerDo, After: 30 * time.Second}
	case answers > 0:
		return nil
	}
	if strangers, err := service.Unregistered.Of(ctx, s.Service, service.Question{Vehicle: vehicle}); err == nil && slices.Contains(strangers, vehicle) {
		return &frame.Fault{Status: http.StatusNotFound, Title: wordStranger, Words: wordStrangerDo}
	}
	return frame.NotFound
}

// called leads to the vehicle that people call so; where several are, to the list of them.
func (s site) called(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	name := r.PathValue("vehicle")
	switch key, several, err := s.Called(ctx, r, name); {
	case err != nil:
		return nil, err
	case several:
		return &frame.Page{To: "/vehicles" + query("q", name)}, nil
	case key != "" && key != name:
		return &frame.Page{To: frame.Path("v", key)}, nil
	}
	return nil, frame.NotFound
}

// title is what people call the vehicle.
func (v *told) title() string {
	if v.Register.Name == "" {
		return v.Vehicle.Vehicle
	}
	return clean(v.Register.Name)
}

// path is an address of the vehicle.
func (v *told) path(more ...string) string {
	return frame.Path(append([]string{"v", v.Vehicle.Vehicle}, more...)...)
}

// up leads from a page of the vehicle to the vehicle.
func (v *told) up() frame.Link { return frame.Link{Words: v.title(), Path: v.path()} }

// whyPath is where it is told why a rule or task stands as it does.
func (v *told) whyPath(rule, component string) string {
	return v.path("why", rule) + query("component", component)
}

// answerPath is where somebody answers an alarm or work; which of the two says of, "rule" or
// "task".
func (v *told) answerPath(answer, of, name, component string) string {
	return v.path("answer") + query("answer", answer, of, name, "component", component)
}

// query is what an address asks for, of pairs of a name and a value those that have one.
func query(pairs ...string) string {
	q := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			q.Set(pairs[i], pairs[i+1])
		}
	}
	if len(q) == 0 {
		return ""
	}
	return "?" + q.Encode()
}

// clean is a text of anybody on one line, harmless and of bounded length.
func clean(s string) string { return page.Clean(s, page.MaxText) }

// said is it with its dates as the viewer reads them.
func (v *told) said(s string) string { return v.by.DatesIn(clean(s)) }
