package frame

import (
	"testing"

	"telltale/engine/alarm"
	"telltale/engine/doubt"
)

func TestAdvise(t *testing.T) {
	for _, c := range []struct{ rule, advise, want string }{
		{"iron", "Look at the magnet.", "Look at the magnet."},
		{doubt.GoingBack, "Look at the instrument. If it was replaced: telltale meter replaced van-1", wordDoBack},
		{"data: implausible value", "Take a wrong one out: telltale undo van-1 x", wordDoOdd},
	} {
		if got := Advise(&alarm.Transition{Rule: c.rule, Advise: c.advise}); got != c.want {
			t.Errorf("%s: %q, want %q", c.rule, got, c.want)
		}
	}
}
