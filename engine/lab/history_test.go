package lab

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestMixedAge(t *testing.T) {
	tests := []struct {
		name string
		h    History
		want float64
	}{
		{"stated", History{aged(sample(100, 0), 60)}, 60},
		{"nothing stated", History{sample(100, 0)}, nan},
		{"stated, then run on", History{aged(sample(100, 0), 60), sample(130, 0)}, 90},
		{"stated again: the later label counts", History{aged(sample(100, 0), 60), aged(sample(130, 0), 80)}, 80},
		{"partial exchange mixes", History{aged(sample(100, 0), 60), exchange(120, 0.25), sample(130, 0)}, 0.75*80 + 10},
		{"a label after an exchange does not count", History{aged(sample(100, 0), 60), exchange(120, 0.25), aged(sample(130, 0), 10)}, 70},
		{"two exchanges", History{aged(sample(0, 0), 80), exchange(0, 0.5), exchange(10, 0.5), sample(15, 0)}, 30},
		{"whole exchange", History{exchange(100, 1), sample(130, 0)}, 30},
		{"share unknown", History{aged(sample(100, 0), 60), exchange(120, nan), sample(130, 0)}, nan},
		{"share unknown, stated later", History{aged(sample(100, 0), 60), exchange(120, nan), aged(sample(130, 0), 10), sample(140, 0)}, 20},
		{"share unknown, then whole", History{exchange(120, nan), exchange(130, 1), sample(140, 0)}, 10},
		{"age before unknown, stated later", History{exchange(120, 0.5), aged(sample(130, 0), 40), sample(131, 0)}, 41},
		{"no meter at the exchange", History{aged(sample(100, 0), 60), exchange(nan, 0.5), sample(130, 0)}, nan},
		{"no meter at a whole exchange, stated later", History{exchange(nan, 1), aged(sample(130, 0), 7)}, 7},
		{"a sample without meter keeps the anchor", History{exchange(100, 1), aged(sample(nan, 0), 25), sample(130, 0)}, 30},
		{"a sample without meter has its label", History{exchange(100, 1), aged(sample(nan, 0), 25)}, 25},
		{"a sample without meter or label", History{exchange(100, 1), sample(nan, 0)}, nan},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := tt.h.Ages(len(tt.h) - 1).Distance
			if got != tt.want && !(math.IsNaN(got) && math.IsNaN(tt.want)) {
				t.Errorf("age = %v, want %v", got, tt.want)
			}
		})
	}
	if a := (History{}).Ages(0); !math.IsNaN(a.Distance) || !math.IsNaN(a.Hours) {
		t.Errorf("age of no history = %v", a)
	}
}

func TestAgesByHours(t *testing.T) {
	h := History{timed(exchange(100, 1), 1000), timed(sample(150, 0), 1700)}
	if got, want := h.Ages(1), (Ages{50, 700}); got != want {
		t.Errorf("ages = %v, want %v", got, want)
	}
}

// after counts the samples after the first exchange.
func after(h History) (n int) {
	first := slices.IndexFunc(h, func(s Step) bool { return s.Exchange })
	for i := range h {
		if first >= 0 && i > first && !h[i].Exchange {
			n++
		}
	}
	return n
}

