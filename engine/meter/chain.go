package meter

import (
	"cmp"
	"slices"
)

// Why a reading is disputed.
const (
	GoingBack   = "going back"  // lower than an accepted one before it
	Implausible = "implausible" // too far from its accepted neighbours for the time between
)

// Verdict is what one reading is worth.
type Verdict struct {
	Accepted bool
	// Life is the value over replaced instruments; for a disputed reading, what it
	// would be if it were right.
	Life float64
	// Why is GoingBack or Implausible for a disputed reading. Meant says in words
	// what was probably meant, with the face value that would fit; empty where
	// nothing usual does. Fits is that value, 0 where there is none.
	Why   string
	Meant string
	Fits  float64
}

// Judge says which readings to accept. The readings, in order of time, are face
// values; the replacements may come in any order, and a reading at the very
// moment of one is of the new instrument.
//
// Accepted, for each instrument, is the sequence with the most votes among
// those that never go back and never exceed a plausible speed; what an
// instrument ended at, or began with, by the word of a replacement, counts as
// two votes there. Among sequences with equally many, the one that keeps what
// was observed earlier wins, so that one strange reading never takes the word
// from the one before it, and two that agree do. A replacement whose values
// were outvoted in this way is not believed, and the life value goes on from the
// last reading accepted before it.
func Judge(readings []Reading, replaced []Replaced, kind Kind) []Verdict {
	out := make([]Verdict, len(readings))
	if len(replaced) == 0 {
		judgeOne(segment{readings: readings, out: out, kind: kind})
		return out
	}
	replaced = slices.Clone(replaced)
	slices.SortFunc(replaced, func(a, b Replaced) int {
		return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.Last, b.Last), cmp.Compare(a.First, b.First))
	})
	seg := segment{kind: kind}
	from := 0
	for _, r := range replaced {
		n, _ := slices.BinarySearchFunc(readings[from:], r.At, func(x Reading, at int64) int { return cmp.Compare(x.At, at) })
		to := from + n
		seg.readings, seg.out = readings[from:to], out[from:to]
		seg.last = &Reading{At: r.At, Value: r.Last}
		seg.life = judgeOne(seg)
		seg.first = &Reading{At: r.At, Value: r.First}
		from = to
	}
	seg.readings, seg.out, seg.last = readings[from:], out[from:], nil
	judgeOne(seg)
	return out
}

// segment is the time of one instrument.
type segment struct {
	readings []Reading
	out      []Verdict // as many
	kind     Kind
	first    *Reading // what it began with; nil for the first instrument
	last     *Reading // what it ended at; nil for the one in use
	life     float64  // the life value at which it began
}

// nodes are the readings between what the instrument began with and ended at;
// skip is 1 where the former is known.
func (s segment) nodes() (nodes []Reading, skip int) {
	if s.first == nil && s.last == nil {
		return s.readings, 0
	}
	nodes = make([]Reading, 0, len(s.readings)+2)
	if s.first != nil {
		nodes, skip = append(nodes, Reading{At: s.first.At, Value: s.first.Value, Weight: 1}), 1
	}
	nodes = append(nodes, s.readings...)
	if s.last != nil {
		nodes = append(nodes, Reading{At: s.last.At, Value: s.last.Value, Weight: 1})
	}
	return nodes, skip
}

// judgeOne fills the verdicts of one instrument and returns the life value at
// which it ended.
func judgeOne(s segment) float64 {
	nodes, skip := s.nodes()
	var marks [maxNodes]bool
	accepted := longest(nodes, s.kind, marks[:0])

	offset := 0.0
	if s.first != nil {
		offset = s.life - s.first.Value
		if i := slices.Index(accepted, true); i > 0 {
			offset = s.life - nodes[i].Value // the replacement's first value was outvoted
		}
	}
	end := s.life
	for i, ok := range accepted {
		life := nodes[i].Value + offset
		if ok {
			end = life
		}
		if j := i - skip; j >= 0 && j < len(s.out) {
			s.out[j] = Verdict{Accepted: ok, Life: life}
			if !ok {
				dispute(&s.out[j], nodes, accepted, i, s.kind)
			}
		}
	}
	return end
}

// maxNodes is the usual length of a chain; longer ones work, but allocate.
const maxNodes = 72

// longest marks the heaviest sequence of readings of which each follows the one
// before; O(n²), but O(n) where all of them do.
func longest(nodes []Reading, kind Kind, marks []bool) []bool {
	healthy := true
	for i, n := range nodes {
		healthy = healthy && kind.valid(n.Value) && (i == 0 || kind.follows(nodes[i-1], n))
		marks = append(marks, false)
	}
	if healthy {
		for i := range marks {
			marks[i] = true
		}
		return marks
	}
	var scoreRoom, prevRoom [maxNodes]int
	score := append(scoreRoom[:0], make([]int, len(nodes))...)
	prev := append(prevRoom[:0], make([]int, len(nodes))...)
	end := -1
	for i, n := range nodes {
		prev[i] = -1
		if !kind.valid(n.Value) {
			continue
		}
		for j := range i { // the earliest of equals wins
			if score[j] > score[i] && kind.follows(nodes[j], n) {
				score[i], prev[i] = score[j], j
			}
		}
		score[i] += 1 + int(n.Weight)
		if end < 0 || score[i] > score[end] {
			end = i
		}
	}
	for ; end >= 0; end = prev[end] {
		marks[end] = true
	}
	return marks
}

// follows reports whether b can come after a: not lower, and not further on than
// the plausible speed and the slack allow, nor than can be kept up for so long.
func (k Kind) follows(a, b Reading) bool {
	return !below(b.Value, a.Value) && !k.tooFast(a, b)
}

func (k Kind) tooFast(a, b Reading) bool {
	speed, slack := k.limits()
	return b.Value-a.Value > float64(speed*float64(b.At-a.At))+slack || k == Distance && Ease(b)-Ease(a) > atOnce
}

// below reports whether a is less than b by more than 1e-9 of it.
func below(a, b float64) bool { return a < b && b-a > 1e-9*b }

// neighbours are the accepted readings around reading i, nil where there is none.
func neighbours(nodes []Reading, accepted []bool, i int) (before, after *Reading) {
	for j := i - 1; j >= 0 && before == nil; j-- {
		if accepted[j] {
			before = &nodes[j]
		}
	}
	if n := slices.Index(accepted[i+1:], true); n >= 0 {
		after = &nodes[i+1+n]
	}
	return before, after
}
