package engine_test

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/rules"
)

// Who hears of a vehicle that is not theirs says so, and it stands until the list
// of people is put right: the register for whom it names, and the word of whoever
// looks after people.yaml for the others.
func TestNotTheirs(t *testing.T) {
	book, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte("book: 1\n")}})
	if err != nil {
		t.Fatal(err)
	}
	p := engine.NewPartition()
	p.Apply(event.Event{Kind: event.BookEvent, Data: &event.BookData{Hash: book.Hash, Book: book}})
	day := 0
	say := func(kind event.Kind, data any) (out []string, id event.ID) {
		day++
		at := time.Date(2031, 2, day, 12, 0, 0, 0, time.UTC)
		id = event.ID{Source: "/test", ID: fmt.Sprint(day)}
		for _, o := range p.Apply(event.Event{Kind: kind, ID: id, Vehicle: "bus-07", Time: at, Recorded: at, Data: data}) {
			switch {
			case o.Transition != nil:
				out = append(out, fmt.Sprintf("%s %s: %s", o.Transition.Transition, o.Transition.To, o.Transition.Message))
			case o.Refused != nil:
				out = append(out, "refused: "+o.Refused.Refused)
			}
		}
		return out, id
	}
	registered := func(people ...string) *event.VehicleData {
		return &event.VehicleData{Name: "Bus 7", Kind: "minibus", People: people}
	}
	answer := func(what, by string) *event.AnswerData { return &event.AnswerData{Answer: what, By: by} }
	ack := &event.AnswerData{Answer: "acknowledge", Rule: engine.NotTheirs, By: "ines"}
	var voided event.VoidData
	for i, c := range []struct {
		kind event.Kind
		data any
		want []string
	}{
		{event.VehicleEvent, registered("tobias", "ines"), nil},
		{event.AnswerEvent, answer("not mine", "tobias"), []string{"raised advisory: tobias says that this vehicle is not theirs"}},
		{event.AnswerEvent, answer("not mine", "tobias"), []string{"refused: tobias has already said so"}},
		{event.AnswerEvent, ack, []string{"acknowledged advisory: "}},
		{event.VehicleEvent, registered("tobias"), nil}, // still named
		{event.VehicleEvent, registered("ines"), []string{"cleared normal: The people named for it were corrected"}},
		{event.AnswerEvent, answer("not mine", "north"), []string{"raised advisory: north says that this vehicle is not theirs"}}, // named by people.yaml alone
		{event.VehicleEvent, registered("ines"), nil},
		{event.AnswerEvent, ack, []string{"acknowledged advisory: ", "cleared normal: The people named for it were corrected"}},
		{event.AnswerEvent, answer("not mine", "ines"), []string{"raised advisory: ines says that this vehicle is not theirs"}},
		{event.VoidEvent, &voided, []string{"withdrawn normal: The people named for it were corrected"}},
	} {
		got, id := say(c.kind, c.data)
		voided = event.VoidData(id)
		if !reflect.DeepEqual(got, c.want) {
			t.Errorf("step %d: got %q, want %q", i+1, got, c.want)
		}
	}
}
