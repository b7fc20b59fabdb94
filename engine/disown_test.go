package engine_test

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"telltale/engine"
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
	p.Apply(engine.Event{Kind: engine.BookEvent, Data: &engine.BookData{Hash: book.Hash, Book: book}})
	day := 0
	say := func(kind engine.Kind, data any) (out []string, id engine.ID) {
		day++
		at := time.Date(2031, 2, day, 12, 0, 0, 0, time.UTC)
		id = engine.ID{Source: "/test", ID: fmt.Sprint(day)}
		for _, o := range p.Apply(engine.Event{Kind: kind, ID: id, Vehicle: "bus-07", Time: at, Recorded: at, Data: data}) {
			switch {
			case o.Transition != nil:
				out = append(out, o.Transition.Transition+" "+o.Transition.To+": "+o.Transition.Message)
			case o.Refused != nil:
				out = append(out, "refused: "+o.Refused.Refused)
			}
		}
		return out, id
	}
	registered := func(people ...string) *engine.VehicleData {
		return &engine.VehicleData{Name: "Bus 7", Kind: "minibus", People: people}
	}
	answer := func(what, by string) *engine.AnswerData { return &engine.AnswerData{Answer: what, By: by} }
	ack := &engine.AnswerData{Answer: "acknowledge", Rule: engine.NotTheirs, By: "ines"}
	var voided engine.VoidData
	for i, c := range []struct {
		kind engine.Kind
		data any
		want []string
	}{
		{engine.VehicleEvent, registered("tobias", "ines"), nil},
		{engine.AnswerEvent, answer("not mine", "tobias"), []string{"raised advisory: tobias says that this vehicle is not theirs"}},
		{engine.AnswerEvent, answer("not mine", "tobias"), []string{"refused: tobias has said so already"}},
		{engine.AnswerEvent, ack, []string{"acknowledged advisory: "}},
		{engine.VehicleEvent, registered("tobias"), nil}, // still named
		{engine.VehicleEvent, registered("ines"), []string{"cleared normal: Who hears of it was put right"}},
		{engine.AnswerEvent, answer("not mine", "north"), []string{"raised advisory: north says that this vehicle is not theirs"}}, // named by people.yaml alone
		{engine.VehicleEvent, registered("ines"), nil},
		{engine.AnswerEvent, ack, []string{"acknowledged advisory: ", "cleared normal: Who hears of it was put right"}},
		{engine.AnswerEvent, answer("not mine", "ines"), []string{"raised advisory: ines says that this vehicle is not theirs"}},
		{engine.VoidEvent, &voided, []string{"withdrawn normal: Who hears of it was put right"}},
	} {
		got, id := say(c.kind, c.data)
		voided = engine.VoidData(id)
		if !reflect.DeepEqual(got, c.want) {
			t.Errorf("step %d: got %q, want %q", i+1, got, c.want)
		}
	}
}
