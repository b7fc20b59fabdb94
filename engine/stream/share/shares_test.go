package share

import (
	"maps"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"telltale/engine/stream"
)

// living draws replicas with names as they have.
func living(t *rapid.T, least int) []string {
	return rapid.SliceOfNDistinct(rapid.StringMatching(`[a-z]{1,8}-[A-Z0-9]{8}`), least, 12, rapid.ID).Draw(t, "living")
}

func moved(a, b map[string]string) (n int) {
	for seat, who := range a {
		if b[seat] != who {
			n++
		}
	}
	return n
}

// TestShares holds the shares to what every replica relies on.
func TestShares(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		who := living(t, 1)
		got := shares(who, partitionSeats)
		if len(got) != stream.Partitions {
			t.Fatalf("%d seats are given, want %d", len(got), stream.Partitions)
		}
		has := map[string]int{}
		for seat, o := range got {
			if !slices.Contains(who, o) {
				t.Fatalf("seat %s goes to %q, who does not live", seat, o)
			}
			has[o]++
		}
		most := (stream.Partitions + len(who) - 1) / len(who)
		for o, n := range has {
			if n > most {
				t.Errorf("%s has %d seats, want at most %d", o, n, most)
			}
		}
		other := slices.Clone(who)
		rand.Shuffle(len(other), func(i, j int) { other[i], other[j] = other[j], other[i] })
		if again := shares(other, partitionSeats); !maps.Equal(got, again) {
			t.Errorf("another order gives %v, want %v", again, got)
		}
	})
}

// TestSharesMoveLittle has one replica leave, or join: those who stay keep most of
// what they have.
func TestSharesMoveLittle(t *testing.T) {
	sum, ideal, rounds := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		who := living(t, 2)
		before, after := shares(who, partitionSeats), shares(who[1:], partitionSeats)
		own := 0
		for _, o := range before {
			if o == who[0] {
				own++
			}
		}
		n := moved(before, after)
		sum, ideal, rounds = sum+n, ideal+own, rounds+1
		if n > own+stream.Partitions/2 {
			t.Errorf("of %d replicas one leaves %d seats and %d move", len(who), own, n)
		}
	})
	t.Logf("%d moves in %d rounds, %d are needed", sum, rounds, ideal)
	if sum > 2*ideal {
		t.Errorf("%d moves where %d are needed", sum, ideal)
	}
}

// TestSharesOfTwo has the seats that are not partitions on two replicas, not on one.
func TestSharesOfTwo(t *testing.T) {
	got := shares([]string{"a", "b"}, dutySeats)
	if len(got) != 3 || got["ticks"] == got["notify"] && got["notify"] == got["baselines"] {
		t.Errorf("two replicas share %v", got)
	}
	if got := shares(nil, dutySeats); len(got) != 0 {
		t.Errorf("nobody has %v", got)
	}
}

var (
	partitionSeats = []string{"0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12", "13", "14", "15"}
	dutySeats      = []string{"ticks", "notify", "baselines"}
)
