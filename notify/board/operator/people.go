package operator

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/stream"
	"telltale/engine/stream/passkeys"
	"telltale/engine/stream/service"
	"telltale/notify"
	"telltale/notify/board/frame"
	"telltale/notify/board/signin"
	"telltale/notify/board/signin/passkey"
	"telltale/notify/people"
	"telltale/notify/rights"
	"telltale/notify/stages"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// person is one of people.yaml on the page.
type person struct {
	*people.Person
	Reads, List string
	Ways        []string
	Vehicles    string
	Tells, Own  []string // entries that name them, and those of a vehicle's people
	Operator    bool
	NoMore      []string
	// Passkeys are how many they have; "" where there can be none. Away takes them away.
	Passkeys, Away string
}

type peoplePage struct {
	Rights []right
	// Pairs: the viewer may pair tablets.
	Pairs  bool
	People []person
	Tells  []tell
	Asked  question
	Stages []alarm.Stage
	Answer *answer
	NoBook bool
	SignIn bool // people sign in
}

// tell is an entry of tell in words.
type tell struct {
	Name, Who, What, Where, How string
	Chase                       string
}

// right is an entry of rights in words.
type right struct{ Name, Who, Role, May, Where string }

func rightWords(d *people.Directory, e *people.Right) right {
	who := named(d, e.Who)
	if e.Own {
		who = append(who, "the people of the vehicle")
	}
	out := right{e.Name, english.List("and", who), e.Role.String(), english.List("and", e.Role.Does()), e.Where}
	if e.Role == rights.Operator && e.Where == "" {
		out.May = "everything"
	}
	return out
}

// question is what somebody asks of a vehicle.
type question struct {
	Vehicle string
	Stage   alarm.Stage
	Fault   string
}

// answer is who hears.
type answer struct {
	Vehicle, Path string
	Badge         frame.Badge
	Heard         []heard
	Unheard       []string
	Nothing       bool // the rules cannot say that of the vehicle
}

type heard struct {
	Name, How, Entry string
	Of               []string
}

var listWords = map[people.Form]string{
	people.ForWorkshop: "a workshop's list: what to do, by how urgent it is",
	people.ForOwner:    "an owner's list: by vehicle",
	people.ForOperator: "an operator's list: counts, and the worst first",
}

// people is who hears of what.
func (s *site) people(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	d := s.People()
	p := &frame.Page{Section: frame.More, Title: "People", Lead: "Who hears of what. All of it is written in people.yaml."}
	data := peoplePage{Stages: stages.Order[:len(stages.Order)-1], NoBook: true, SignIn: s.SignsIn() && r.Leads("/people/sessions")}
	if len(d.People()) == 0 {
		p.Lead = "people.yaml names nobody, so nobody is told of anything. Write who there is, and who hears of what, into it."
		return p, nil
	}
	book, err := s.book(ctx)
	if err != nil {
		return nil, err
	}
	left, err := notify.WhoLeft(ctx, s.Log.Deliveries())
	if err != nil {
		return nil, err
	}
	var reach map[string]int
	if book != nil {
		data.NoBook = false
		if reach, p.Missing, err = s.reach(ctx, d, book); err != nil {
			return nil, err
		}
	}
	for _, one := range d.People() {
		data.People = append(data.People, personOf(d, one, r, reach, left))
	}
	if err := s.signedIn(ctx, r, &data); err != nil {
		return nil, err
	}
	for _, t := range d.Tells() {
		data.Tells = append(data.Tells, tellWords(d, &t))
	}
	for _, e := range d.Rights() {
		data.Rights = append(data.Rights, rightWords(d, &e))
	}
	if err := s.whoHears(ctx, r, d, book, &data); err != nil {
		return nil, err
	}
	p.Body, err = templates.Body("people", data)
	return p, err
}

// signedIn adds how people sign in, where they do.
func (s *site) signedIn(ctx context.Context, r *frame.Request, data *peoplePage) error {
	if s.Door == nil {
		return nil
	}
	data.Pairs = r.Viewer.Access.Anywhere(rights.Change)
	if party, _ := passkey.PartyOf(s.URL); party == nil {
		return nil
	}
	all, err := passkeys.Open(s.Log).All(ctx)
	for i := range data.People {
		p := &data.People[i]
		p.Passkeys = "none"
		h := all[p.ID]
		if n := h.Opening(signin.MailOf(p.Person)); n > 0 {
			p.Passkeys = strconv.Itoa(n)
		}
		if len(h.Keys) > 0 && data.Pairs {
			p.Away = frame.Path("people", p.ID, "passkeys", "remove")
		}
	}
	return err
}

// book is the book in force; nil before the first.
func (s *site) book(ctx context.Context) (*rules.Book, error) {
	hash, err := s.Log.BookInForce(ctx)
	if err != nil || hash == "" {
		return nil, err
	}
	return s.reaches.shelf(s.Log).Book(ctx, hash)
}

// hearing is of how many vehicles each person hears, as it was counted last: of a large fleet
// that takes a second.
type hearing struct {
	mu     sync.Mutex
	books  *stream.Shelf
	made   time.Time
	of     *people.Directory
	book   *rules.Book
	counts map[string]int
}

func (h *hearing) shelf(l *stream.Log) *stream.Shelf {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.books == nil {
		h.books = stream.NewShelf(l)
	}
	return h.books
}

const (
	// keepFor is how long counts that took longer than dear are shown again.
	keepFor = 5 * time.Minute
	dear    = 50 * time.Millisecond
)

