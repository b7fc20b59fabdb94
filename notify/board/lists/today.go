package lists

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/listing"
	"telltale/engine/stream/refusals"
	"telltale/engine/stream/service"
	"telltale/notify/board/frame"
	"telltale/notify/delivery"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/notify/rights"
	"telltale/notify/wording"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// today is what to do now, as the viewer's list has it.
func (s site) today(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	if err := s.MayAnywhere(r, rights.Glance); err != nil {
		return &frame.Page{Section: frame.Today, Title: wordNoneYours, Lead: wordNoneYoursDo}, nil
	}
	drives, err := s.onlyDrives(ctx, r)
	switch {
	case err != nil:
		return nil, err
	case drives:
		return s.ownerToday(ctx, r, "")
	case r.Viewer.Form == people.ForOwner:
		return s.ownerToday(ctx, r, r.Viewer.ID)
	case r.Viewer.Form == people.ForOperator:
		return s.operatorToday(ctx, r)
	}
	return s.workshopToday(ctx, r)
}

// onlyDrives reports whether the viewer may look at everything of no vehicle, and at the
// meters of some. The question tells: whoever keeps vehicles may be keeper of none.
func (s site) onlyDrives(ctx context.Context, r *frame.Request) (bool, error) {
	q := r.QuestionOver(rights.See)
	if q.Sees == r.Viewer.Access.Sees() {
		return false, nil
	}
	q.Limit = 1
	p, err := service.Vehicles.Of(ctx, s.Service, q)
	_, err = frame.Missing(err)
	return p.Total == 0, err
}

// workshopToday is the due list of the vehicles that the viewer hears of.
func (s site) workshopToday(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, err := read(r, listing.Due)
	if err != nil {
		return nil, err
	}
	if !a.filtered() {
		if a, err = s.theirs(ctx, r, a); err != nil {
			return nil, err
		}
	}
	p, err := s.duePage(ctx, r, a, duePath)
	if err == nil {
		p.Section = frame.Today
	}
	return p, err
}

// theirs narrows a list to what the viewer hears of: the vehicles with a tag by which
// people.yaml tells them, all of them, or those that they keep.
func (s site) theirs(ctx context.Context, r *frame.Request, a ask) (ask, error) {
	if r.Viewer.SignedIn != nil && r.Viewer.Access.Over(rights.See) != "" {
		return a, nil // of which it is already
	}
	p, err := s.vehiclesPage(ctx, r, ask{Limit: 1})
	if _, err = frame.Missing(err); err != nil {
		return a, err
	}
	d := s.People()
	hears := func(tags map[string]string) bool {
		heard, _ := d.Hears(r.Viewer.Person, &people.Subject{Vehicle: people.Vehicle{Tags: tags}, Rule: "due", Task: true, Stages: alarm.TaskStages[1:]})
		return heard
	}
	if hears(nil) {
		return a, nil
	}
	for _, tag := range slices.Sorted(maps.Keys(p.Tags)) {
		if name, value, _ := strings.Cut(tag, "="); hears(map[string]string{name: value}) {
			a.Tag = tag
			return a, nil
		}
	}
	a.Person = r.Viewer.ID
	return a, nil
}

// mostOwn is how many vehicles stand on an owner's page.
const mostOwn = 10

// ownerToday has a block for each vehicle that the viewer keeps; of nobody, for each that the
// viewer sees.
func (s site) ownerToday(ctx context.Context, r *frame.Request, of string) (*frame.Page, error) {
	p, err := s.vehiclesPage(ctx, r, ask{Person: of, Limit: mostOwn})
	missing, err := frame.Missing(err)
	if err != nil {
		return nil, err
	}
	if p.Total == 0 && of != "" && r.Viewer.SignedIn != nil && r.Viewer.Access.Sees() != "" {
		return s.ownerToday(ctx, r, "") // theirs by rights, and not by the register
	}
	m := s.rowsFor(r)
	by, err := s.rowsBy(ctx, r, m, of)
	if err != nil {
		return nil, err
	}
	l := list{Heads: mailHeads}
	var all []row
	for i := range p.Vehicles {
		v := &p.Vehicles[i]
		l.Groups = append(l.Groups, m.own(v, by[v.Vehicle]))
		all = append(all, by[v.Vehicle]...)
	}
	if len(p.Vehicles) < p.Total {
		l.Acts = []act{{"All " + english.Counted(p.Total, "vehicle", "vehicles"), ask{Person: of}.at(vehiclesPath)}}
	}
	l.Ready, l.Mind = m.beside(all)
	if len(p.Vehicles) == 0 {
		if l.Nothing, err = s.nothingOn(ctx, r, ask{Person: of}, vehiclesPath, wordNothingIn, missing); err != nil {
			return nil, err
		}
		if l.Nothing.Words == wordNoMatch {
			l.Nothing = &nothing{Words: wordNotKeeper, Do: wordKeeperDo, Link: act{"All vehicles", vehiclesPath}}
		}
	}
	n := map[alarm.Stage]int{}
	for i := range all {
		n[all[i].stage]++
	}
	lead := cmp.Or(leadOf(n), wording.NothingDue)
	if len(p.Vehicles) == 0 || len(all) == 0 && of == "" {
		lead = ""
	}
	return s.written(ctx, r, frame.Page{Section: frame.Today, Title: "Today, " + m.dayToday(), Lead: lead, Missing: missing, Work: len(all) > 0}, "list", l)
}

