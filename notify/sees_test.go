package notify_test

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/reach"
	"telltale/engine/stream"
	"telltale/engine/stream/server"
	"telltale/engine/stream/service"
	"telltale/notify"
	"telltale/notify/people"
	"telltale/notify/rights"
	"telltale/rules"
	"telltale/rules/unit"
	"telltale/testdata/quick"
)

const seenPeople = `people: {ines: {}, maud: {}, tobias: {}, north: {}}
rights:
  the office: {who: [ines], may: operator}
  the north: {who: [north], may: workshop, where: 'vehicle.tags["depot"] == "north"'}
  the vans: {who: [north, tobias], may: driver, where: 'vehicle.kind == "van" and not ("maud" in vehicle.people)'}
  their own: {who: [people of the vehicle], may: keeper}
`

const seenBook = `book: 1
units: {distance: km, volume: L}
tasks:
  oil: {every: {distance: 1000 km}, early: {distance: 100 km}, tolerance: 10%, unknown history: from first reading}
  test: {every: {time: 1 month}, unknown history: from first reading, statutory: true}
rules:
  iron: {on: sample, measure: value("Fe"), above: {caution: 50, warning: 100}, say: "Iron is ${measure}"}
`

// seenWorld is a fleet in a service. What is of one vehicle holds that vehicle's token, which is
// in nothing else.
type seenWorld struct {
	svc     *service.Service
	log     *stream.Log
	tokens  []string
	names   []string                            // all, also of vehicles that nobody registered or that there are not
	tokenOf map[string]string                   // of a name
	reg     map[string]engine.RegisteredVehicle // by present name
}

var seenStart = time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)

// within is a service with nothing in it; end ends it.
func seenService(ctx context.Context, dir string) (w *seenWorld, end func(), err error) {
	ctx, cancel := context.WithCancel(ctx)
	stops := []func(){cancel}
	end = func() {
		for _, stop := range slices.Backward(stops) {
			stop()
		}
	}
	log := slog.New(slog.DiscardHandler)
	srv, err := server.Embed(ctx, server.Config{Dir: dir, Listen: "127.0.0.1:-1", Log: log})
	if err != nil {
		return nil, end, err
	}
	stops = append(stops, func() { srv.Close() })
	w = &seenWorld{tokenOf: map[string]string{}, reg: map[string]engine.RegisteredVehicle{}}
	if w.log, err = stream.Open(ctx, srv.Conn(), stream.LogConfig{Log: log}); err != nil {
		return nil, end, err
	}
	if w.svc, err = service.Start(ctx, w.log, service.Config{ClockFollowsEvents: true, Sees: notify.Sees}); err != nil {
		return nil, end, err
	}
	stops = append(stops, func() { w.svc.Stop() })
	m, err := w.svc.Respond()
	if err == nil {
		stops = append(stops, func() { m.Stop() })
	}
	return w, end, err
}

func (w *seenWorld) publish(t *rapid.T, evs ...event.Event) {
	for _, ev := range evs {
		if err := w.log.Publish(t.Context(), ev); err != nil {
			t.Fatal(err)
		}
	}
}

// fill has things happen to vehicles, in order of time.
func (w *seenWorld) fill(t *rapid.T) {
	files := []rules.File{{Name: "book.yaml", Text: []byte(seenBook)}}
	b, err := rules.Load(files)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.log.PublishBook(t.Context(), seenStart, b, files); err != nil {
		t.Fatal(err)
	}
	for i := range rapid.IntRange(4, 14).Draw(t, "vehicles") {
		w.vehicle(t, i)
	}
	for day := 7; day <= 56; day += 7 {
		if err := w.log.PublishTick(t.Context(), seenStart.AddDate(0, 0, day)); err != nil {
			t.Fatal(err)
		}
	}
	w.names = append(w.names, "nobody-x")
	if err := w.svc.CaughtUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	list, err := service.Register.Of(t.Context(), w.svc, service.Question{})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range list {
		w.reg[v.Vehicle] = v
	}
}

