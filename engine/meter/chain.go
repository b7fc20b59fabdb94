package meter

import (
	"cmp"
	"math"
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
	// Why is GoingBack or Implausible for a disputed reading, Meant what was probably
	// meant; the zero Meant where nothing usual fits.
	Why   string
	Meant Meant
}

// Meant is what a reading was probably meant to be: which usual slip was made, in words,
// and the face value that would fit, in metres or seconds.
type Meant struct {
	Slip string
	Fits float64
}

// Words say it, with the value as people read it: "a digit is missing: 81,300 km would
// fit"; "" where nothing fits.
func (m Meant) Words(amount func(float64) string) string {
	if m.Slip == "" {
		return ""
	}
	return m.Slip + ": " + amount(m.Fits) + " would fit"
}

// Judged is what readings are worth together.
type Judged struct {
	Verdicts []Verdict // of the readings, in their order
	// Backs are where the readings of the instrument in use go back, the one that is
	// open first.
	Backs []Back
	// Doubted are values of replacements that the readings speak against.
	Doubted []Doubted
}

// Doubted is a value of a replacement that does not fit the readings.
type Doubted struct {
	Of    int  // the replacement, as it was given
	First bool // what the new instrument began with; else what the old one ended at
	Verdict
}

// Judge says which readings to accept. The readings, in order of time, are face
// values; the replacements may come in any order, and a reading at the very
// moment of one is of the new instrument.
//
// Accepted, for each instrument, is the sequence with the most votes among
// those that never go back and never exceed a plausible speed; what an
// instrument ended at, or began with, by the word of a replacement, counts as
// half a vote there, so that a slip in it never outweighs a reading. Among sequences
// with equally many, the one that keeps what was observed earlier wins, so that one
// strange reading never takes the word from the one before it. Two that agree do, but
// lower readings take it from no more than one higher one, which the readings before it
// contradict as well: see [Back]. A replacement whose values were outvoted is not
// believed, and the life value goes on from the last reading accepted before it.
func Judge(readings []Reading, replaced []Replaced, kind Kind) Judged {
	out := Judged{Verdicts: make([]Verdict, len(readings))}
	seg := segment{kind: kind}
	from := 0
	for _, of := range inOrder(replaced) {
		r := replaced[of]
		n, _ := slices.BinarySearchFunc(readings[from:], r.At, func(x Reading, at int64) int { return cmp.Compare(x.At, at) })
		to := from + n
		seg.readings, seg.out = readings[from:to], out.Verdicts[from:to]
		seg.last = value(r.At, r.Last)
		end := judgeOne(seg)
		out.doubt(end.last, of, false)
		out.doubt(end.first, seg.of, true)
		seg = segment{kind: kind, first: value(r.At, r.First), of: of, life: end.life, later: true}
		from = to
	}
	seg.readings, seg.out = readings[from:], out.Verdicts[from:]
	end := judgeOne(seg)
	out.doubt(end.first, seg.of, true)
	for _, b := range end.backs {
		out.Backs = append(out.Backs, Back{High: b.High + from, Low: b.Low + from, Open: b.Open})
	}
	return out
}

func (j *Judged) doubt(v *Verdict, of int, first bool) {
	if v != nil {
		j.Doubted = append(j.Doubted, Doubted{of, first, *v})
	}
}

// inOrder are the replacements' indices in order of time.
func inOrder(replaced []Replaced) []int {
	order := make([]int, len(replaced))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		a, b := replaced[i], replaced[j]
		return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.Last, b.Last), cmp.Compare(a.First, b.First))
	})
	return order
}

// value is what a replacement says that an instrument showed; nil where it does not.
func value(at int64, v float64) *Reading {
	if math.IsNaN(v) {
		return nil
	}
	return &Reading{At: at, Value: v, Weight: halfVote}
}

// segment is the time of one instrument.
type segment struct {
	readings []Reading
	out      []Verdict // as many
	kind     Kind
	later    bool     // it is not the first instrument
	of       int      // the replacement that it began with
	first    *Reading // what it began with; nil where nobody says
	last     *Reading // what it ended at; nil for the one in use, and where nobody says
	life     float64  // the life value at which it began
}

// ended is what became of an instrument: the life value at which it ended, what of its
// replacements does not fit, and where its readings go back, by their index.
type ended struct {
	life        float64
	first, last *Verdict
	backs       []Back
}

// nodes are the readings between what the instrument began with and ended at;
// skip is 1 where the former is known.
func (s segment) nodes() (nodes []Reading, skip int) {
	if s.first == nil && s.last == nil {
		return s.readings, 0
	}
	nodes = make([]Reading, 0, len(s.readings)+2)
	if s.first != nil {
		nodes, skip = append(nodes, *s.first), 1
	}
	nodes = append(nodes, s.readings...)
	if s.last != nil {
		nodes = append(nodes, *s.last)
	}
	return nodes, skip
}

// judgeOne fills the verdicts of one instrument.
func judgeOne(s segment) ended {
	nodes, skip := s.nodes()
	var marks [maxNodes]bool
	accepted := longest(nodes, s.kind, marks[:0])
	var end ended
	if slices.Contains(accepted, false) {
		end.backs = s.backs(nodes, accepted, skip)
	}
	offset := s.offset(nodes, accepted)
	end.life = s.life
	for i, ok := range accepted {
		v := Verdict{Accepted: ok, Life: nodes[i].Value + offset}
		if ok {
			end.life = v.Life
		} else {
			dispute(&v, nodes, accepted, i, s.kind)
		}
		switch j := i - skip; {
		case j >= 0 && j < len(s.out):
			s.out[j] = v
		case ok:
		case j < 0:
			end.first = &v
		default:
			end.last = &v
		}
	}
	return end
}

// offset is what the life values lie over the face values: those of a later instrument go
// on from where the one before ended, at what it began with or, where that was outvoted
// or nobody says, at its first reading.
func (s segment) offset(nodes []Reading, accepted []bool) float64 {
	i := slices.Index(accepted, true)
	switch {
	case !s.later:
		return 0
	case i >= 0:
		return s.life - nodes[i].Value
	case s.first != nil:
		return s.life - s.first.Value
	}
	return s.life
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
		score[i] += n.votes()
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
