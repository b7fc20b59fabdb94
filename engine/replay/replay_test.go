package replay_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/replay"
	"telltale/rules"
)

const book = `book: 1
tasks:
  oil: {title: Change the oil, every: {distance: 1000 km}, unknown history: from first reading}
`

const lines = `{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":"r-1","subject":"bus-07","time":"2031-01-03T06:00:00Z","data":{"meter":"odometer","value":1000,"unit":"km"}}

nonsense
{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":"r-2","subject":"bus-07","time":"2031-01-05T06:00:00Z","data":{"meter":"odometer","value":2000,"unit":"km"}}
`

func file(t *testing.T) replay.File {
	t.Helper()
	register, err := intake.Register("vehicles.yaml", []byte("vehicles:\n  bus-07: {kind: minibus, meters: {odometer: distance}}\n"), time.Unix(0, 0))
	if err != nil {
		t.Fatal(err)
	}
	return replay.File{Register: register, Until: time.Date(2031, 1, 7, 0, 0, 0, 0, time.UTC)}
}

// The register is dated with the first event, midnights come before what passes
// them, and a line that cannot be read is told and passed by.
func TestEach(t *testing.T) {
	f := file(t)
	var got []string
	f.Damaged = func(line int, _ error) error {
		got = append(got, fmt.Sprintf("%d damaged", line))
		return nil
	}
	err := f.Each(strings.NewReader(lines), func(ev event.Event) error {
		got = append(got, fmt.Sprintf("%d %s %s", ev.Line, ev.Kind, ev.Recorded.Format("01-02T15:04")))
		return nil
	})
	want := []string{
		"0 vehicle 01-03T06:00", "1 reading 01-03T06:00", "3 damaged", "0 tick 01-04T00:00", "0 tick 01-05T00:00",
		"4 reading 01-05T06:00", "0 tick 01-06T00:00", "0 tick 01-07T00:00",
	}
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("%v: got\n%s\nwant\n%s", err, strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// What each event brings is handed over with it, a damaged line as a refusal.
func TestFold(t *testing.T) {
	b, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte(book)}})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	p, err := file(t).Fold(strings.NewReader(lines), b, func(ev event.Event, out []engine.Output) {
		for _, o := range out {
			switch {
			case o.Transition != nil:
				got = append(got, fmt.Sprintf("%d %s %s", ev.Line, o.Transition.Rule, o.Transition.To))
			case o.Refused != nil:
				got = append(got, fmt.Sprintf("%d refused", o.Refused.Line))
			}
		}
	})
	if want := []string{"3 refused", "4 oil due"}; err != nil || !slices.Equal(got, want) {
		t.Errorf("%v: got %q, want %q", err, got, want)
	}
	if got := p.Now().Format("2006-01-02"); got != "2031-01-07" {
		t.Errorf("it is %s", got)
	}
}

// The reading ends with an error of whoever takes the events.
func TestEachEnds(t *testing.T) {
	n := 0
	stop := fmt.Errorf("enough")
	err := file(t).Each(strings.NewReader(lines), func(event.Event) error {
		if n++; n == 2 {
			return stop
		}
		return nil
	})
	if err != stop || n != 2 {
		t.Errorf("%d events and %v", n, err)
	}
}

// What a service wrote for itself is passed by: a book that is none, its lists and surveys,
// baselines without their figures. The file is judged by the rules at hand.
func TestSkipped(t *testing.T) {
	hash := "sha256:" + strings.Repeat("0", 64)
	text := `{"specversion":"1.0","type":"telltale.book.v1","source":"/telltale","id":"b","time":"2031-01-02T00:00:00Z","data":{"hash":"` + hash + `"}}
` + lines + `{"specversion":"1.0","type":"telltale.turn.v1","source":"/telltale","id":"t","time":"2031-01-05T07:00:00Z","data":{"digest":"ines","date":"2031-01-05"}}
{"specversion":"1.0","type":"telltale.survey.v1","source":"/telltale","id":"s","time":"2031-01-05T07:00:00Z","data":{"turn":"2031-01-05T00:00:00Z","definitions":"` + hash + `"}}
{"specversion":"1.0","type":"telltale.baseline.v1","source":"/telltale","id":"bl","time":"2031-01-05T07:00:00Z","data":{"hash":"` + hash + `","number":1,"turn":"2031-01-05T00:00:00Z"}}
`
	own, err := intake.Holds(strings.NewReader(text))
	if err != nil || own != (intake.Own{}) {
		t.Errorf("of its own it has %+v (%v)", own, err)
	}
	b, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte(book)}})
	if err != nil {
		t.Fatal(err)
	}
	var skipped, got []string
	f := file(t)
	f.Skipped = func(ev event.Event) { skipped = append(skipped, ev.Kind.String()) }
	_, err = f.Fold(strings.NewReader(text), b, func(ev event.Event, out []engine.Output) {
		for _, o := range out {
			switch {
			case o.Transition != nil:
				got = append(got, fmt.Sprintf("%d %s %s", ev.Line, o.Transition.Rule, o.Transition.To))
			case o.Refused != nil:
				got = append(got, fmt.Sprintf("%d refused", o.Refused.Line))
			}
		}
	})
	if want := []string{"4 refused", "5 oil due"}; err != nil || !slices.Equal(got, want) {
		t.Errorf("%v: got %q, want %q", err, got, want)
	}
	if want := []string{"book", "turn", "survey", "baseline"}; !slices.Equal(skipped, want) {
		t.Errorf("skipped %q, want %q", skipped, want)
	}
}