// rowsBy are the rows of what is due and wrong on the vehicles that somebody keeps, by
// vehicle, the worst first.
func (s site) rowsBy(ctx context.Context, r *frame.Request, m rows, person string) (map[string][]row, error) {
	var all []row
	for _, v := range []listing.View{listing.Standing, listing.Due} {
		p, err := s.lines(ctx, r, ask{View: v, Person: person, Limit: paperLines})
		if _, err = frame.Missing(err); err != nil {
			return nil, err
		}
		all = append(all, m.all(p.Lines, v)...)
	}
	out := map[string][]row{}
	for _, g := range groups(all) {
		for _, w := range g.Rows {
			w.Own, w.Tick, w.Heading = true, "", ""
			out[w.of.Vehicle] = append(out[w.of.Vehicle], w)
		}
	}
	return out, nil
}

// own is the block of a vehicle on its owner's page.
func (m rows) own(v *listing.Vehicle, all []row) group {
	w := m.vehicle(v)
	g := group{Heading: w.Name, Path: w.Path, Rows: all}
	if m.may(rights.Reading, v.Vehicle) {
		g.Acts = append(g.Acts, act{"Enter a reading", frame.Path("v", v.Vehicle, "reading")})
	}
	if m.may(rights.Work, v.Vehicle) {
		g.Acts = append(g.Acts, act{"Enter work", frame.Path("v", v.Vehicle, "work")})
	}
	for _, one := range all {
		if b := one.Badge; b.Weight > g.Weight || g.Colour == "" && b.Weight == g.Weight {
			g.Weight, g.Colour = b.Weight, b.Colour
		}
	}
	read := "No reading yet."
	if w.Read != "" {
		read = w.Read + "."
	}
	g.Lines = append(g.Lines, page.Line{Label: "Last reading", Text: read})
	switch {
	case w.State != "":
		g.Lines = append(g.Lines, page.Line{Text: english.Capital(w.State) + "."})
	case len(all) == 0 && w.Worst != nil: // work, of which a driver sees no more
		g.Lines = append(g.Lines, page.Line{Label: w.Worst.Word, Text: english.Sentence(w.WorstOf)})
	case len(all) == 0:
		g.Lines = append(g.Lines, page.Line{Text: wording.NothingDue})
	}
	if w.Next != "" && len(all) == 0 {
		g.Lines = append(g.Lines, page.Line{Label: wording.LabelNext, Text: w.Next + "."})
	}
	return g
}

// maxWorst bounds the worst of the fleet on an operator's page.
const maxWorst = 20

// worstOf are the lists of which the worst of the fleet is made, the worst first.
var worstOf = []struct {
	listing.View
	alarm.Stage
}{{listing.Standing, alarm.Warning}, {listing.Due, alarm.Overdue}, {listing.Standing, alarm.Caution}, {listing.Due, alarm.Due}}

// operatorToday counts, lists the worst, and says what waits for the service itself.
func (s site) operatorToday(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	var parts [4]listing.Page
	var all listing.VehiclePage
	var waits []fact
	var missing []int
	var asks []func() error
	for i, want := range worstOf {
		asks = append(asks, func() (err error) {
			parts[i], err = s.lines(ctx, r, ask{View: want.View, Stage: []alarm.Stage{want.Stage}, Limit: maxWorst})
			_, err = frame.Missing(err)
			return err
		})
	}
	asks = append(asks,
		func() (err error) {
			all, err = s.vehiclesPage(ctx, r, ask{Limit: 1})
			missing, err = frame.Missing(err)
			return err
		},
		func() (err error) {
			if r.MayAnywhere(rights.Watch) {
				waits, err = s.waits(ctx, r)
			}
			return err
		})
	if err := atOnce(asks...); err != nil {
		return nil, err
	}
	m := s.rowsFor(r)
	stages := map[alarm.Stage]int{}
	for i := range parts {
		maps.Copy(stages, parts[i].Stages)
	}
	l := operatorPage{list: list{Heads: mailHeads}, CountsHead: wording.HeadCounts, ServiceHead: wording.LabelService, Service: waits}
	worst, g := m.worst(parts[:], stages)
	if len(worst) > 0 {
		l.Groups = []group{g}
	}
	_, l.Mind = m.beside(worst)
	var err error
	if l.Counts, err = s.countLines(ctx, r, m, stages, all.Total, len(missing) == 0); err != nil {
		return nil, err
	}
	if len(worst) == 0 {
		if l.Nothing, err = s.nothingOn(ctx, r, ask{View: listing.Due}, duePath, wordNothingBad, missing); err != nil {
			return nil, err
		}
	}
	return s.written(ctx, r, frame.Page{Section: frame.Today, Title: "The fleet on " + m.dayToday(), Lead: leadOf(stages), Missing: missing, Work: len(worst) > 0}, "operator", l)
}

