package sample

import (
	"fmt"
	"math"
	"strings"
	"time"

	"telltale/engine/interval"
	"telltale/engine/record"
	"telltale/rules/english"
)

// workLine is the work in a line: when and what.
func workLine(s *record.Service, zone *time.Location) string {
	return interval.DateOf(time.Unix(0, s.At), zone).String() + ": " + s.What()
}

func (w *Work) words() string {
	var parts []string
	say := func(what string, names []string) {
		if len(names) > 0 {
			parts = append(parts, what+": "+strings.Join(names, ", "))
		}
	}
	say("no longer standing", w.Cleared)
	say("still standing", w.Standing)
	if w.Early {
		parts = append(parts, "too early to tell more: the fluid has run less than half of what it had run before")
	} else {
		pace := map[int][]string{}
		for i := range w.Before {
			if b := &w.Before[i]; b.Rate != nil && b.RateBefore != nil {
				pace[b.pace()] = append(pace[b.pace()], b.Title)
			}
		}
		say("made more slowly since", pace[-1])
		say("made faster since", pace[1])
		say("made as fast as before, as far as the method can tell", pace[0])
	}
	if parts == nil {
		return "Whether it worked cannot be told: nothing stood before, and how fast the metals were made is not known."
	}
	return english.Capital(strings.Join(parts, "; ")) + "."
}

// madeWords say what was made since the work, and how sure that is.
func (b *BeforeAndNow) madeWords() string {
	exact := english.Short(*b.Made) + ", give or take " + english.Short(*b.MadeWithin) + " by the method alone"
	if math.Abs(*b.Made) <= *b.MadeWithin {
		return "made since: no more than the method can miss (" + exact + ")"
	}
	return "made since: " + exact
}

// pace is 1 where the analyte is made faster than before the work, -1 where it is made
// more slowly, 0 where the method alone may account for the difference.
func (b *BeforeAndNow) pace() int {
	d := *b.Rate - *b.RateBefore
	switch {
	case b.RateWithin != nil && math.Abs(d) <= *b.RateWithin:
		return 0
	case d < 0:
		return -1
	}
	return 1
}

func (w *Work) write(t *english.Lines) {
	t.Line(1, "work since the sample before: %s", strings.Join(w.Done, "; "))
	for _, b := range w.Before {
		s := fmt.Sprintf("%s: %s before", b.Title, english.Short(b.Before))
		if b.Left != nil {
			s += ", " + english.Short(*b.Left) + " left behind by the drain"
		}
		s += ", " + english.Short(b.Now) + " now"
		if b.Expected != nil {
			s += ", " + english.Short(*b.Expected) + " expected"
		}
		if b.Made != nil && b.MadeWithin != nil {
			s += "; " + b.madeWords()
		}
		if b.RateBefore != nil && b.Rate != nil && w.Run != nil {
			s += fmt.Sprintf("; made in %s: %s before, %s since", w.Per, english.Short(*b.RateBefore), english.Short(*b.Rate))
		}
		t.Line(2, "%s", s)
	}
	t.Line(2, "%s", w.Says)
}