// vehicle is one vehicle's events: registered, perhaps again otherwise, renamed, retired, never.
func (w *seenWorld) vehicle(t *rapid.T, i int) {
	token := fmt.Sprintf("q%dz", 100+i)
	w.tokens = append(w.tokens, token)
	name, day, n := "v-"+token, 0, 0
	name0 := name
	put := func(kind event.Kind, data any) {
		n++
		at := seenStart.AddDate(0, 0, day).Add(time.Duration(n) * time.Minute)
		w.publish(t, event.Event{ID: event.ID{Source: "/gw/" + token, ID: fmt.Sprintf("%s-%d", token, n)}, Kind: kind, Vehicle: name, Time: at, Recorded: at, Data: data})
	}
	w.names, w.tokenOf[name] = append(w.names, name), token
	one := func() *event.VehicleData {
		d := &event.VehicleData{Name: rapid.SampledFrom([]string{"Bus ", "Van "}).Draw(t, "name") + token, Kind: rapid.SampledFrom([]string{"van", "bus"}).Draw(t, "kind"),
			Plate: "PL " + token, Tags: map[string]string{"depot": rapid.SampledFrom([]string{"north", "south"}).Draw(t, "depot"), "own": token},
			Meters:     []event.MeterDef{{Name: "odometer", Kind: "distance"}},
			Components: []event.ComponentDef{{Name: "engine " + token, Kind: "engine", Fluid: "15W-40"}}}
		for _, p := range []string{"maud", "tobias", "gone"} {
			if rapid.IntRange(0, 3).Draw(t, p) == 0 {
				d.People = append(d.People, p)
			}
		}
		return d
	}
	registered := rapid.IntRange(0, 7).Draw(t, "registered") > 0
	if registered {
		put(event.VehicleEvent, one())
	}
	km := 5000.0
	for range rapid.IntRange(1, 6).Draw(t, "events") {
		day += rapid.IntRange(1, 8).Draw(t, "days")
		switch rapid.IntRange(0, 9).Draw(t, "what") {
		case 0, 1, 2, 3:
			km += float64(rapid.IntRange(1, 700).Draw(t, "km"))
			put(event.ReadingEvent, &event.ReadingData{Meter: "odometer", Value: km, Unit: "km"})
		case 4:
			put(event.ReadingEvent, &event.ReadingData{Meter: "hobbs " + token, Value: 1, Unit: "km"}) // refused
		case 5:
			put(event.ServiceEvent, &event.ServiceData{Tasks: []string{"oil"}, Note: "note of " + token})
		case 6:
			fe := float64(rapid.IntRange(1, 200).Draw(t, "iron"))
			put(event.SampleEvent, &event.SampleData{Number: "no " + token + fmt.Sprint(n), Component: "engine " + token, FluidAge: &unit.Quantity{Value: 900, Unit: "km"},
				Results: []event.ResultData{{Analyte: "Fe", Value: &fe, Unit: "mg/kg"}}})
		case 7:
			put(event.AnswerEvent, &event.AnswerData{Answer: rapid.SampledFrom([]string{"out of service", "in service"}).Draw(t, "answer"), By: "maud", Why: "because " + token})
		case 8:
			if registered { // otherwise, and perhaps under another name
				d := one()
				if rapid.Bool().Draw(t, "renamed") && name == name0 {
					name = "w-" + token
					d.Was = []string{name0}
					w.names, w.tokenOf[name] = append(w.names, name), token
				}
				put(event.VehicleEvent, d)
			}
		case 9:
			if registered && rapid.IntRange(0, 2).Draw(t, "retired") == 0 {
				d := one()
				d.Retired = true
				if name != name0 {
					d.Was = []string{name0}
				}
				put(event.VehicleEvent, d)
			}
		}
	}
}

// looker is somebody with what they may see.
type looker struct {
	*seenWorld
	t    *rapid.T
	who  string
	sees string
	seen map[string]bool // present names
	bad  []string        // tokens of what they may not see
}

func (w *seenWorld) looker(t *rapid.T, d *people.Directory, who string) *looker {
	l := &looker{seenWorld: w, t: t, who: who, sees: d.Access(who).Sees(), seen: map[string]bool{}, bad: slices.Clone(w.tokens)}
	for name, v := range w.reg {
		if d.Access(who).Allows(rights.Glance, notify.VehicleOf(cmp.Or(v.First, name), v.VehicleData)) {
			l.seen[name] = true
			l.bad = slices.DeleteFunc(l.bad, func(token string) bool { return token == w.tokenOf[name] })
		}
	}
	if l.sees == "" {
		l.bad = nil
	}
	return l
}

// asks has the question asked with what they may see, and without; both the first list and the
// second hold nothing of what they may not see once the second is narrowed by keep.
func asks[T any](l *looker, in *service.Inquiry[T], q service.Question, keep func(*T) bool) {
	all, err := in.Of(l.t.Context(), l.svc, q)
	if err != nil {
		l.t.Fatal(err)
	}
	var want []T
	for i := range all {
		if keep(&all[i]) {
			want = append(want, all[i])
		}
	}
	got := ask(l, in, q)
	l.same(fmt.Sprintf("%T %+v", in, q), got, want)
}

