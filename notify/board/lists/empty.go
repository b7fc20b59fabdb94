package lists

import (
	"context"

	"telltale/notify/board/frame"
)

// nothing says why a list has no line, and what to do: an empty list in place of an answer
// would say that all is well. well is what it says where all is.
type nothing struct {
	Words, Do string
	Link      act
}

// nothingOn finds out why; missing are the partitions that did not answer.
func (s site) nothingOn(ctx context.Context, r *frame.Request, a ask, path, well string, missing []int) (*nothing, error) {
	if len(missing) > 0 {
		return &nothing{Words: wordNoneSaid}, nil
	}
	h := s.Service.HealthOfAll(ctx)
	all, err := s.vehiclesPage(ctx, r, ask{Limit: 1})
	if _, err = frame.Missing(err); err != nil {
		return nil, err
	}
	switch {
	case !h.Ready && len(h.Unanswered) == 0:
		return &nothing{Words: wordStarting, Do: wordStartingDo}, nil
	case h.Book == "" && path != vehiclesPath:
		return &nothing{Words: wordNoRules, Do: wordRulesDo}, nil
	case all.Total == 0:
		return &nothing{Words: wordNoVehicles, Do: wordVehiclesDo}, nil
	case a.filtered():
		return &nothing{Words: wordNoMatch, Link: act{wordShowAll, ask{View: a.View}.at(path)}}, nil
	}
	return &nothing{Words: well}, nil
}
