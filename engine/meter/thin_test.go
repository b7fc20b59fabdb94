package meter

import (
	"cmp"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// fact stands for whatever a caller keeps: a moment, an identity, a weight.
type fact struct {
	at    int64
	id    int
	heavy bool
}

func order(a, b fact) int { return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.id, b.id)) }

func thinned(list []fact) []fact {
	return ThinFunc(list, func(f *fact) int64 { return f.at }, func(f *fact) bool { return f.heavy })
}

// union is the set of both, in order.
func union(a, b []fact) []fact {
	out := append(slices.Clone(a), b...)
	slices.SortFunc(out, order)
	return slices.Compact(out)
}

func drawFacts(r *rapid.T) []fact {
	// gaps of seconds to years, so that every level has buckets with many and with none
	widest := rapid.SampledFrom([]int64{10, day / 4, day, 9 * day, 400 * day}).Draw(r, "widest")
	var out []fact
	at := rapid.Int64Range(-1e9, 1e9).Draw(r, "start")
	for i := range rapid.IntRange(0, 150).Draw(r, "n") {
		at += rapid.Int64Range(0, widest).Draw(r, "gap")
		out = append(out, fact{at, i, rapid.IntRange(0, 3).Draw(r, "heavy") == 0})
	}
	return out
}

// It makes no difference when and how often the set was thinned, so late and
// repeated readings leave the same behind.
func TestThinningIsClosed(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		all := drawFacts(r)
		var a, b []fact
		for _, f := range all {
			where := rapid.IntRange(0, 2).Draw(r, "where")
			if where != 1 {
				a = append(a, f)
			}
			if where != 0 {
				b = append(b, f)
			}
		}
		want := thinned(all)
		if got := thinned(union(thinned(a), b)); !reflect.DeepEqual(got, want) {
			r.Fatalf("thinned early:\n got %v\nwant %v", got, want)
		}
		if got := thinned(union(thinned(a), thinned(b))); !reflect.DeepEqual(got, want) {
			r.Fatalf("both thinned early:\n got %v\nwant %v", got, want)
		}
		if len(want) > 64 {
			r.Fatalf("%d kept", len(want))
		}
	})
}

func TestThinningKeeps(t *testing.T) {
	var list []fact
	for i := range 5000 { // four readings a day for more than three years
		list = append(list, fact{at: int64(i) * day / 4, id: i, heavy: i%100 == 0})
	}
	before := slices.Clone(list)
	got := thinned(list)
	if got[0] != list[0] || got[len(got)-1] != list[len(list)-1] {
		t.Errorf("first %v, last %v", got[0], got[len(got)-1])
	}
	heavy := 0
	for _, f := range got {
		if f.heavy {
			heavy++
		}
	}
	if heavy < KeptWeighty {
		t.Errorf("kept %d weighty", heavy)
	}
	for _, back := range []int64{day, 7 * day, 28 * day, 120 * day, 300 * day} {
		at := list[len(list)-1].at - back
		if !slices.ContainsFunc(got, func(f fact) bool { return f.at <= at && f.at > at-back/2-day }) {
			t.Errorf("nothing kept from about %d days back", back/day)
		}
	}
	if !slices.Equal(list, before) {
		t.Error("the list was changed")
	}
}

func TestThinningFew(t *testing.T) {
	list := []fact{{at: 0, id: 1}, {at: 0, id: 2}, {at: 1, id: 3}, {at: day, id: 4}}
	if got := thinned(list); len(got) != 4 || &got[0] != &list[0] {
		t.Errorf("got %v", got)
	}
	if got := thinned(nil); got != nil {
		t.Errorf("got %v", got)
	}
}

func TestFloorDiv(t *testing.T) {
	for _, c := range [][3]int64{{7, 4, 1}, {8, 4, 2}, {0, 4, 0}, {-1, 4, -1}, {-4, 4, -1}, {-5, 4, -2}} {
		if got := floorDiv(c[0], c[1]); got != c[2] {
			t.Errorf("%d by %d: got %d, want %d", c[0], c[1], got, c[2])
		}
	}
}

func BenchmarkThin96(b *testing.B) {
	var list []fact
	for i := range 96 {
		list = append(list, fact{at: int64(i) * day / 2, id: i, heavy: i%9 == 0})
	}
	b.ReportAllocs()
	for b.Loop() {
		thinned(list)
	}
}