func TestMasked(t *testing.T) {
	alarm := aged(sample(100, 0), 60)
	hour := timed(Step{Distance: nan, Age: nan, AgeHours: 60}, 100)
	tests := []struct {
		name string
		h    History
		want bool
	}{
		{"no exchange", History{alarm, sample(110, 0)}, false},
		{"just after", History{alarm, exchange(100, 0.5), sample(110, 0)}, true},
		{"a little under half", History{alarm, exchange(100, 0.5), sample(129.9, 0)}, true},
		{"half its age", History{alarm, exchange(100, 0.5), sample(130, 0)}, false},
		{"counted from the latest exchange", History{alarm, exchange(100, 0.5), exchange(120, 0.5), sample(130, 0)}, true},
		{"a whole exchange masks too", History{alarm, exchange(100, 1), sample(110, 0)}, true},
		{"age unknown", History{sample(100, 0), exchange(100, 0.5), sample(1000, 0)}, true},
		{"age unknown, the second sample", History{sample(100, 0), exchange(100, 1), sample(1000, 0), exchange(1000, 1), sample(2000, 0)}, false},
		{"run unknown", History{alarm, exchange(nan, 0.5), sample(1000, 0)}, true},
		{"run unknown, the second sample", History{alarm, exchange(nan, 0.5), sample(1000, 0), sample(2000, 0)}, false},
		{"a twentieth topped up hides a twentieth of the age", History{alarm, exchange(100, 0.05), sample(102.9, 0)}, true},
		{"and no longer", History{alarm, exchange(100, 0.05), sample(103, 0)}, false},
		{"topped up again and again", History{alarm, exchange(110, 0.05), exchange(120, 0.05), exchange(130, 0.05), exchange(140, 0.05), sample(141, 0)}, false},
		{"a share unknown", History{alarm, exchange(100, nan), sample(129, 0)}, true},
		{"a share unknown, half its age", History{alarm, exchange(100, nan), sample(130, 0)}, false},
		{"a sample between", History{alarm, exchange(100, 0.5), sample(110, 0), sample(131, 0)}, false},
		{"by hours", History{hour, timed(exchange(nan, 0.5), 100), timed(sample(nan, 0), 130)}, false},
		{"by hours, too early", History{hour, timed(exchange(nan, 0.5), 100), timed(sample(nan, 0), 129)}, true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := Masked(tt.h, 0, tt.h.Ages(0), after(tt.h)); got != tt.want {
				t.Errorf("masked = %v, want %v", got, tt.want)
			}
		})
	}
	// The exchange came before the sample that raised the alarm.
	h := History{exchange(0, 1), alarm, sample(110, 0)}
	if Masked(h, 1, h.Ages(1), 0) {
		t.Error("an exchange before the stage was reached masks")
	}
	// The sample that raised it has dropped out of the history, its age was kept.
	h = History{exchange(100, 0.5), sample(130, 0)}
	if Masked(h, -1, Ages{60, nan}, 1) || !Masked(h, -1, Ages{61, nan}, 1) || !Masked(h, -1, Ages{nan, nan}, 1) || Masked(h, -1, Ages{nan, nan}, 2) {
		t.Error("a sample before the history is not compared by its age")
	}
}

func TestShare(t *testing.T) {
	for _, tt := range []struct{ filled, drained, capacity, want float64 }{
		{4, 3, 8, 0.5}, {nan, 2, 8, 0.25}, {9, 9, 8, 1}, {nan, nan, 8, nan}, {4, 4, nan, nan}, {4, 4, 0, nan}, {-1, 4, 8, nan}, {0, 4, 8, 0},
	} {
		got := Share(tt.filled, tt.drained, tt.capacity)
		if got != tt.want && !(math.IsNaN(got) && math.IsNaN(tt.want)) {
			t.Errorf("Share(%v, %v, %v) = %v, want %v", tt.filled, tt.drained, tt.capacity, got, tt.want)
		}
	}
}

// The twin keeps the sump as parcels of fluid, each with its own volume share,
// age and copper, and exchanges a part of every parcel.
func TestSumpOfParcels(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		type parcel struct{ share, age, cu float64 }
		fresh := float64(rapid.IntRange(0, 20).Draw(t, "fresh"))
		cu, at := float64(rapid.IntRange(0, 200).Draw(t, "cu")), 1000.0
		age := float64(rapid.IntRange(0, 90).Draw(t, "age"))
		h := History{aged(sample(at, cu), age)}
		sump := []parcel{{1, age, cu}}
		for range rapid.IntRange(1, 5).Draw(t, "exchanges") {
			f := float64(rapid.IntRange(0, 20).Draw(t, "f")) / 20
			for i := range sump {
				sump[i].share *= 1 - f
			}
			sump = append(sump, parcel{f, 0, fresh})
			h = append(h, exchange(at, f))
			run := float64(rapid.IntRange(0, 50).Draw(t, "run"))
			at += run
			for i := range sump {
				sump[i].age += run
			}
		}
		var wantCu, wantAge float64
		for _, p := range sump {
			wantCu += p.share * p.cu
			wantAge += p.share * p.age
		}
		h = append(h, sample(at, wantCu+3))
		s := Sheet{History: h, Fresh: map[string]float64{"Cu": fresh}}
		got, why, ok := s.Carried("Cu")
		if !ok || math.Abs(got-wantCu) > 1e-9 {
			t.Fatalf("carried = %v %q, want %v", got, why, wantCu)
		}
		if made, _, _ := s.Made("Cu"); math.Abs(made-3) > 1e-9 {
			t.Fatalf("made = %v, want 3", made)
		}
		if got := h.Ages(len(h) - 1).Distance; math.Abs(got-wantAge) > 1e-9 {
			t.Fatalf("age = %v, want %v", got, wantAge)
		}
	})
}
