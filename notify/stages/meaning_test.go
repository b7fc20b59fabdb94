package stages

import (
	"slices"
	"testing"

	"telltale/engine/alarm"
)

func TestMeanings(t *testing.T) {
	for _, s := range slices.Concat(alarm.RuleStages[:], alarm.TaskStages[:]) {
		if Meaning(s) == "" || Of(s).Head == "" {
			t.Errorf("%s has no meaning, or no word", s)
		}
	}
	for _, s := range []alarm.Standing{alarm.StandsNormal, alarm.Unacknowledged, alarm.Acknowledged, alarm.Returned, alarm.Shelved, alarm.OutOfService} {
		if !slices.ContainsFunc(Standings, func(o Standing) bool { return o.Standing == s && o.Meaning != "" }) {
			t.Errorf("standing %q has no meaning", s)
		}
	}
	for _, c := range []alarm.Change{alarm.Raised, alarm.Worsened, alarm.Eased, alarm.Cleared, alarm.Withdrawn, alarm.NowAcknowledged, alarm.NowShelved, alarm.Unshelved} {
		if !slices.ContainsFunc(Changes, func(o Change) bool { return o.Change == c && o.Meaning != "" }) {
			t.Errorf("change %q has no meaning", c)
		}
	}
}
