package vehicle

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/history"
	"telltale/engine/intake"
	"telltale/engine/stream/service"
	"telltale/notify/board/frame"
	"telltale/notify/handover"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/notify/rights"
	"telltale/notify/wording"
	"telltale/rules/english"
)

// latestEntries is how much of the history stands on the vehicle's page.
const latestEntries = 20

// vehiclePage is what the page of a vehicle says.
type vehiclePage struct {
	About  string // kind, name, tags, in service since
	Says   []string
	Do     []frame.Link
	Stands []stand
	Now    []work
	Later  []work
	Kept   bool   // work is kept for it at all
	Back   string // of a vehicle out of service, what the work is
	Mind   []page.Line
	Meters []meter
	// Components have their latest samples with them.
	Components []component
	Measures   []measure
	Unmeasured string // what could be measured by hand and was not yet
	History    []handover.Line
	HistoryAt  string
	HandOver   string
	NotMine    string // where a keeper says so; "" for others
	Operator   *operatorPart
}

func (s site) vehicle(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	v, err := s.ask(ctx, r)
	if errors.Is(err, frame.NotFound) {
		return s.called(ctx, r)
	}
	if err != nil {
		return nil, err
	}
	if !v.may(rights.See) {
		return v.glance()
	}
	d := vehiclePage{About: v.about(), Says: v.notes(), Do: v.doings(), Stands: v.stands(), Kept: v.Book != "" && !v.Register.Retired, Mind: v.mind(), Meters: v.meters(),
		Components: v.components(), HistoryAt: v.path("history"), HandOver: v.path("handover")}
	d.Now, d.Later = v.works()
	if v.OutSince != "" && len(d.Now) > 0 {
		d.Back = wordWhenBack
	}
	measures, not := v.measures()
	d.Measures, d.Unmeasured = measures, english.List("and", not)
	list, err := s.past(ctx, r, v)
	missing, err := frame.Missing(err)
	if err != nil {
		return nil, err
	}
	d.History = v.lines(newestFirst(list)[:min(len(list), latestEntries)])
	if slices.Contains(v.Register.People, r.Viewer.ID) && r.Viewer.Form == people.ForOwner && v.may(rights.OfAnswer("not mine", false)) {
		d.NotMine = v.path("answer") + query("answer", "not mine")
	}
	if r.Viewer.Operator {
		if d.Operator, err = s.forOperator(ctx, v); err != nil {
			return nil, err
		}
	}
	body, err := templates.Body("vehicle", d)
	return &frame.Page{Section: frame.Vehicles, Title: v.title(), Lead: v.lead(), Up: frame.Link{Words: "Vehicles", Path: "/vehicles"}, Body: body,
		Missing: missing, Work: true, Watch: v.Vehicle.Vehicle}, err
}

// about is what kind of vehicle it is, by which names it is known, and since when it runs.
func (v *told) about() string {
	reg := v.Register
	parts := []string{reg.Kind, v.Vehicle.Vehicle}
	if reg.Plate != "" && english.Folded(reg.Plate) != english.Folded(v.Vehicle.Vehicle) {
		parts = append(parts, reg.Plate)
	}
	for _, tag := range slices.Sorted(maps.Keys(reg.Tags)) {
		parts = append(parts, reg.Tags[tag])
	}
	if reg.VIN != "" {
		parts = append(parts, "VIN "+reg.VIN)
	}
	if reg.InService != "" {
		parts = append(parts, "in service since "+v.by.Date(reg.InService))
	}
	return clean(strings.Join(slices.DeleteFunc(parts, func(s string) bool { return s == "" }), ", "))
}

// lead sums up what stands and is due.
func (v *told) lead() string {
	n := map[alarm.Stage]int{}
	for i := range v.Alarms {
		if a := &v.Alarms[i]; !a.Task && a.To != alarm.Normal && a.Standing != alarm.Shelved {
			n[a.To]++
		}
	}
	for i := range v.Tasks {
		if t := &v.Tasks[i]; t.Stage != alarm.Normal && !t.Shelved {
			n[t.Stage]++
		}
	}
	switch said := wording.Counts(n); {
	case v.OutSince != "":
		return fmt.Sprintf(wordOut, v.by.Date(v.OutSince))
	case v.Register.Retired:
		return wordRetired
	case v.Book == "":
		return wordNoRules
	case said == "":
		return wordNothing
	default:
		return english.Capital(english.Ended(said))
	}
}

// notes are what else is to be known of the vehicle as a whole.
func (v *told) notes() (out []string) {
	if v.OutSince != "" && v.Book == "" {
		out = append(out, wordNoRules)
	}
	return out
}

// doings is what can be done for the vehicle as a whole.
func (v *told) doings() []frame.Link {
	if v.Register.Retired {
		return nil
	}
	out := slices.Concat(v.offered(rights.Reading, "Enter a reading", v.path("reading")), v.offered(rights.Work, "Enter work", v.path("work")),
		v.offered(rights.Sample, "Enter a sample", v.path("sample")), v.offered(rights.Work, "Enter a measurement", v.path("measure")))
	if !v.may(rights.Work) {
		out = append(out, v.offered(rights.Reading, "Report a defect", v.path("measure"))...)
	}
	if v.OutSince != "" {
		return append(out, v.offered(rights.OutOfService, "Back to service", v.path("answer")+query("answer", "in service"))...)
	}
	return append(out, v.offered(rights.OutOfService, "Out of service …", v.path("answer")+query("answer", "out of service"))...)
}

// past is the vehicle's history.
func (s site) past(ctx context.Context, r *frame.Request, v *told) ([]history.Entry, error) {
	q := r.Question()
	q.Vehicle = v.Vehicle.Vehicle
	return service.History.Of(ctx, s.Service, q)
}

// operatorPart is what an operator sees beside.
type operatorPart struct {
	Register string // as vehicles.yaml has it
	From     string // by which event
	People   []person
	Events   string // an address
}

// person is somebody whom the register names.
type person struct{ ID, Name string }

func (s site) forOperator(ctx context.Context, v *told) (*operatorPart, error) {
	written, err := s.Service.RegisteredAs(ctx, v.Vehicle.Vehicle)
	if err != nil || written.VehicleData == nil {
		return nil, err
	}
	text, err := intake.RegisterText([]event.Event{{Vehicle: written.Vehicle, Data: written.VehicleData}}, true)
	if err != nil {
		return nil, err
	}
	out := &operatorPart{Register: english.Printable(string(text)), From: handover.SourceOf(&v.RegisteredBy) + ", " + v.by.Day(v.RegisteredAt.In(v.where)), Events: v.path("events")}
	for _, id := range v.Register.People {
		p := person{ID: clean(id)}
		if who := s.People().Person(id); who != nil {
			p.Name = clean(who.Name)
		}
		out.People = append(out.People, p)
	}
	return out, nil
}