// ask asks for what they may see, in the process and over NATS.
func ask[T any](l *looker, in *service.Inquiry[T], q service.Question) []T {
	q.Sees = l.sees
	got, err := in.Of(l.t.Context(), l.svc, q)
	if err != nil {
		l.t.Fatal(err)
	}
	l.clean(fmt.Sprintf("%T %+v", in, q), got)
	q.Units = []string{}
	asked, err := in.Ask(l.t.Context(), l.log.Conn, q)
	l.clean(fmt.Sprintf("asked for %T %+v", in, q), asked)
	if err != nil {
		l.clean(fmt.Sprintf("the fault of %T %+v", in, q), err.Error())
	} else if len(asked) != len(got) {
		l.t.Fatalf("%s asked for %T %+v over NATS has %d, of %d", l.who, in, q, len(asked), len(got))
	}
	return got
}

func (l *looker) same(what string, got, want any) {
	if g, w := jsonOf(l.t, got), jsonOf(l.t, want); !bytes.Equal(g, w) && !(string(g) == "null" && string(w) == "[]") {
		l.t.Fatalf("%s, who sees %s, has of %s\n%s\nwant\n%s", l.who, l.sees, what, g, w)
	}
}

func jsonOf(t *rapid.T, v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// clean holds an answer to that it has nothing of a vehicle that may not be seen.
func (l *looker) clean(what string, answer any) {
	text := strings.ToLower(string(jsonOf(l.t, answer)))
	for _, token := range l.bad {
		if strings.Contains(text, token) {
			l.t.Fatalf("%s, who sees %s, reads of %s in %s:\n%s", l.who, l.sees, token, what, text)
		}
	}
}

func (l *looker) lists() {
	of := func(name string) bool { return l.sees == "" || l.seen[name] }
	for _, q := range []service.Question{{}, {Ahead: 40}, {Tag: "depot=north"}, {On: "2031-02-10"}} {
		asks(l, service.Due, q, func(i *due.Item) bool { return of(i.Vehicle) })
	}
	asks(l, service.Alarms, service.Question{}, func(a *alarm.Listed) bool { return of(a.Vehicle) })
	asks(l, service.Register, service.Question{}, func(v *engine.RegisteredVehicle) bool { return of(v.Vehicle) })
	for _, rule := range []string{"oil", "test", "iron"} {
		asks(l, service.Reached, service.Question{Rule: rule}, func(p *reach.Place) bool { return of(p.Vehicle) })
	}
	asks(l, service.Refused, service.Question{}, func(r *alarm.Refusal) bool { return of(l.present(r.Vehicle)) })
	asks(l, service.Renamed, service.Question{}, func(n *engine.EarlierName) bool { return of(l.present(n.Is)) })
	if n := len(ask(l, service.Unregistered, service.Question{})) + len(ask(l, service.Strangers, service.Question{})); n > 0 && l.sees != "" {
		l.t.Fatalf("%s is told of %d strangers", l.who, n)
	}
	tags := []string{}
	for name := range l.seen {
		for k, v := range l.reg[name].Tags {
			tags = append(tags, k+"="+v)
		}
	}
	slices.Sort(tags)
	l.same("tags", ask(l, service.Tags, service.Question{}), slices.Compact(tags))
	l.reach()
	l.health()
}

// present is the present name of the vehicle that has or had one; "" where nobody registered it.
func (l *looker) present(name string) string {
	for shown, v := range l.reg {
		if shown == name || v.First == name || slices.Contains(v.Was, name) {
			return shown
		}
	}
	return ""
}

// reach holds what is counted to the sum of what is counted of each vehicle alone.
func (l *looker) reach() {
	sum := func(names []string) []reach.Part {
		var parts []reach.Part
		for _, name := range names {
			text := jsonOf(l.t, []map[string]string{{"where": fmt.Sprintf("vehicle.id == %q", name)}})
			one, err := service.Reach.Of(l.t.Context(), l.svc, service.Question{Sees: string(text)})
			if err != nil {
				l.t.Fatal(err)
			}
			parts = append(parts, one...)
		}
		return reach.Merge(parts)
	}
	all, err := service.Reach.Of(l.t.Context(), l.svc, service.Question{})
	if err != nil {
		l.t.Fatal(err)
	}
	l.same("reach of all", all, sum(slices.Sorted(maps.Keys(l.reg))))
	l.same("reach", ask(l, service.Reach, service.Question{}), sum(slices.Sorted(maps.Keys(l.seen))))
}

func (l *looker) health() {
	if l.sees == "" {
		return
	}
	h, active := l.svc.HealthFor(l.t.Context(), service.Question{Sees: l.sees}), map[alarm.Stage]int{}
	n := 0
	for _, p := range h.Partitions {
		n += p.Vehicles
		for stage, of := range p.Active {
			active[stage] += of
		}
		if p.Events+p.Transitions+p.Refused+p.NotJudged+len(p.Stages)+len(p.Reasons) > 0 {
			l.t.Fatalf("%s is told what happened to all: %+v", l.who, p)
		}
	}
	want := map[alarm.Stage]int{}
	for _, a := range ask(l, service.Alarms, service.Question{}) {
		if a.To != alarm.Normal {
			want[a.To]++
		}
	}
	asked := l.healthAsked()
	for _, of := range []service.Health{asked, h} {
		for i := range of.Partitions {
			of.Partitions[i].Saved = time.Time{} // it may be written meanwhile
		}
	}
	l.same("how the service stands, asked over NATS", asked.Partitions, h.Partitions)
	if n != len(l.seen) || !maps.Equal(active, want) {
		l.t.Fatalf("%s has %d vehicles and %v, want %d and %v", l.who, n, active, len(l.seen), want)
	}
}

func (l *looker) healthAsked() (h service.Health) {
	m, err := l.log.Conn.RequestWithContext(l.t.Context(), "telltale.query.health", jsonOf(l.t, service.Question{Sees: l.sees}))
	if err == nil {
		err = json.Unmarshal(m.Data, &h)
	}
	if err != nil {
		l.t.Fatal(err)
	}
	return h
}

// one asks all that can be asked about one vehicle: of one that may not be seen the answer is
// that of one that does not exist.
func (l *looker) one(name string) {
	q := service.Question{Vehicle: name}
	known := service.Question{Vehicle: name}
	for i := range 8 {
		token := l.tokenOf[name]
		known.Events = append(known.Events, engine.KnownEvent{ID: event.ID{Source: "/gw/" + token, ID: fmt.Sprintf("%s-%d", token, i)}})
	}
	about(l, service.Due, q)
	about(l, service.Alarms, q)
	about(l, service.Why, q)
	about(l, service.Samples, q)
	about(l, service.Sampled, q)
	about(l, service.Measured, q)
	about(l, service.Vehicle, q)
	about(l, service.History, q)
	about(l, service.Register, q)
	about(l, service.Known, known)
	about(l, service.Entries, q)
	about(l, service.Refused, q)
	about(l, service.Would, q)
	for _, called := range []string{name, "Bus " + l.tokenOf[name], "pl " + l.tokenOf[name]} {
		asks(l, service.Called, service.Question{Name: called}, func(v *engine.RegisteredVehicle) bool { return l.seen[v.Vehicle] })
	}
	v, err := l.svc.RegisteredFor(l.t.Context(), service.Question{Vehicle: name, Sees: l.sees})
	if err != nil || (v.VehicleData != nil) != (l.sees == "" && l.present(name) != "" || l.seen[l.present(name)]) {
		l.t.Fatalf("%s is told that %s is %+v (%v)", l.who, name, v, err)
	}
}

func about[T any](l *looker, in *service.Inquiry[T], q service.Question) {
	if l.sees == "" || l.seen[l.present(q.Vehicle)] {
		asks(l, in, q, func(*T) bool { return true })
		return
	}
	nobody := q
	nobody.Vehicle = "nobody-y"
	want, err := in.Of(l.t.Context(), l.svc, nobody)
	if err != nil {
		l.t.Fatal(err)
	}
	q.Sees = l.sees
	got, err := in.Of(l.t.Context(), l.svc, q)
	if err != nil {
		l.t.Fatal(err)
	}
	if g, w := strings.ReplaceAll(string(jsonOf(l.t, got)), q.Vehicle, "nobody-y"), string(jsonOf(l.t, want)); g != w {
		l.t.Fatalf("%s, who sees %s, has of %T %s\n%s\nwant\n%s", l.who, l.sees, in, q.Vehicle, g, w)
	}
}

// TestSees draws fleets, what happens to them, and who looks by the rights of people.yaml. Each
// answer is that of one who sees all with what is of other vehicles taken out; of a vehicle that
// may not be seen it is that of one that does not exist; and no name, plate, note or number of
// such a vehicle is in any answer, in the process or over NATS (ASVS 5.0.0, 8.2.2, 8.2.3, 8.3.1).
func TestSees(t *testing.T) {
	quick.Start()
	checks := "8"
	if quick.CI() {
		checks = "30"
	}
	if err := flag.Set("rapid.checks", checks); err != nil {
		t.Fatal(err)
	}
	defer flag.Set("rapid.checks", "100")
	d, err := people.Parse("people.yaml", []byte(seenPeople))
	if err != nil {
		t.Fatal(err)
	}
	saw, hid := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		w, end, err := seenService(t.Context(), t.TempDir())
		defer end()
		if err != nil {
			rt.Fatal(err)
		}
		w.fill(rt)
		for _, who := range []string{"ines", "north", "maud", "tobias", "stranger"} {
			l := w.looker(rt, d, who)
			saw, hid = saw+len(l.seen), hid+len(l.bad)
			l.lists()
			for _, name := range w.names {
				l.one(name)
			}
			l.pages()
			l.vehicles()
		}
	})
	if saw == 0 || hid == 0 {
		t.Errorf("%d vehicles were seen, %d were not", saw, hid)
	}
}
