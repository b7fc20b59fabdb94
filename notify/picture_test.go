package notify

import (
	"bytes"
	"image/png"
	"reflect"
	"strings"
	"testing"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/sample"
	"telltale/notify/delivery"
	"telltale/rules/unit"
)

func sampleOfBus7() sample.Verdict {
	return sample.Verdict{
		Vehicle: "bus-07", Name: "Bus 7", Component: "transmission", Sample: event.ID{Source: "/laboratory", ID: "s-1"}, Number: "L-1", Drawn: "2031-02-10",
		Results: []sample.Result{{Analyte: "Fe", Title: "iron", Times: ptr(0.976)}, {Analyte: "Cu", Title: "copper", Times: ptr(3.275)}, {Analyte: "water"}},
		History: &sample.History{Unit: "mi", Series: []sample.Series{{Analyte: "Cu", Title: "copper",
			Points: []sample.Point{{Run: 10000, Times: 1.1, Below: true}, {Run: 50000, Times: 3.275}}}}},
	}
}

// The picture of the sample that an alarm rests on stands in the mail, and what it
// shows is said in words, in the reader's distance.
func TestPictureInAMail(t *testing.T) {
	m := &delivery.Memory{}
	n, _ := newNotifier(t, m, 1)
	var reads []unit.System
	n.Sample = func(_, _ string, u unit.System) []sample.Verdict {
		reads = append(reads, u)
		return []sample.Verdict{sampleOfBus7()}
	}
	var got Message
	n.Compose["mail"] = func(m Message) (string, []byte, error) { got = m; return "<x>", []byte(m.Text), nil }
	if err := n.Handle(t.Context(), 1, cause("c-1"), outputs(copperRaised())); err != nil {
		t.Fatal(err)
	}
	if len(got.Charts) != 1 || !strings.Contains(got.HTML, `src="cid:`+got.Charts[0].ID+`"`) {
		t.Fatalf("%d pictures, and the page\n%s", len(got.Charts), got.HTML)
	}
	if _, err := png.Decode(bytes.NewReader(got.Charts[0].PNG)); err != nil || len(got.Charts[0].PNG) > 256<<10 {
		t.Errorf("%d bytes of picture: %v", len(got.Charts[0].PNG), err)
	}
	if want := directory(t).Person("ines").Units().Or(unit.Metric); len(reads) != 1 || reads[0] != want || want.Distance != "mi" {
		t.Errorf("asked for in %+v, want %+v", reads, want)
	}
	text := strings.Join(strings.Fields(got.Text), " ")
	for _, want := range []string{"Times the baseline: copper 3.3, iron 0.98.", "Copper, times the baseline: below 1.1 at 10,000 mi, 3.3 at 50,000 mi."} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in %s", want, text)
		}
	}
	if a, b := words(got.Text), words(visible(got.HTML)); !reflect.DeepEqual(a, b) {
		t.Errorf("text %q\nhtml %q", a, b)
	}
}

// A sample that the alarm does not rest on is not shown, nor one of work to do.
func TestNoPicture(t *testing.T) {
	other, over, task := copperRaised(), copperRaised(), taskOverdue()
	other.Events = []event.ID{{Source: "/laboratory", ID: "s-0"}}
	over.Transition, over.To = "cleared", "normal"
	task.Component, task.Events = "transmission", copperRaised().Events
	m := &delivery.Memory{}
	n, _ := newNotifier(t, m, 1)
	n.Sample = func(string, string, unit.System) []sample.Verdict { return []sample.Verdict{sampleOfBus7()} }
	for _, tr := range []alarm.Transition{other, over, task} {
		all := newsOf(register, outputs(tr))
		if got := n.pictures(telling{p: readerOf(directory(t).Person("ines")), way: "mail", mine: all}); len(got) > 0 {
			t.Errorf("%s %s: a picture", tr.Rule, tr.Transition)
		}
	}
}
