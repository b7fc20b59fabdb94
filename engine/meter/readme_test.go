package meter

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"telltale/rules/dataalarm"
	"telltale/rules/english"
)

var update = flag.Bool("update", false, "write the table of data alarms anew")

// dataAlarms are the alarms on data as rules/README.md has them, with the thresholds that
// the program goes by.
func dataAlarms() string {
	km := func(metres float64) string { return english.Amount(metres, "km") }
	s := dataalarm.Usual.Silent
	rows := [][4]string{
		{"data: silent", fmt.Sprintf("No reading for %d days and for %s times the usual gap, which three in four of its last %d gaps stay within; the meter must have been read on at least %d days. Counted from the day the vehicle was registered or came back into service. While a backlog arrives (readings more than %s old, or after the service was off for over %d hours), no vehicle is called silent until %d hours after the last of it.",
			s.Least/day, english.Number(s.Times), silentDays-1, silentCount, "a day", (day+day/24)/3600, settle/3600),
			"the next reading", "`silent: {after: 14 days, times usual gap: 4}`, each from 1 to 365 days and 1 to 100 times; `silent: off`"},
		{"data: meter going back", "A reading that is at least 100 km or 10 h below one accepted before it. Less than that, but more than one whole km, mile or hour, ends with the next reading that fits.",
			"a replaced instrument, the wrong reading voided, the answer `accept` (the lower readings are right), or `acknowledge` once a later reading fits the higher ones", "`meter going back: off`: nobody is told, but the reading is still disputed"},
		{"data: implausible reading", fmt.Sprintf("More than %s an hour since the reading before with %s to spare, more than %s a day with %s to spare, over %s in all; on an hour meter, faster than the clock with %s to spare. Also a reading dated before the vehicle came into service, or a value of a replaced instrument that the readings contradict.",
			km(topSpeed*3600), km(slackDistance), km(sustained*day), km(atOnce), km(farthestRun), english.Amount(slackHours, "h")),
			"a reading that fits", "`implausible reading: off`: nobody is told, but the reading is still disputed"},
		{"data: not their vehicle", "Somebody who gets messages about the vehicle answers that it is not theirs.",
			"the register no longer names them, or somebody acknowledges it", "no"},
	}
	var b strings.Builder
	b.WriteString("\n| alarm | raised, as an advisory | ends with | setting |\n| --- | --- | --- | --- |\n")
	for _, r := range rows {
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s |\n", r[0], r[1], r[2], r[3])
	}
	b.WriteString("\nAll thresholds are common practice, no source. A book cannot change what is plausible, because due points depend on it.\n\n")
	return b.String()
}

// The table in rules/README.md is what the thresholds are; `go test -update` writes it.
func TestReadmeTellsDataAlarms(t *testing.T) {
	const path, begin, end = "../../rules/README.md", "<!-- data alarms -->\n", "<!-- end of data alarms -->\n"
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(raw), begin)
	got, after, ok2 := strings.Cut(rest, end)
	if !ok || !ok2 {
		t.Fatal("rules/README.md has no place for the data alarms")
	}
	if *update {
		if err := os.WriteFile(path, []byte(before+begin+dataAlarms()+end+after), 0o644); err != nil {
			t.Fatal(err)
		}
	} else if got != dataAlarms() {
		t.Error("the data alarms in rules/README.md are stale: run go test ./engine/meter -update")
	}
}
