package ask

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/nats-io/nats.go"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/alarm"
	"telltale/engine/stream/service"
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

// whyEmpty says what hides behind an empty list: no rules, or a tag that no vehicle has.
// It is nil where nothing does.
func whyEmpty(ctx context.Context, nc *nats.Conn, tag string) error {
	now, err := service.Moments.Ask(ctx, nc, service.Question{})
	switch {
	case err != nil:
		return err
	case len(now) > 0 && now[0].Book == "":
		return cli.Hint(errors.New("no rules are in force"), "telltale adopt")
	}
	if tag == "" {
		return nil
	}
	vehicles, err := service.Register.Ask(ctx, nc, service.Question{})
	if err != nil {
		return err
	}
	used := map[string]bool{}
	for _, v := range vehicles {
		for name, value := range v.Tags {
			used[name+"="+value] = true
		}
	}
	if used[tag] {
		return nil
	}
	tags := slices.Sorted(maps.Keys(used))
	hint := "no vehicle has any tag"
	if len(tags) > 0 {
		hint = "tags in use: " + strings.Join(tags[:min(len(tags), 20)], ", ")
	}
	return cli.Hint(fmt.Errorf("no vehicle has the tag %s", tag), hint)
}
