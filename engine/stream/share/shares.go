package share

import (
	"cmp"
	"hash/fnv"
	"slices"
	"strings"
)

// shares gives each seat to one of the living, the same whoever reckons it:
// rendezvous hashing with a bound. Pairs of a replica and a seat are served by
// their hash, the highest first, and nobody gets more than an equal share, rounded
// up. When one of n joins or leaves, about one n-th of the seats move: its own, and
// the few that the bound had kept from the replica they prefer.
func shares(living, seats []string) map[string]string {
	if len(living) == 0 {
		return nil
	}
	type bid struct {
		who, seat string
		rank      uint64
	}
	bids := make([]bid, 0, len(living)*len(seats))
	for _, who := range living {
		for _, seat := range seats {
			bids = append(bids, bid{who, seat, rank(who, seat)})
		}
	}
	slices.SortFunc(bids, func(a, b bid) int {
		return cmp.Or(cmp.Compare(b.rank, a.rank), strings.Compare(a.seat, b.seat), strings.Compare(a.who, b.who))
	})
	most := (len(seats) + len(living) - 1) / len(living)
	owner, has := make(map[string]string, len(seats)), make(map[string]int, len(living))
	for _, b := range bids {
		if _, taken := owner[b.seat]; taken || has[b.who] == most {
			continue
		}
		owner[b.seat] = b.who
		has[b.who]++
	}
	return owner
}

// rank is how much a replica wants a seat. FNV alone leaves names that differ in
// their last letter close together, so its bits are mixed once more (the finalizer
// of MurmurHash3, from memory).
func rank(who, seat string) uint64 {
	f := fnv.New64a()
	f.Write([]byte(who))
	f.Write([]byte{0})
	f.Write([]byte(seat))
	h := f.Sum64()
	h ^= h >> 33
	h *= 0xff51afd7ed558ccd
	h ^= h >> 33
	h *= 0xc4ceb9fe1a85ec53
	return h ^ h>>33
}