func (s *site) reach(ctx context.Context, d *people.Directory, book *rules.Book) (counts map[string]int, missing []int, err error) {
	h := &s.reaches
	h.mu.Lock()
	defer h.mu.Unlock()
	began := time.Now()
	if h.of == d && h.book == book && began.Sub(h.made) < keepFor {
		return h.counts, nil, nil
	}
	all, missing, err := frame.Ask(ctx, s.Frame, service.Register, service.Question{})
	if err != nil {
		return nil, missing, err
	}
	var vehicles []people.Vehicle
	for _, v := range all {
		if !v.Retired {
			vehicles = append(vehicles, notify.VehicleOf(v.Vehicle, v.VehicleData))
		}
	}
	counts = people.Reach(d, vehicles, book)
	if missing == nil && time.Since(began) > dear {
		h.made, h.of, h.book, h.counts = began, d, book, counts
	}
	return counts, missing, nil
}

func personOf(d *people.Directory, one *people.Person, r *frame.Request, reach map[string]int, left []notify.Left) person {
	p := person{Person: one, Ways: one.Ways(), List: "no list", Operator: d.Access(one.ID).Anywhere(rights.Watch)}
	var units []string
	for _, u := range one.Units().Or(unit.Metric).Names() {
		units = append(units, english.Unit(u))
	}
	p.Reads = english.List("and", units)
	for _, t := range d.Tells() {
		switch {
		case t.When == "never":
		case slices.Contains(t.Who, one.ID):
			p.Tells = append(p.Tells, t.Name)
		case t.Own:
			p.Own = append(p.Own, t.Name)
		}
	}
	if next := one.NextList(r.Now); !next.IsZero() {
		p.List = fmt.Sprintf("%s; the next on %s at %s", listWords[one.Form], r.Viewer.Date(next.Format(time.DateOnly)), next.Format("15:04"))
		if one.OnlyChanges {
			p.List += ", if something on it has changed"
		}
	}
	if reach != nil {
		p.Vehicles = english.Counted(reach[one.ID], "vehicle", "vehicles")
	}
	for _, l := range left {
		if l.Person == one.ID {
			p.NoMore = append(p.NoMore, kindWord[l.Kind])
		}
	}
	return p
}

// tellWords are an entry of tell in words.
func tellWords(d *people.Directory, t *people.Tell) tell {
	out := tell{Name: t.Name, Where: t.Where, What: "everything"}
	who := named(d, t.Who)
	if t.Own {
		who = append(who, "the people of the vehicle")
	}
	out.Who = english.List("and", who)
	if len(t.Stages) > 0 {
		var words []string
		for _, s := range t.Stages {
			words = append(words, stages.Of(s).Head)
		}
		out.What = english.List("and", words)
	}
	out.How = map[string]string{"at once": "at once", "digest": "in their list", "never": "never, whatever else is written"}[t.When]
	if len(t.By) > 0 {
		out.How += ", by " + english.List("and", t.By)
	}
	if t.Remind > 0 {
		out.Chase = "reminded after " + span(t.Remind)
	}
	if t.StandIn > 0 {
		out.Chase = strings.TrimPrefix(out.Chase+"; "+english.List("and", named(d, t.StandIns))+" after "+span(t.StandIn), "; ")
	}
	return out
}

func named(d *people.Directory, ids []string) (out []string) {
	for _, id := range ids {
		name := id
		if p := d.Person(id); p != nil {
			name = p.Name
		}
		out = append(out, name)
	}
	return out
}

// span writes whole days, or hours.
func span(d time.Duration) string {
	const day = 24 * time.Hour
	if d%day == 0 {
		return english.Days(int(d / day))
	}
	return english.Counted(int(d/time.Hour), "hour", "hours")
}

// whoHears answers who hears of a stage on a vehicle, where that is asked.
func (s *site) whoHears(ctx context.Context, r *frame.Request, d *people.Directory, book *rules.Book, data *peoplePage) error {
	q := r.URL.Query()
	data.Asked = question{Vehicle: strings.TrimSpace(q.Get("vehicle")), Stage: alarm.Stage(cmp.Or(q.Get("stage"), string(alarm.Warning)))}
	if data.Asked.Vehicle == "" || book == nil {
		return nil
	}
	called, err := service.Called.Of(ctx, s.Service, service.Question{Name: data.Asked.Vehicle})
	if _, err = frame.Missing(err); err != nil {
		return err
	}
	switch {
	case len(called) == 0:
		data.Asked.Fault = "No vehicle is called that. Type its key, its name or its plate."
		return nil
	case len(called) > 1:
		data.Asked.Fault = fmt.Sprintf("%s are called that. Type the key of the one that you mean.", english.Counted(len(called), "vehicle", "vehicles"))
		return nil
	}
	v := frame.Vehicle{ID: called[0].Vehicle, VehicleData: called[0].VehicleData}
	a := &answer{Vehicle: v.Title(), Path: frame.Path("v", v.ID), Badge: frame.BadgeOf(data.Asked.Stage)}
	all, unheard := people.WhoHears(d, notify.VehicleOf(v.ID, v.VehicleData), book, data.Asked.Stage)
	for _, h := range all {
		how := "in the list"
		if h.Ways != nil {
			how = "at once by " + english.List("and", h.Ways)
		}
		a.Heard = append(a.Heard, heard{h.Person.Name, how, h.Entry, h.Of})
	}
	a.Unheard, a.Nothing = unheard, len(all) == 0 && len(unheard) == 0
	data.Answer = a
	return nil
}
