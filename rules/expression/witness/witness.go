// Package witness finds texts by which patterns can be told apart: one for each way in which
// some regular expressions come out together.
package witness

import (
	"encoding/binary"
	"maps"
	"regexp/syntax"
	"slices"
	"strings"
	"unicode/utf8"
)

// Tests are the automata of some patterns.
type Tests []*syntax.Prog

// mostTests and mostStates bound the work on one field. What lies beyond is not told apart.
const mostTests, mostStates = 40, 4000

// Compile makes automata of patterns of package regexp, as far as they are some and not too
// many.
func Compile(list []string) (out Tests) {
	for _, p := range list[:min(len(list), mostTests)] {
		if re, err := syntax.Parse(p, syntax.Perl); err == nil {
			if prog, err := syntax.Compile(re.Simplify()); err == nil {
				out = append(out, prog)
			}
		}
	}
	return out
}

// state is how far each automaton has got with a text: where it stands, or that it matched.
type state struct {
	text string
	last rune // -1 at the beginning
	at   [][]uint32
	done uint64 // that matched, by number
}

// Texts are texts for the outcomes that are not seen yet, the shortest of each: all
// states that the automata together can reach are walked, breadth first.
func (p Tests) Texts(seen map[uint64]bool) (out []string) {
	if seen == nil {
		seen = map[uint64]bool{}
	}
	alphabet := p.alphabet()
	first := state{last: -1, at: make([][]uint32, len(p))}
	queue, known := []state{first}, map[string]bool{first.key(): true}
	for len(queue) > 0 {
		s := queue[0]
		queue = queue[1:]
		if v := p.step(&s, -1).done; !seen[v] {
			seen[v] = true
			out = append(out, s.text)
		}
		for _, r := range alphabet {
			next := p.step(&s, r)
			if key := next.key(); !known[key] && len(known) < mostStates {
				known[key] = true
				queue = append(queue, next)
			}
		}
	}
	return out
}

// Outcome tells, by a bit each, which of the patterns a text matches.
func (p Tests) Outcome(text string) uint64 {
	s := state{last: -1, at: make([][]uint32, len(p))}
	for _, r := range text {
		s = p.step(&s, r)
	}
	return p.step(&s, -1).done
}

// step takes in one rune, or the end (-1).
func (p Tests) step(s *state, r rune) state {
	next := state{text: s.text, last: r, at: make([][]uint32, len(p)), done: s.done}
	if r >= 0 {
		next.text += string(r)
	}
	for i, prog := range p {
		if s.done>>i&1 == 1 {
			continue
		}
		reached := map[uint32]bool{}
		for _, at := range append(s.at[i], uint32(prog.Start)) { // it may begin anywhere
			follow(prog, at, syntax.EmptyOpContext(s.last, r), reached)
		}
		for at := range reached {
			switch in := &prog.Inst[at]; {
			case in.Op == syntax.InstMatch:
				next.done |= 1 << i
			case isRune(in) && r >= 0 && in.MatchRune(r):
				next.at[i] = append(next.at[i], in.Out)
			}
		}
		slices.Sort(next.at[i])
		next.at[i] = slices.Compact(next.at[i])
		if next.done>>i&1 == 1 {
			next.at[i] = nil
		}
	}
	return next
}

func isRune(in *syntax.Inst) bool {
	return in.Op == syntax.InstRune || in.Op == syntax.InstRune1 || in.Op == syntax.InstRuneAny || in.Op == syntax.InstRuneAnyNotNL
}

// follow adds where the automaton gets to without a rune.
func follow(prog *syntax.Prog, at uint32, here syntax.EmptyOp, reached map[uint32]bool) {
	if reached[at] {
		return
	}
	reached[at] = true
	switch in := &prog.Inst[at]; in.Op {
	case syntax.InstAlt, syntax.InstAltMatch:
		follow(prog, in.Out, here, reached)
		follow(prog, in.Arg, here, reached)
	case syntax.InstCapture, syntax.InstNop:
		follow(prog, in.Out, here, reached)
	case syntax.InstEmptyWidth:
		if syntax.EmptyOp(in.Arg)&^here == 0 {
			follow(prog, in.Out, here, reached)
		}
	}
}

// key tells states apart that go on differently.
func (s *state) key() string {
	b := binary.AppendUvarint(nil, s.done)
	b = append(b, byte(syntax.EmptyOpContext(s.last, 'a')), byte(syntax.EmptyOpContext(s.last, ' ')))
	for _, at := range s.at {
		b = binary.AppendUvarint(b, uint64(len(at)))
		for _, v := range at {
			b = binary.AppendUvarint(b, uint64(v))
		}
	}
	return string(b)
}

// alphabet has a rune for each set of runes that no pattern tells apart, letters and
// digits rather than signs where there is a choice.
func (p Tests) alphabet() []rune {
	sets := map[string]rune{}
	for _, r := range p.edges() {
		if !utf8.ValidRune(r) {
			continue
		}
		var b strings.Builder
		for _, prog := range p {
			for i := range prog.Inst {
				if in := &prog.Inst[i]; isRune(in) {
					b.WriteByte("ny"[btoi(in.MatchRune(r))])
				}
			}
		}
		b.WriteByte("ny"[btoi(syntax.IsWordChar(r))])
		if _, ok := sets[b.String()]; !ok {
			sets[b.String()] = r
		}
	}
	return slices.Sorted(maps.Values(sets))
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// edges are the runes at which what a pattern takes begins or ends, after those that read
// well.
func (p Tests) edges() []rune {
	out := []rune("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 -\n")
	for _, prog := range p {
		for i := range prog.Inst {
			if in := &prog.Inst[i]; isRune(in) {
				for _, r := range in.Rune {
					out = append(out, r, r+1)
				}
			}
		}
	}
	return out
}
