package ask

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/alarm"
	"telltale/rules/source"
)

// dueStages and alarmStages are what --stage may name, the worst first.
var (
	dueStages   = []string{"overdue", "due", "soon", "later"}
	alarmStages = []string{"warning", "overdue", "caution", "due", "advisory", "soon"}
)

// onlyStages are the stages that a list is to show; none for all.
type onlyStages []string

func (o onlyStages) has(s alarm.Stage) bool { return len(o) == 0 || slices.Contains(o, listStage(s)) }

// stagesOf reads what --stage gives, as "overdue,due".
func stagesOf(text string, known []string) (only onlyStages, err error) {
	for name := range strings.SplitSeq(text, ",") {
		if name = strings.TrimSpace(name); name == "" {
			continue
		}
		if !slices.Contains(known, name) {
			return nil, cli.Exit(2, cli.Hint(fmt.Errorf("--stage %q is not a stage of this list", name), DidYouMean(source.Near(name, known), slices.Clone(known))))
		}
		only = append(only, name)
	}
	return only, nil
}

// worstFirst puts alarms in order of stage; those of one stage keep theirs.
func worstFirst(list []alarm.Listed) {
	slices.SortStableFunc(list, func(a, b alarm.Listed) int { return cmp.Compare(stageOrder(a.To), stageOrder(b.To)) })
}

// stageOrder is the place of a stage, the worst first.
func stageOrder(s alarm.Stage) int {
	if i := slices.Index(alarmStages, string(s)); i >= 0 {
		return i
	}
	return len(alarmStages)
}
