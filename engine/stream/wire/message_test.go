package wire

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/fleet"
	"telltale/rules/word"
)

// TestTooLong cuts what a rule's author made too long for a message.
func TestTooLong(t *testing.T) {
	o := engine.Output{Transition: &alarm.Transition{Rule: "rule 1", Message: strings.Repeat("x", 2<<20)}}
	o.Transition.Evidence = []word.Evidence{{}}
	list, err := Messages(1, 1, []engine.Output{o})
	if err != nil {
		t.Fatal(err)
	}
	var s said
	if err := json.Unmarshal(list[0].Outputs[0], &s); err != nil {
		t.Fatal(err)
	}
	if n := len(s.Transition.Message); n > 17<<10 || s.Transition.Evidence != nil {
		t.Errorf("the message has %d bytes and %d operands", n, len(s.Transition.Evidence))
	}
	_, err = Messages(1, 1, []engine.Output{{Transition: &alarm.Transition{Title: strings.Repeat("x", 1<<20)}}})
	if err == nil {
		t.Error("a message that no server takes was made")
	}
}

// TestSkip leaves out what is published.
func TestSkip(t *testing.T) {
	three := Body{Message: Message{Event: 5, N: 2}, Outputs: []json.RawMessage{[]byte("2"), []byte("3"), []byte("4")}}
	for _, tt := range []struct {
		out  Progress
		n    int
		left string
	}{
		{Progress{4, 9}, 2, "234"}, {Progress{5, 0}, 2, "234"}, {Progress{5, 2}, 2, "234"}, {Progress{5, 3}, 3, "34"},
		{Progress{5, 5}, 5, ""}, {Progress{5, 9}, 5, ""}, {Progress{6, 0}, 2, ""},
	} {
		got := three.Skip(tt.out)
		var left string
		for _, b := range got.Outputs {
			left += string(b)
		}
		if got.N != tt.n || left != tt.left {
			t.Errorf("after %v: %q from %d, want %q from %d", tt.out, left, got.N, tt.left, tt.n)
		}
	}
}

// A long part of a survey is published in pieces that each fit, and none is lost.
func TestSurveyPieces(t *testing.T) {
	s := fleet.SurveyPart{Turn: "2031-01-14T00:00:00Z"}
	for i := range 20_000 {
		s.Samples = append(s.Samples, fleet.SurveySample{Vehicle: fmt.Sprint("bus-", i), Results: []fleet.SurveyResult{{Analyte: "Fe", Value: float64(i)}}})
	}
	s.Made, s.Finished = []fleet.Open{{Key: 1}}, []fleet.Finished{{Key: 2}}
	list, err := Messages(1, 7, []engine.Output{{Survey: &s}})
	if err != nil || len(list) < 2 {
		t.Fatalf("%d messages, %v", len(list), err)
	}
	n, forecasts := 0, 0
	for i, b := range list {
		m := decoded(t, b)
		if b.More != (i < len(list)-1) {
			t.Errorf("message %d: more %v", i, b.More)
		}
		for _, o := range m.Outputs {
			n += len(o.Survey.Samples)
			forecasts += len(o.Survey.Made) + len(o.Survey.Finished)
		}
	}
	if n != len(s.Samples) || forecasts != 2 {
		t.Errorf("%d samples and %d forecasts, want %d and 2", n, forecasts, len(s.Samples))
	}
}

func decoded(t *testing.T, b Body) Message {
	t.Helper()
	data, err := Marshal(b)
	if err != nil || len(data) > 1<<20 {
		t.Fatalf("%d bytes, %v", len(data), err)
	}
	m, err := DecodeMessage("telltale.alarm.3", 1, data)
	if err != nil {
		t.Fatal(err)
	}
	return m
}