// worst are the rows of the worst of the fleet, and their group.
func (m rows) worst(parts []listing.Page, n map[alarm.Stage]int) (all []row, g group) {
	total := 0
	for i, p := range parts {
		total += n[worstOf[i].Stage]
		for k := range p.Lines {
			w := m.of(&p.Lines[k], worstOf[i].View)
			w.Own = true
			all = append(all, w)
		}
	}
	if len(all) == 0 {
		return nil, g
	}
	all = all[:min(len(all), maxWorst)]
	g = group{Heading: wording.HeadWorst, Rows: all} // each row says how bad it is, and not the bar of all
	if total > len(all) {
		g.Lines = []page.Line{{Text: unit.Grouped(float64(total-len(all))) + " more are on the lists of what is due and what stands."}}
	}
	return all, g
}

// operatorPage is what its template gets.
type operatorPage struct {
	list
	CountsHead, ServiceHead string
	Counts                  []fact
	Service                 []fact
}

// fact is a line with where more of it stands.
type fact struct{ Label, Text, Path string }

// countLines are the counts with what changed since the last working day.
func (s site) countLines(ctx context.Context, r *frame.Request, m rows, now map[alarm.Stage]int, vehicles int, whole bool) ([]fact, error) {
	out := []fact{{wording.LabelFleet, english.Counted(vehicles, "vehicle", "vehicles") + ".", vehiclesPath}}
	day := lastWorkingDay(r.Now.In(m.Zone))
	var before map[alarm.Stage]int
	known := false
	if whole && r.Viewer.Access.Sees() == "" { // else a change would be what did not answer, or is another's
		var err error
		if before, known, err = s.stood(ctx, now, endOf(day)); err != nil {
			return nil, err
		}
	}
	since := ""
	if known {
		since = m.Day(day)
	}
	for _, g := range wording.Groups {
		if now[g.Stage] == 0 && before[g.Stage] <= 0 || g.Stage == alarm.Normal {
			continue
		}
		path := duePath
		if slices.Contains(alarm.RuleStages[1:], g.Stage) {
			path = standingPath
		}
		out = append(out, fact{g.Heading, wording.CountSince(now[g.Stage], before[g.Stage], since), ask{Stage: []alarm.Stage{g.Stage}}.at(path)})
	}
	return out, nil
}

// lastWorkingDay is the morning of the last day before that is no Saturday or Sunday, at
// the same time.
func lastWorkingDay(now time.Time) time.Time {
	day := now.AddDate(0, 0, -1)
	for day.Weekday() == time.Saturday || day.Weekday() == time.Sunday {
		day = day.AddDate(0, 0, -1)
	}
	return day
}

// endOf is the moment at which a day ends.
func endOf(day time.Time) time.Time {
	return time.Date(day.Year(), day.Month(), day.Day()+1, 0, 0, 0, 0, day.Location())
}

// waits is what waits for the service itself, each with where it is listed.
func (s site) waits(ctx context.Context, r *frame.Request) (out []fact, err error) {
	var data listing.Page
	var strangers []string
	err = atOnce(
		func() (err error) {
			data, err = s.lines(ctx, r, ask{View: listing.Standing, Of: listing.OfData, Limit: 1})
			_, err = frame.Missing(err)
			return err
		},
		func() (err error) {
			strangers, err = service.Unregistered.Of(ctx, s.Service, r.Question())
			_, err = frame.Missing(err)
			return err
		})
	if err != nil {
		return nil, err
	}
	sent, err := s.Deliveries().Page(ctx, delivery.Query{Limit: 1})
	if err != nil {
		return nil, err
	}
	day := lastWorkingDay(r.Now.In(r.Viewer.Zone))
	refused, err := s.refusedSince(ctx, day)
	if err != nil {
		return nil, err
	}
	add := func(n int, label, one, many, path string) {
		if n > 0 {
			out = append(out, fact{label, english.Counted(n, one, many) + ".", path})
		}
	}
	add(sent.States[delivery.Failed], "Messages", "was not delivered", "were not delivered", "/deliveries?state="+string(delivery.Failed))
	add(sent.States[delivery.Waiting], "Messages to go", "waits to be sent", "wait to be sent", "/deliveries?state="+string(delivery.Waiting))
	add(refused, "Not used", "event since "+r.Viewer.Day(day), "events since "+r.Viewer.Day(day), "/refused")
	add(len(strangers), "Not registered", "vehicle sends what nobody can judge yet", "vehicles send what nobody can judge yet", "/refused")
	add(data.Total, headData, "alarm", "alarms", ask{Of: listing.OfData}.at(standingPath))
	return out, nil
}

// refusedSince is how many of the latest events could not be used since then.
func (s site) refusedSince(ctx context.Context, then time.Time) (n int, err error) {
	p, err := s.Refused().Page(ctx, refusals.Query{Limit: refusals.Most})
	for i := range p.Lines {
		if p.Lines[i].Time.After(then) {
			n++
		}
	}
	return n, err
}
