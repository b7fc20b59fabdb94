package notify

import (
	"fmt"
	"strings"
	"testing"
)

// A caution is told in full once a day, and by its name in what follows that day, also
// where the one who tells has started again.
func TestCautionsInFullOnceADay(t *testing.T) {
	copper, coolant := copperRaised(), coolantRaised()
	const inFull, named = "Hot fluid scalds", "earlier today: hot fluid"
	for _, restarts := range []bool{false, true} {
		_, all := play(t, `{people: {ines: {mail: ines@larkfell.example, zone: Europe/London}}, tell: {all: {who: [ines]}}}`, restarts, []step{
			{"2031-02-19T09:00:00Z", outputs(copper)}, {"2031-02-19T23:30:00Z", outputs(coolant)},
			{"2031-02-20T00:30:00Z", outputs(copper)}, {"2031-02-20T08:00:00Z", outputs(copper)},
		})
		got := ""
		for _, d := range all {
			text := strings.Join(strings.Fields(string(d.Raw)), " ")
			got += fmt.Sprintf("%s full %t named %t; ", d.Time.Format("02 15:04"), strings.Contains(text, inFull), strings.Contains(text, named))
		}
		const want = "19 09:00 full true named false; 19 23:30 full false named true; 20 00:30 full true named false; 20 08:00 full false named true; "
		if got != want {
			t.Errorf("restarts %t: got\n%s", restarts, got)
		}
		if last := string(all[3].Raw); !strings.Contains(last, "Explained in full earlier today: hot fluid, raised vehicle.") {
			t.Errorf("restarts %t: got\n%s", restarts, last)
		}
		if second := string(all[1].Raw); !strings.Contains(second, "Coolant under pressure") || !strings.Contains(second, "Also, explained in full earlier today: hot fluid.") {
			t.Errorf("restarts %t: got\n%s", restarts, second)
		}
	}
}
