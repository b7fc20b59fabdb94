package notify_test

import (
	"fmt"
	"slices"
	"strings"

	"pgregory.net/rapid"

	"telltale/engine/alarm"
	"telltale/engine/listing"
	"telltale/engine/stream/service"
)

// pages walks lists of what stands, from both ends, and compares all of them with those of one
// who sees all, with the lines of other vehicles taken out, and the counts with what is there.
func (l *looker) pages() {
	for _, view := range listing.Views {
		q := service.Question{Listing: service.Listing{View: view}}
		q.Aside = rapid.Bool().Draw(l.t, "aside")
		q.Q = rapid.SampledFrom([]string{"", "", "oil", "bus", l.tokens[0], "PL q10"}).Draw(l.t, "q")
		q.Of = rapid.SampledFrom([]string{"", "", listing.OfTasks, listing.OfRules}).Draw(l.t, "of")
		q.Person = rapid.SampledFrom([]string{"", "", "maud"}).Draw(l.t, "person")
		whole := l.wholeList(q) // in all but stage and tag
		tag := rapid.SampledFrom([]string{"", "depot=north", "depot=south"}).Draw(l.t, "tag")
		var stages []alarm.Stage
		if rapid.IntRange(0, 2).Draw(l.t, "by stage") == 0 {
			stages = []alarm.Stage{alarm.Due, alarm.Caution}
		}
		inTag := func(v string) bool { return tag == "" || "depot="+l.reg[v].Tags["depot"] == tag }
		inStage := func(s alarm.Stage) bool { return stages == nil || slices.Contains(stages, s) }
		want, wantLines := listing.Count{Stages: map[alarm.Stage]int{}, TagCounts: listing.TagCounts{Tags: map[string]int{}}}, []listing.Line{}
		for _, line := range whole {
			v, stage := ofLine(&line)
			if inTag(v) {
				want.Stages[stage]++
			}
			if inStage(stage) {
				for k, value := range l.reg[v].Tags {
					want.Tags[k+"="+value]++
				}
			}
			if inTag(v) && inStage(stage) {
				want.Total++
				wantLines = append(wantLines, line)
			}
		}
		q.Tag, q.Stage, q.Sees = tag, stages, l.sees
		l.walk(q, wantLines, want)
		counts, err := service.Counts.Of(l.t.Context(), l.svc, q)
		if err != nil || len(counts) != 1 {
			l.t.Fatal(counts, err)
		}
		l.same(fmt.Sprintf("the count of %+v", q), counts[0].Count, want)
	}
}

func ofLine(line *listing.Line) (vehicle string, stage alarm.Stage) {
	if line.Alarm == nil {
		return line.Due.Vehicle, line.Due.Stage
	}
	key, _, _ := strings.Cut(line.Key, ".")
	return line.Alarm.Vehicle, alarm.Stage(key)
}

// wholeList is the list of one who sees all, with the lines of what this one does not see taken
// out.
func (l *looker) wholeList(q service.Question) (out []listing.Line) {
	q.Limit = listing.MostLines
	page, err := service.Lines.Of(l.t.Context(), l.svc, q)
	if err != nil || page.Next != "" {
		l.t.Fatal(page.Next, err)
	}
	for _, line := range page.Lines {
		if v, _ := ofLine(&line); l.seen[v] {
			out = append(out, line)
		}
	}
	return out
}

func (l *looker) walk(q service.Question, want []listing.Line, count listing.Count) {
	q.Limit = rapid.IntRange(1, 4).Draw(l.t, "limit")
	forward := []listing.Line{}
	page := func(q service.Question) listing.Page {
		p, err := service.Lines.Of(l.t.Context(), l.svc, q)
		if err != nil {
			l.t.Fatal(err)
		}
		l.clean(fmt.Sprintf("a page of %+v", q), p)
		l.same(fmt.Sprintf("what a page of %+v counts", q), p.Count, count)
		return p
	}
	p := page(q)
	if p.Back != "" {
		l.t.Fatalf("%s has a page before the first of %+v", l.who, q)
	}
	for {
		if forward = append(forward, p.Lines...); p.Next == "" {
			break
		}
		q.After = p.Next
		p = page(q)
	}
	l.same(fmt.Sprintf("the pages of %+v", q), forward, want)
	back := p.Lines
	for p.Back != "" {
		q.After, q.Before = "", p.Back
		p = page(q)
		back = append(slices.Clone(p.Lines), back...)
	}
	l.same(fmt.Sprintf("the pages of %+v, back", q), back, want)
}

// vehicles walks the list of vehicles.
func (l *looker) vehicles() {
	q := service.Question{Listing: service.Listing{Q: rapid.SampledFrom([]string{"", "", "bus", "q10"}).Draw(l.t, "q"), Limit: listing.MostLines}}
	all, err := service.Vehicles.Of(l.t.Context(), l.svc, q)
	if err != nil {
		l.t.Fatal(err)
	}
	want, count := []listing.Vehicle{}, listing.VehicleCount{Kinds: map[string]int{}, States: map[string]int{}, TagCounts: listing.TagCounts{Tags: map[string]int{}}}
	for _, v := range all.Vehicles {
		if !l.seen[v.Vehicle] {
			continue
		}
		want = append(want, v)
		count.Total++
		count.Kinds[v.Kind]++
		state := listing.InService
		if v.Out {
			state = listing.OutOfService
		}
		if v.Retired {
			state = listing.Retired
		}
		count.States[state]++
		for k, value := range v.Tags {
			count.Tags[k+"="+value]++
		}
	}
	got := []listing.Vehicle{}
	for q.Sees, q.Limit = l.sees, rapid.IntRange(1, 4).Draw(l.t, "limit"); ; {
		p, err := service.Vehicles.Of(l.t.Context(), l.svc, q)
		if err != nil {
			l.t.Fatal(err)
		}
		l.clean(fmt.Sprintf("a page of vehicles %+v", q), p)
		l.same(fmt.Sprintf("what a page of vehicles %+v counts", q), p.VehicleCount, count)
		if got = append(got, p.Vehicles...); p.Next == "" {
			break
		}
		q.After = p.Next
	}
	l.same(fmt.Sprintf("vehicles %+v", q), got, want)
}
