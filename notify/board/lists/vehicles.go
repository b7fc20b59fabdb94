package lists

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/engine/listing"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/rights"
	"telltale/notify/wording"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// vehicleRow is a vehicle in the list of them.
type vehicleRow struct {
	ID, Name, Path string
	Kind           string
	Tags           string
	State          string // "" for one in service
	Worst          *frame.Badge
	WorstOf        string
	Next           string
	Read           string
	Code           string
}

// vehicleList is what its template gets.
type vehicleList struct {
	Filters *filters
	Nothing *nothing
	Tags    []act
	Rows    []vehicleRow
	Pager   *pager
	Acts    []act
	Paper   bool
	Cut     string
}

// silences are the days without a reading that the list may be narrowed to.
var silences = []int{7, 14, 30, 90}

// vehicles is where one finds the vehicle that one means.
func (s site) vehicles(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, err := read(r, "")
	if err != nil {
		return nil, err
	}
	p, err := s.vehiclesPage(ctx, r, a)
	missing, err := frame.Missing(err)
	if err != nil {
		return nil, err
	}
	m := s.rowsFor(r)
	l := vehicleList{Rows: m.vehicles(p.Vehicles), Pager: a.vehiclePager(vehiclesPath, &p)}
	f := a.filters(vehiclesPath, m.Date, []choice{
		{"tag", "Tag", options(p.Tags, a.Tag, "all", tagWords)},
		{"kind", "Kind", options(p.Kinds, a.Kind, "all", same)},
		{"state", "Which", options(p.States, a.State, "all", same)},
		{"silent", "No reading for more than", silentOptions(a.Silent)},
	})
	f.Label = "Find a vehicle"
	l.Filters = &f
	if l.Tags = a.tagLinks(p.Tags); len(p.Vehicles) == 0 {
		if l.Nothing, err = s.nothingOn(ctx, r, a, vehiclesPath, wordNothingIn, missing); err != nil {
			return nil, err
		}
	} else {
		for _, way := range []act{{"Enter readings for several", "/readings"}, {"Print", vehiclesPath + "/print"}, {"As a table (CSV)", vehiclesPath + ".csv"}, {"Labels with codes", "/labels"}} {
			if r.Leads(way.Path) {
				l.Acts = append(l.Acts, act{way.Words, a.at(way.Path)})
			}
		}
	}
	return s.written(ctx, r, frame.Page{Section: frame.Vehicles, Title: "Vehicles", About: a.about(), Lead: statesLead(p.States), Missing: missing}, "vehicles", l)
}

// statesLead is "41 in service, 2 out of service, 1 retired."
func statesLead(n map[string]int) string {
	var all []string
	for _, state := range []string{listing.InService, listing.OutOfService, listing.Retired} {
		if n[state] > 0 {
			all = append(all, unit.Grouped(float64(n[state]))+" "+state)
		}
	}
	return english.Sentence(english.List("and", all))
}

func silentOptions(chosen int) []option {
	out := []option{{"", "any time", chosen == 0}}
	for _, n := range silences {
		out = append(out, option{strconv.Itoa(n), strconv.Itoa(n) + " days", n == chosen})
	}
	if chosen > 0 && !slices.Contains(silences, chosen) {
		out = append(out, option{strconv.Itoa(chosen), english.Counted(chosen, "day", "days"), true})
	}
	return out
}

// tagLinks are the tags with how many vehicles each has.
func (a ask) tagLinks(n map[string]int) (out []act) {
	for _, tag := range slices.Sorted(maps.Keys(n)) {
		out = append(out, act{page.Clean(tagWords(tag), 80) + " (" + unit.Grouped(float64(n[tag])) + ")", a.at(vehiclesPath, "tag", tag)})
	}
	return out
}

// vehiclePager leads to the pages beside this one.
func (a ask) vehiclePager(path string, p *listing.VehiclePage) *pager {
	if p.Total == 0 {
		return nil
	}
	out := &pager{Size: pageLines, Count: english.Counted(p.Total, "vehicle", "vehicles")}
	if len(p.Vehicles) < p.Total {
		out.Count = unit.Grouped(float64(len(p.Vehicles))) + " of " + out.Count
	}
	if p.Back != "" {
		out.Back = a.at(path, "before", p.Back)
	}
	if p.Next != "" {
		out.Next = a.at(path, "after", p.Next)
	}
	return out
}

// vehicles are the rows of vehicles.
func (m rows) vehicles(all []listing.Vehicle) (out []vehicleRow) {
	for i := range all {
		out = append(out, m.vehicle(&all[i]))
	}
	return out
}

func (m rows) vehicle(v *listing.Vehicle) vehicleRow {
	p := m.reader(v.Reads)
	w := vehicleRow{ID: v.Vehicle, Name: event.Label(cmp.Or(v.Name, v.Vehicle), v.Plate), Path: frame.Path("v", v.Vehicle), Kind: v.Kind,
		Tags: tagsOf(v.Tags), Code: frame.Path("v", v.Vehicle, "code.svg")}
	switch {
	case v.Retired:
		w.State = listing.Retired
	case v.Out:
		w.State = listing.OutOfService
	}
	if v.Worst != nil {
		b := frame.BadgeOf(v.Worst.To)
		said := p.Spelled(&v.Worst.Transition, v.Name)
		if w.Worst, w.WorstOf = &b, wording.AlarmOn(said); v.Worst.Task {
			w.WorstOf = wording.WorkOn(said)
		}
	}
	if v.Next != nil && m.may(rights.See, v.Vehicle) {
		next := p.SaidOf(v.Next)
		w.Next = next.Title
		if day := wording.FirstDay(next.Limit, next.DueDate, next.Likely); day != "" {
			w.Next += ", " + m.Date(day)
		}
	}
	if v.LastRead != "" {
		w.Read = m.Date(v.LastRead) + ago(v.LastRead, m.today)
	}
	for _, text := range []*string{&w.ID, &w.Name, &w.Kind, &w.Tags, &w.WorstOf, &w.Next} {
		*text = page.Clean(*text, 300)
	}
	return w
}

// tagsOf is "depot north, road hills".
func tagsOf(tags map[string]string) string {
	var all []string
	for _, name := range slices.Sorted(maps.Keys(tags)) {
		all = append(all, name+" "+tags[name])
	}
	return strings.Join(all, ", ")
}

// ago is how long before today a day was, both YYYY-MM-DD: ", 3 days ago".
func ago(day, today string) string {
	then, err1 := time.Parse(time.DateOnly, day)
	now, err2 := time.Parse(time.DateOnly, today)
	switch n := int(now.Sub(then).Hours() / 24); {
	case err1 != nil || err2 != nil || n < 0:
		return ""
	case n == 0:
		return ", today"
	case n == 1:
		return ", yesterday"
	default:
		return ", " + english.Counted(n, "day", "days") + " ago"
	}
}
