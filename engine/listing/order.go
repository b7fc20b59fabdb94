package listing

import (
	"iter"
	"slices"
	"sort"
)

// order keeps elements in order, in runs of a bounded length: one of 35,000 would be moved
// by half for each element that comes or goes.
type order[T any] struct {
	compare func(a, b T) int
	runs    [][]T // none of them empty
	n       int
}

const longestRun = 256

func newOrder[T any](compare func(a, b T) int) *order[T] { return &order[T]{compare: compare} }

// at is the run and the place in it of the first element for which behind is true, which it
// must be for all that follow.
func (o *order[T]) at(behind func(T) bool) (run, i int) {
	run = sort.Search(len(o.runs), func(r int) bool { return behind(o.runs[r][len(o.runs[r])-1]) })
	if run == len(o.runs) {
		return run, 0
	}
	return run, sort.Search(len(o.runs[run]), func(i int) bool { return behind(o.runs[run][i]) })
}

func (o *order[T]) put(e T) {
	o.n++
	run, i := o.at(func(t T) bool { return o.compare(t, e) >= 0 })
	switch {
	case len(o.runs) == 0:
		o.runs = append(o.runs, []T{e})
		return
	case run == len(o.runs):
		run--
		i = len(o.runs[run])
	}
	o.runs[run] = slices.Insert(o.runs[run], i, e)
	if r := o.runs[run]; len(r) > longestRun {
		half := len(r) / 2
		o.runs = slices.Insert(o.runs, run+1, slices.Clone(r[half:]))
		o.runs[run] = slices.Clip(slices.Clone(r[:half]))
	}
}

func (o *order[T]) drop(e T) {
	run, i := o.at(func(t T) bool { return o.compare(t, e) >= 0 })
	if run == len(o.runs) || o.compare(o.runs[run][i], e) != 0 {
		return
	}
	o.n--
	if o.runs[run] = slices.Delete(o.runs[run], i, i+1); len(o.runs[run]) == 0 {
		o.runs = slices.Delete(o.runs, run, run+1)
	}
}

// from are the elements from the first one on for which behind is true.
func (o *order[T]) from(behind func(T) bool) iter.Seq[T] {
	return func(yield func(T) bool) {
		run, i := o.at(behind)
		for ; run < len(o.runs); run, i = run+1, 0 {
			for _, e := range o.runs[run][i:] {
				if !yield(e) {
					return
				}
			}
		}
	}
}

// until are those before the first one for which behind is true, the last first.
func (o *order[T]) until(behind func(T) bool) iter.Seq[T] {
	return func(yield func(T) bool) {
		run, i := o.at(behind)
		if run == len(o.runs) {
			run, i = run-1, -1
		}
		for ; run >= 0; run, i = run-1, -1 {
			if i < 0 {
				i = len(o.runs[run])
			}
			for i--; i >= 0; i-- {
				if !yield(o.runs[run][i]) {
					return
				}
			}
		}
	}
}

func (o *order[T]) all(yield func(T) bool) {
	for _, r := range o.runs {
		for _, e := range r {
			if !yield(e) {
				return
			}
		}
	}
}
