package alarm

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"telltale/engine/event"
)

// Whatever is asked for, no alarm is put aside for longer than its stage allows, nor for
// longer than was asked for; and the worse of two stages never for longer.
func TestShelfEnds(t *testing.T) {
	now := time.Date(2031, 2, 20, 8, 0, 0, 0, time.UTC)
	rapid.Check(t, func(rt *rapid.T) {
		a := Alarm{Task: rapid.Bool().Draw(rt, "task"), Stage: rapid.IntRange(1, 3).Draw(rt, "stage")}
		asked := now.Add(time.Duration(rapid.Int64Range(1, 1000*24*3600).Draw(rt, "seconds")) * time.Second)
		d := &event.AnswerData{Until: asked.Format(time.RFC3339), By: "ines", Why: "ordered"}
		until, err := a.Shelve(d, now, event.ID{ID: "a"})
		if err != nil {
			rt.Fatal(err)
		}
		days := ShelfDays(a.StageName(a.Stage))
		if last := now.AddDate(0, 0, days); until.After(last) || until.After(asked) || until.Before(asked) && !until.Equal(last) {
			rt.Fatalf("asked until %s, put aside until %s, at most %s", asked, until, last)
		}
		if a.ShelvedUntil != until.Unix() || !a.EndShelf(until.Unix()) || a.ShelvedUntil != 0 {
			rt.Fatal("it does not end then")
		}
		if a.Stage > 1 && days > ShelfDays(a.StageName(a.Stage-1)) {
			rt.Fatalf("%d days at stage %d", days, a.Stage)
		}
	})
	if ShelfDays(Normal) != 0 || ShelfDays("") != 0 {
		t.Error("what is normal is put aside")
	}
}

// A warning that nobody answers for, or for no reason, stays.
func TestWarningShelved(t *testing.T) {
	now := time.Date(2031, 2, 20, 8, 0, 0, 0, time.UTC)
	for _, d := range []event.AnswerData{{By: "ines"}, {Why: "ordered"}, {}} {
		a := Alarm{Stage: 3}
		d.Until = "2031-02-21T08:00:00Z"
		if _, err := a.Shelve(&d, now, event.ID{}); err == nil || a.ShelvedUntil != 0 {
			t.Errorf("%+v: put aside", d)
		}
		a.Stage = 2
		if _, err := a.Shelve(&d, now, event.ID{}); err != nil {
			t.Errorf("%+v: %v", d, err)
		}
	}
}
