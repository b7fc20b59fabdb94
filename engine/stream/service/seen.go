package service

import (
	"cmp"
	"context"
	"slices"

	"telltale/engine"
	"telltale/engine/fleet"
	"telltale/engine/listing"
	"telltale/engine/record"
)

// What is not of one partition, or lies in the log, is narrowed here to what whoever asks may
// see. Where a partition does not answer, what is of its vehicles is left out.
var (
	seenNames = between(Inquiry[listing.Ref]{"seen", (*worker).seenNames, nil})
	groups    = between(Inquiry[fleet.Listing]{"groups", (*worker).groups, nil})
)

// seenAtOnce is how many names are asked after in one request.
const seenAtOnce = 1000

// Seen says which of the names are or were those of vehicles that may be seen, by a
// Question.Sees. What comes with an *Incomplete may lack some.
func (s *Service) Seen(ctx context.Context, sees string, names []string) (map[string]bool, error) {
	if _, err := s.sees.Of(sees); err != nil {
		return nil, err
	}
	out := map[string]bool{}
	var missing error
	for some := range slices.Chunk(slices.Compact(slices.Sorted(slices.Values(names))), seenAtOnce) {
		var refs []listing.Ref
		for _, n := range some {
			if refs = append(refs, listing.Ref{Key: n, Home: n}); sees == "" {
				out[n] = true
			}
		}
		for hops := 0; sees != "" && len(refs) > 0 && hops < record.MostNames; hops++ {
			list, err := gather(ctx, s, seenNames, Question{Sees: sees}, refs)
			missing, refs = cmp.Or(missing, err), refs[:0]
			for _, r := range list {
				if r.Home != "" {
					refs = append(refs, r)
				} else {
					out[r.Key] = true
				}
			}
		}
	}
	return out, missing
}

// seenNames gives back those of the names that are of vehicles that may be seen, without a home,
// and those of which another partition knows, with the name that leads there.
func (w *worker) seenNames(q Question) (out []listing.Ref) {
	a := w.asked(q)
	for _, r := range q.Refs {
		if home := r.Home; a.Sees(home) {
			out = append(out, listing.Ref{Key: r.Key})
		} else if to := a.NamesOf(home); to != nil && to[0] != home {
			out = append(out, listing.Ref{Key: r.Key, Home: to[0]})
		}
	}
	return out
}

// seenOf leaves those of a list that are of vehicles that may be seen.
func seenOf[T any](ctx context.Context, s *Service, q Question, list []T, name func(*T) string) ([]T, error) {
	if q.Sees == "" {
		return list, nil
	}
	names := make([]string, len(list))
	for i := range list {
		names[i] = name(&list[i])
	}
	seen, err := s.Seen(ctx, q.Sees, names)
	var out []T
	for i := range list {
		if seen[names[i]] {
			out = append(out, list[i])
		}
	}
	return out, err
}

func renamedSeen(ctx context.Context, s *Service, q Question, list []engine.EarlierName) ([]engine.EarlierName, error) {
	return seenOf(ctx, s, q, list, func(n *engine.EarlierName) string { return n.Is })
}

// groups are those of the fleet's samples that components of vehicles that are seen fall into.
func (w *worker) groups(q Question) (out []fleet.Listing) {
	a := w.fleet(q)
	w.each(a.Homes(""), func(home string) { out = append(out, a.GroupsOf(home)...) })
	return fleet.MergeGroups(out)
}

// inForce are the groups of the baselines in force. Who does not see all has those that their
// vehicles are judged by, without the samples of others.
func inForce(ctx context.Context, s *Service, q Question, _ []fleet.Listing) ([]fleet.Listing, error) {
	_, set, err := s.log.BaselinesInForce(ctx)
	if err != nil || q.Sees == "" {
		return set.List(), err
	}
	theirs, missing := groups.Of(ctx, s, Question{Sees: q.Sees})
	list := fleet.Among(set.List(), fleet.MergeGroups(theirs))
	seen, err := s.Seen(ctx, q.Sees, fleet.Outlying(list))
	return fleet.Narrowed(list, seen), cmp.Or(missing, err)
}
