package listing

import (
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/record"
)

// TestKeyAsText: a key is read as it was written, whatever the names hold.
func TestKeyAsText(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		k := Key{
			stage: rapid.SampledFrom(append(slices.Clone(alarm.TaskStages[:]), alarm.RuleStages[:]...)).Draw(rt, "stage"), statutory: rapid.Bool().Draw(rt, "law"), at: noDate,
			Vehicle: rapid.String().Draw(rt, "vehicle"), Rule: rapid.String().Draw(rt, "rule"), Component: rapid.String().Draw(rt, "component"),
		}
		if rapid.Bool().Draw(rt, "dated") {
			k.at = rapid.Int64Range(-2e9, 1e11).Draw(rt, "at")
		}
		if got, err := ParseKey(k.String()); err != nil || got != k {
			rt.Fatalf("%s is read as %+v (%v), was %+v", k.String(), got, err, k)
		}
	})
}

// TestKeyThatIsNone: what was typed into an address is refused in words.
func TestKeyThatIsNone(t *testing.T) {
	for _, text := range []string{"", "x", "due", "bad..2031-01-01.a.b.c", "due.x.2031-01-01.a.b.c", "due..yesterday.a.b.c", "due..2031-01-01.a.b.c.d", "due..2031-01-01.%zz.b.c"} {
		if _, err := ParseKey(text); err != errNoKey {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// TestOrder: an order is a sorted list, whatever comes and goes, from any place, both ways.
func TestOrder(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		o := newOrder(func(a, b int) int { return a - b })
		var plain []int
		for range rapid.IntRange(0, 60).Draw(rt, "changes") {
			from, n := rapid.IntRange(0, 2000).Draw(rt, "from"), rapid.IntRange(1, 400).Draw(rt, "n")
			add := rapid.IntRange(0, 2).Draw(rt, "drop") > 0
			for e := from; e < from+n; e++ {
				i, has := slices.BinarySearch(plain, e)
				switch {
				case add && !has:
					o.put(e)
					plain = slices.Insert(plain, i, e)
				case !add:
					o.drop(e)
					if has {
						plain = slices.Delete(plain, i, i+1)
					}
				}
			}
		}
		place := rapid.IntRange(-1, 2500).Draw(rt, "place")
		behind := func(e int) bool { return e >= place }
		i, _ := slices.BinarySearch(plain, place)
		before := slices.Clone(plain[:i])
		slices.Reverse(before)
		for what, lists := range map[string][2][]int{
			"all": {slices.Collect(o.all), plain}, "from": {slices.Collect(o.from(behind)), plain[i:]}, "until": {slices.Collect(o.until(behind)), before},
		} {
			if !slices.Equal(lists[0], lists[1]) {
				rt.Fatalf("%s %d: %v, want %v", what, place, lists[0], lists[1])
			}
		}
		if o.n != len(plain) {
			rt.Fatalf("%d of %d", o.n, len(plain))
		}
	})
}

// TestPartsAreOne: the pages of vehicles that are spread over partitions are those of one
// that has them all, with the same counts.
func TestPartsAreOne(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		one, parts := NewIndex(), []*Index{NewIndex(), NewIndex(), NewIndex()}
		for i := range rapid.IntRange(0, 12).Draw(rt, "vehicles") {
			r := drawRecord(rt, i)
			one.Set(nil, r)
			parts[i%3].Set(nil, r)
		}
		q := Query{View: rapid.SampledFrom(Views[:5]).Draw(rt, "view"), Limit: rapid.IntRange(1, 5).Draw(rt, "limit"), Tag: rapid.SampledFrom([]string{"", "depot=0"}).Draw(rt, "tag")}
		v := VehicleQuery{Limit: q.Limit, Tag: q.Tag, Q: rapid.SampledFrom([]string{"", "bus 1"}).Draw(rt, "q")}
		for more := true; more; {
			page, refs := Merge(q, []Part{one.Part(q)})
			again, refs2 := Merge(q, []Part{parts[0].Part(q), parts[1].Part(q), parts[2].Part(q)})
			if !reflect.DeepEqual(page, again) || !slices.Equal(refs, refs2) {
				rt.Fatalf("%+v: of one\n%+v %v\nof three\n%+v %v", q, page, refs, again, refs2)
			}
			more, q.After = page.Next != "", page.Next
		}
		now, read := time.Unix(0, 0), func(string) int64 { return 0 }
		for more := true; more; {
			page, refs := MergeVehicles(v, []VehiclePart{one.VehiclePart(v, now, read)})
			again, refs2 := MergeVehicles(v, []VehiclePart{parts[0].VehiclePart(v, now, read), parts[1].VehiclePart(v, now, read), parts[2].VehiclePart(v, now, read)})
			if !reflect.DeepEqual(page, again) || !slices.Equal(refs, refs2) {
				rt.Fatalf("%+v: of one\n%+v %v\nof three\n%+v %v", v, page, refs, again, refs2)
			}
			more, v.After = page.Next != "", page.Next
		}
	})
}

// drawRecord draws a vehicle with some alarms, in one of three depots.
func drawRecord(rt *rapid.T, i int) *record.Record {
	r := &record.Record{Vehicle: fmt.Sprintf("bus-%d", i), Out: rapid.IntRange(0, 4).Draw(rt, "out") == 0}
	r.Register = []record.Registration{{VehicleData: &event.VehicleData{Name: fmt.Sprintf("Bus %d", i), Kind: "bus", Tags: map[string]string{"depot": fmt.Sprint(i % 2)}}}}
	for k := range rapid.IntRange(0, 3).Draw(rt, "alarms") {
		a := alarm.Alarm{Key: alarm.Key{Rule: fmt.Sprint("rule ", k)}, Task: rapid.Bool().Draw(rt, "task"), Stage: rapid.IntRange(0, 3).Draw(rt, "stage"), Since: rapid.Int64Range(0, 5).Draw(rt, "since")}
		if a.Stage > 0 && rapid.IntRange(0, 4).Draw(rt, "aside") == 0 {
			a.ShelvedUntil = 10
		}
		if a.Task {
			a.Last.Due, a.Last.Statutory = &alarm.DuePoint{Date: fmt.Sprintf("2031-01-0%d", rapid.IntRange(1, 9).Draw(rt, "day"))}, rapid.Bool().Draw(rt, "law")
		}
		r.Alarms = append(r.Alarms, a)
	}
	return r
}

// TestManyValues: a tag of which each vehicle has its own value is named, and not counted.
func TestManyValues(t *testing.T) {
	parts := []*Index{NewIndex(), NewIndex()}
	for i := range MostValues + 50 {
		r := &record.Record{Vehicle: fmt.Sprintf("bus-%d", i)}
		r.Register = []record.Registration{{VehicleData: &event.VehicleData{Tags: map[string]string{"contract": fmt.Sprint(i), "depot": "north"}}}}
		parts[i%2].Set(nil, r)
	}
	read := func(string) int64 { return 0 }
	page, _ := MergeVehicles(VehicleQuery{}, []VehiclePart{parts[0].VehiclePart(VehicleQuery{}, time.Time{}, read), parts[1].VehiclePart(VehicleQuery{}, time.Time{}, read)})
	if want := (TagCounts{map[string]int{"depot=north": MostValues + 50}, []string{"contract"}}); !reflect.DeepEqual(page.TagCounts, want) {
		t.Errorf("%+v, want %+v", page.TagCounts, want)
	}
}
