package rulebook

import (
	"context"
	"slices"

	"telltale/notify/board/rulebook/ran"
	"telltale/rules"
)

// mostCases bounds how many are run for one page.
const mostCases = 40

// cases runs the cases that speak of a part, and those of its file that speak of all. more
// is how many there are beyond those that were run.
func (s *site) cases(ctx context.Context, b *book, name, in string) (out []ran.Case, more int, err error) {
	var some []*rules.Case
	for _, c := range b.Cases {
		if slices.Contains(c.Of, name) || len(c.Of) == 0 && c.At.File == in {
			some = append(some, c)
		}
	}
	more = max(0, len(some)-mostCases)
	out, err = ran.Run(ctx, s.Service, b.Book, some[:len(some)-more])
	return out, more, err
}
