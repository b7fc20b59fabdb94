package listing

import (
	"reflect"
	"slices"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"

	"telltale/engine/event"
	"telltale/engine/record"
)

// TestSights: whatever comes, changes and goes, the parts of a page, the counts, the tags and the
// names of one who sees some vehicles are those of an index that has no others, however many
// others have asked since.
func TestSights(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		all := NewIndex()
		records, cards := map[int]*record.Record{}, map[int]*Card{}
		wants := func(text string) func(string, *event.VehicleData) bool {
			return func(_ string, reg *event.VehicleData) bool { return reg.Tags["depot"] == text || reg.Kind == text }
		}
		old := all.Sight("0", wants("0")) // that others will have put out
		for range rapid.IntRange(1, 40).Draw(rt, "changes") {
			i := rapid.IntRange(0, 12).Draw(rt, "vehicle")
			switch rapid.IntRange(0, 4).Draw(rt, "change") {
			case 0:
				all.Drop(cards[i])
				delete(cards, i)
				delete(records, i)
			case 1:
				for n := range rapid.IntRange(0, 2*mostSights).Draw(rt, "others") {
					text := "other " + strconv.Itoa(n)
					all.Sight(text, wants(text)).Sees(cards[i])
				}
			default:
				records[i] = drawRecord(rt, i)
				records[i].Register[0].Tags["depot"] = rapid.SampledFrom([]string{"0", "1"}).Draw(rt, "depot")
				cards[i] = all.Set(cards[i], records[i])
			}
			text := rapid.SampledFrom([]string{"0", "1", "bus", "none"}).Draw(rt, "who")
			for _, s := range []*Sight{all.Sight(text, wants(text)), old} {
				sameAs(rt, all, s, records, wants(s.text))
			}
		}
	})
}

func sameAs(rt *rapid.T, all *Index, s *Sight, records map[int]*record.Record, sees func(string, *event.VehicleData) bool) {
	theirs := NewIndex()
	for _, r := range records {
		if r.Registered() != nil && sees(r.Vehicle, r.Registered()) {
			theirs.Set(nil, r)
		}
	}
	now, read := time.Unix(0, 0), func(string) int64 { return 0 }
	for _, v := range Views {
		q := Query{View: v, Limit: 3, Aside: true, Tag: rapid.SampledFrom([]string{"", "depot=0"}).Draw(rt, "tag"), Q: rapid.SampledFrom([]string{"", "", "bus"}).Draw(rt, "q")}
		mine := q
		mine.Sight = s
		got, want := all.Part(mine), theirs.Part(q)
		if !reflect.DeepEqual(got, want) || !reflect.DeepEqual(all.CountOf(mine), want.Counts) {
			rt.Fatalf("%s has of %+v\n%+v\nwant\n%+v", s.text, q, got, want)
		}
	}
	q := VehicleQuery{Limit: 3}
	mine := q
	mine.Sight = s
	if got, want := all.VehiclePart(mine, now, read), theirs.VehiclePart(q, now, read); !reflect.DeepEqual(got, want) {
		rt.Fatalf("%s has vehicles\n%+v\nwant\n%+v", s.text, got, want)
	}
	if !slices.Equal(all.Tags(s), theirs.Tags(nil)) || !slices.Equal(all.Homes("", s), theirs.Homes("", nil)) || !slices.Equal(all.Called("bus", s), theirs.Called("bus", nil)) {
		rt.Fatalf("%s has tags %q, vehicles %q, called %q; want %q, %q, %q", s.text, all.Tags(s), all.Homes("", s), all.Called("bus", s), theirs.Tags(nil), theirs.Homes("", nil), theirs.Called("bus", nil))
	}
}
