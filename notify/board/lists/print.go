package lists

import (
	"context"
	"net"

	"telltale/engine/listing"
	"telltale/notify/board/frame"
	"telltale/rules/unit"
)

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || host == "" || ip != nil && ip.IsLoopback()
}

// duePrint is the due list on paper: boxes to tick, room for the meter and who did it, and
// the code of each vehicle's page.
func (s site) duePrint(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, err := read(r, listing.Due)
	if err != nil {
		return nil, err
	}
	a.Limit = paperLines
	if err := s.resolved(ctx, r, &a); err != nil {
		return nil, err
	}
	var p listing.Page
	var missing []int
	var stops stops
	err = atOnce(
		func() (err error) { p, missing, err = s.dueLines(ctx, r, a); return err },
		func() (err error) { stops, err = s.stopFirst(ctx, r, a); return err },
	)
	if err != nil {
		return nil, err
	}
	m := s.rowsFor(r)
	all := append(stops.rows, m.all(p.Lines, listing.Due)...)
	p.Stages = stops.counted(p.Stages)
	return s.paper(ctx, r, m, a, duePath, all, p, frame.Page{Section: frame.Due, Title: dueTitle(m, a), About: a.about(), Missing: missing})
}

// standingPrint is what stands, on paper.
func (s site) standingPrint(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, err := s.standingAsk(r)
	if err != nil {
		return nil, err
	}
	if err := s.resolved(ctx, r, &a); err != nil {
		return nil, err
	}
	a.Limit = paperLines
	p, err := s.lines(ctx, r, a)
	missing, err := frame.Missing(err)
	if err != nil {
		return nil, err
	}
	m := s.rowsFor(r)
	return s.paper(ctx, r, m, a, standingPath, m.all(p.Lines, a.View), p, frame.Page{Section: frame.Standing, Title: nameOf(a.View), About: a.about(), Missing: missing})
}

// paper is a list to be printed.
func (s site) paper(ctx context.Context, r *frame.Request, m rows, a ask, path string, all []row, p listing.Page, pg frame.Page) (*frame.Page, error) {
	for i := range all {
		all[i].Paper = all[i].work != nil
	}
	l := list{Groups: groups(all), Paper: true, Heads: mailHeads, Acts: []act{{"Back to the list", a.at(path)}}, Local: s.local()}
	l.Ready, l.Mind = m.beside(all)
	if len(p.Lines) < p.Total {
		l.Pager = &pager{Count: sprintf(wordCut, unit.Grouped(float64(len(p.Lines))), unit.Grouped(float64(p.Total)))}
	}
	if len(all) == 0 {
		var err error
		if l.Nothing, err = s.nothingOn(ctx, r, a, path, wordNothingIn, pg.Missing); err != nil {
			return nil, err
		}
	}
	pg.Lead, pg.Work = a.sentence(m, leadOf(p.Stages)), true
	return s.written(ctx, r, pg, "paper", l)
}

// sentence is the lead with what the list is narrowed to, which paper says in words.
func (a ask) sentence(m rows, lead string) string {
	if said := a.narrowed(m.Date); said != "" {
		return lead + " " + said
	}
	return lead
}

// vehiclesPrint is a round through the yard on paper: each vehicle with room for what its
// meter shows.
func (s site) vehiclesPrint(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	return s.vehiclePaper(ctx, r, "yard", "Readings, "+s.rowsFor(r).dayToday())
}

// labels are a sheet of labels to cut out: name, id and the code of the vehicle's page.
func (s site) labels(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	return s.vehiclePaper(ctx, r, "labels", "Labels")
}

func (s site) vehiclePaper(ctx context.Context, r *frame.Request, template, title string) (*frame.Page, error) {
	a, err := read(r, "")
	if err != nil {
		return nil, err
	}
	a.Limit = paperLines
	p, err := s.vehiclesPage(ctx, r, a)
	missing, err := frame.Missing(err)
	if err != nil {
		return nil, err
	}
	m := s.rowsFor(r)
	l := struct {
		vehicleList
		Local string
	}{vehicleList{Rows: m.vehicles(p.Vehicles), Paper: true, Acts: []act{{"Back to the vehicles", a.at(vehiclesPath)}}}, s.local()}
	if len(p.Vehicles) < p.Total {
		l.Cut = sprintf(wordCutVehicles, unit.Grouped(float64(len(p.Vehicles))), unit.Grouped(float64(p.Total)))
	}
	if len(p.Vehicles) == 0 {
		if l.Nothing, err = s.nothingOn(ctx, r, a, vehiclesPath, wordNothingIn, missing); err != nil {
			return nil, err
		}
	}
	return s.written(ctx, r, frame.Page{Section: frame.Vehicles, Title: title, About: a.about(), Lead: a.narrowed(m.Date), Missing: missing}, template, l)
}

// dayToday is today as the viewer reads it.
func (m rows) dayToday() string { return m.Date(m.today) }
