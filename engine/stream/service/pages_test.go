package service

import (
	"errors"
	"reflect"
	"slices"
	"testing"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/listing"
	"telltale/engine/stream/server/servertest"
	"telltale/testdata/quick"
)

// TestListsInPages asks for lists a page at a time, in the process and over NATS, before and after
// the service is started again.
func TestListsInPages(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	s := run(t, l, quiet)
	begin(t, l)
	days(t, l, 1, 14)
	caughtUp(t, s)
	m, err := s.Respond()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { m.Stop() })
	whole := dueList(t, s)
	if len(whole) < 3 {
		t.Fatalf("only %d due", len(whole))
	}
	var of []listing.Line
	q := Question{Listing: Listing{View: listing.Due, Limit: 2}}
	for {
		page, err := Lines.Of(t.Context(), s, q)
		if err != nil || page.Total != len(whole) {
			t.Fatalf("%d in all of %d (%v)", page.Total, len(whole), err)
		}
		asked, err := Lines.Ask(t.Context(), l.Conn, Question{Listing: q.Listing, Units: []string{}})
		if err != nil || len(asked.Lines) != len(page.Lines) || asked.Next != page.Next {
			t.Fatalf("asked: %+v (%v)", asked, err)
		}
		if of = append(of, page.Lines...); page.Next == "" {
			break
		}
		q.After = page.Next
	}
	stages := map[alarm.Stage]int{}
	for i, line := range of {
		stages[line.Due.Stage]++
		if !slices.ContainsFunc(whole, func(d due.Item) bool { return reflect.DeepEqual(&d, line.Due) }) || line.Alarm.To != line.Due.Stage {
			t.Errorf("line %d is %+v", i, line)
		}
	}
	if len(of) != len(whole) {
		t.Errorf("%d lines on the pages, %d due", len(of), len(whole))
	}
	counts, err := Counts.Ask(t.Context(), l.Conn, Question{})
	if err != nil || len(counts) != len(listing.Views) || counts[0].View != listing.Due || !reflect.DeepEqual(counts[0].Stages, stages) {
		t.Errorf("counts %+v (%v), want %v", counts, err, stages)
	}
	vehiclesInPages(t, s)
	if counts, err = Counts.Of(t.Context(), s, Question{}); err != nil {
		t.Fatal(err)
	}
	stop(t, s)
	s = run(t, l, quiet)
	caughtUp(t, s)
	again, err := Counts.Of(t.Context(), s, Question{})
	if err != nil || !reflect.DeepEqual(again, counts) {
		t.Errorf("started again it counts %+v (%v), want %+v", again, err, counts)
	}
	vehiclesInPages(t, s)
}

// vehiclesInPages goes through the register, forward and back.
func vehiclesInPages(t *testing.T, s *Service) {
	t.Helper()
	all := aFleet()
	slices.Sort(all)
	var forward, back []string
	q := Question{Listing: Listing{Limit: 5}}
	for {
		page, err := Vehicles.Of(t.Context(), s, q)
		if err != nil || page.Total != len(all) || page.Kinds["minibus"] != len(all) || page.States[listing.InService] != len(all) {
			t.Fatalf("%+v (%v)", page, err)
		}
		for _, v := range page.Vehicles {
			if forward = append(forward, v.Vehicle); v.LastRead == "" {
				t.Errorf("%s was read %q", v.Vehicle, v.LastRead)
			}
		}
		if page.Next == "" {
			break
		}
		q.After = page.Next
	}
	q = Question{Listing: Listing{Limit: 5, Before: "~"}}
	for {
		page, err := Vehicles.Of(t.Context(), s, q)
		if err != nil {
			t.Fatal(err)
		}
		var on []string
		for _, v := range page.Vehicles {
			on = append(on, v.Vehicle)
		}
		if back = append(on, back...); page.Back == "" {
			break
		}
		q.Before = page.Back
	}
	if !slices.Equal(forward, all) || !slices.Equal(back, all) {
		t.Errorf("forward %q\nback %q\nwant %q", forward, back, all)
	}
	one, err := Vehicles.Of(t.Context(), s, Question{Listing: Listing{Q: "US 11"}})
	if err != nil || one.Total != 1 || one.Vehicles[0].Vehicle != "bus-11" || one.Vehicles[0].Worst == nil || one.Vehicles[0].Next == nil {
		t.Errorf("found %+v (%v)", one, err)
	}
}

// TestListsRefuse: what a question about a list has wrong is said with its field.
func TestListsRefuse(t *testing.T) {
	quick.Beside(t)
	s := run(t, open(t, servertest.Embed(t, t.TempDir())), quiet)
	for _, c := range []struct {
		q    Listing
		want listing.Fault
	}{
		{Listing{View: "soon"}, listing.Fault{Field: "view", Why: `there is no list "soon"; there are due, standing, aside, out, returned and postponed`}},
		{Listing{View: listing.Due, After: "a.b"}, listing.Fault{Field: "after", Why: "this is no place in the list; begin at its first page"}},
		{Listing{View: listing.Due, After: "due...a.b.", Before: "due...a.b."}, listing.Fault{Field: "before", Why: "a page is after one line or before another, not both"}},
		{Listing{View: listing.Due, Limit: 501}, listing.Fault{Field: "limit", Why: "a page has 1 to 500 lines"}},
		{Listing{View: listing.Due, Stage: []alarm.Stage{"bad"}}, listing.Fault{Field: "stage", Why: `"bad" is no stage`}},
		{Listing{View: listing.Due, Of: "cars"}, listing.Fault{Field: "of", Why: `"cars" is none of tasks, rules and data`}},
	} {
		_, err := Lines.Of(t.Context(), s, Question{Listing: c.q})
		if f := (*listing.Fault)(nil); !errors.As(err, &f) || *f != c.want {
			t.Errorf("%+v: %v, want %v", c.q, err, &c.want)
		}
	}
}
