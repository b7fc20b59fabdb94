package source

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// nearWork bounds how many names a Reader compares for its hints, so that a file
// of many misspelt names is still checked in linear time.
const nearWork = 50_000

// nearest finds the candidate that name was most likely meant to be, or "".
func (r *Reader) nearest(name string, candidates []string) string {
	if len(name) > 64 {
		return ""
	}
	if plain := latinised(name); plain != name && slices.Contains(candidates, plain) {
		return plain
	}
	best, least := "", max(1, len(name)/3)+1
	for _, c := range candidates {
		if r.near--; r.near < 0 {
			return best
		}
		if c == name || len(c) > 64 {
			continue
		}
		if d := distance(strings.ToLower(name), strings.ToLower(c)); d < least {
			best, least = c, d
		}
	}
	return best
}

// Near finds the candidate that name was most likely meant to be, or "" where none
// is near.
func Near(name string, candidates []string) string {
	return NewReader(Cures{}).nearest(name, candidates)
}

// Nearest are the candidates that name may have been meant to be, the nearest first, at most
// so many.
func Nearest(name string, candidates []string, most int) (out []string) {
	if len(name) > 64 {
		return nil
	}
	type near struct {
		name string
		d    int
	}
	var all []near
	plain := bare(latinised(name))
	least := max(1, len(plain)/3)
	for _, c := range candidates {
		if c == name || len(c) > 64 {
			continue
		}
		// It takes as many edits at least as the lengths differ.
		other := bare(c)
		if max(len(other)-len(plain), len(plain)-len(other)) > least {
			continue
		}
		if d := distance(plain, other); d <= least {
			all = append(all, near{c, d})
		}
	}
	slices.SortFunc(all, func(a, b near) int { return cmp.Or(cmp.Compare(a.d, b.d), strings.Compare(a.name, b.name)) })
	for _, n := range all[:min(len(all), most)] {
		out = append(out, n.name)
	}
	return out
}

// bare is a name without what people leave out or write otherwise.
func bare(name string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == ' ' || r == '-' || r == '_' || r == '.' || r == '/':
			return -1
		case r >= 'A' && r <= 'Z':
			return r + 'a' - 'A'
		}
		return r
	}, name)
}

// DidYouMean is a hint that names a near candidate, or else says other. A fault with such
// a hint marks the name alone, which is how it comes by its Fix.
func (r *Reader) DidYouMean(name string, candidates []string, other string) string {
	if c := r.nearest(name, candidates); c != "" {
		return fmt.Sprintf(didYouMean, c) + foreign(name, c)
	}
	return other
}

const didYouMean = "did you mean `%s`?"

// meant is the name that a hint of DidYouMean proposes.
func meant(hint string) (name string, ok bool) {
	before, after, _ := strings.Cut(didYouMean, "%s")
	if name, ok = strings.CutPrefix(hint, before); !ok {
		return "", false
	}
	name, _, ok = strings.Cut(name, after)
	return name, ok
}

// foreign names the first letter of a name that looks like one of the candidate's, but is
// of another script.
func foreign(name, candidate string) string {
	if latinised(name) != candidate {
		return ""
	}
	for _, r := range name {
		if l, ok := likeLatin[r]; ok {
			return fmt.Sprintf(" its %c is the %s letter %U, not the Latin %c", r, script(r), r, l)
		}
	}
	return ""
}

// distance counts the edits (insert, drop, change, swap of neighbours) between a and b.
func distance(a, b string) int {
	before, prev := make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row := make([]int, len(b)+1)
		row[0] = i
		for j := 1; j <= len(b); j++ {
			differs := 1
			if a[i-1] == b[j-1] {
				differs = 0
			}
			row[j] = min(prev[j]+1, row[j-1]+1, prev[j-1]+differs)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, prev = prev, row
	}
	return prev[len(b)]
}
